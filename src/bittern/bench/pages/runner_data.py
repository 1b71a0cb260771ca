"""A run as plain data for the runner's script: the sheet, what happened, and where it stands."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Any

from bittern.engines.pairing.event import RunState
from bittern.engines.pairing.sheet import RunSheet

_START = datetime(1970, 1, 1, tzinfo=UTC)


def plain_sheet(sheet: RunSheet) -> dict[str, Any]:
    """Return ``sheet`` as plain data: what the fold on the device reads, without chances and times."""
    steps = {}
    for step in sheet.steps.values():
        plain = asdict(step)
        plain["options"] = [{"label": option.label, "then": option.then} for option in step.options]
        plain["fails"] = [{"to": failure.to, "because": failure.because} for failure in step.fails]
        steps[step.id] = plain
    return {
        "id": sheet.id,
        "title": sheet.title,
        "start": sheet.start,
        "census": sheet.census,
        "needs": list(sheet.needs),
        "steps": steps,
        "supply": asdict(sheet.supply) if sheet.supply else None,
    }


def plain_state(state: RunState) -> dict[str, Any]:
    """Return ``state`` as plain data, moments in whole microseconds since 1970."""
    plain = asdict(state)
    plain["event_ids"] = sorted(state.event_ids)
    for name in ("arrived_at", "deadline", "supply_at"):
        plain[name] = count_us(plain[name])
    for passed in plain["history"]:
        passed["arrived_at"], passed["left_at"] = count_us(passed["arrived_at"]), count_us(passed["left_at"])
    return plain


def count_us(moment: datetime | None) -> int | None:
    """Return a moment in whole microseconds since 1970."""
    return None if moment is None else (moment - _START) // timedelta(microseconds=1)
