"""All that the device needs to carry a run without the network: data, and every view that may come."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone

from bittern.bench.pages.legs.pairing import HOW_WORDS
from bittern.bench.pages.runner import build_run
from bittern.bench.pages.runner_data import plain_sheet
from bittern.engines.pairing import errors
from bittern.engines.pairing.event import RunEvent, RunState
from bittern.engines.pairing.sheet import Step
from bittern.formats.sheetmap import render_map
from bittern.work.pairing import Run
from bittern.work.people import Person


def build_pack(
    run: Run,
    events: Iterable[RunEvent],
    person: Person,
    context: Mapping[str, Any],
    *,
    name: str,
    now: datetime,
    sequence: int = 0,
) -> dict[str, Any]:
    """Return what the runner's script loads once.

    ``context`` is what the templates need beside the run (addresses, ``may_work``, the census' fields);
    ``name`` tells this run from every other on the device; ``sequence`` is the device's last count.
    """
    sheet = run.sheet
    return {
        "run": name,
        "attempt": run.attempt,
        "sequence": sequence,
        "title": sheet.title,
        "now": now.isoformat(),
        "person": {"login": person.login, "name": person.name},
        "may_work": bool(context.get("may_work")),
        "sheet": plain_sheet(sheet),
        "events": [event.as_dict() for event in events],
        "zone": settings.TIME_ZONE,
        "words": {"how": HOW_WORDS, "refused": _word_refusals()},
        "views": _render_views(run, context),
    }


def _word_refusals() -> dict[str, str]:
    kinds = (kind for kind in vars(errors).values() if isinstance(kind, type))
    return {kind.code: kind.meaning for kind in kinds if issubclass(kind, errors.PairingError)}


def _render_views(run: Run, context: Mapping[str, Any]) -> dict[str, Any]:
    """Return every view as HTML, by its name; what depends on the state has its place marked in it."""
    steps, points, ends, more = {}, {}, {}, {}
    for step in run.sheet.steps.values():
        if step.kind == "end":
            ends[step.id] = _render("end", _at(run, step, ended=True), context)
            continue
        here = _at(run, step)
        steps[step.id] = _render("step", here, context)
        more[step.id] = _render("more", here, context)
        if step.no_return:
            points[step.id] = _render("confirm", here, context)
    start = _at(run, run.sheet.steps[run.sheet.start])
    given_up = replace(start.state, phase="abandoned", ended=True)
    views = {
        "steps": steps,
        "points": points,
        "ends": ends,
        "more": more,
        "census": _render("census", start, context),
        "supply": _render("supply", start, context) if run.sheet.supply else "",
        "map": render_map(run.sheet),
    }
    for word, passed in (("early", False), ("late", True)):
        gone = replace(run, state=replace(given_up, passed_no_return=passed))
        views[f"given-up-{word}"] = _render("end", gone, context)
        before = replace(run, state=replace(start.state, passed_no_return=passed))
        views[f"give-up-{word}"] = _render("give_up", before, context) if context.get("may_work") else ""
    return views


def _at(run: Run, step: Step, *, ended: bool = False) -> Run:
    """Return the run as if it stood at ``step``, with nothing known of its keys."""
    now = timezone.now()
    state = RunState(
        step_id=step.id,
        phase="ended" if ended else "step",
        visit=1,
        ended=ended,
        outcome=step.outcome,
        arrived_at=now,
        # Only whether there is a window counts: the device knows until when it is open.
        deadline=None if step.window_s is None else now + timedelta(seconds=step.window_s),
    )
    return replace(run, state=state)


def _render(name: str, run: Run, context: Mapping[str, Any]) -> str:
    ended = context.get("ended_urls", {}).get(run.state.outcome or "", context.get("ended_url", ""))
    shown = {**context, **build_run(run, draw=False), "blank": True, "ended_url": ended}
    return render_to_string(f"runner/{name}.html", shown)


def make_event_id() -> str:
    """Return a new id for an event made on the server."""
    return str(uuid.uuid4())
