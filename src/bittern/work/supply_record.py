"""The supply voltage on a job: the sheet's limits, readings by hand, and the few that are kept in the log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from bittern.engines.link.heard import Heard
from bittern.engines.link.supply import (
    SOURCES,
    SupplyLimits,
    SupplySample,
    SupplyState,
    judge_supply,
)
from bittern.engines.pairing.event import MOST_VOLTS
from bittern.engines.pairing.sheet import RunSheet
from bittern.formats.runsheets import parse_runsheet
from bittern.work.change import Change, changing
from bittern.work.entry import Entry
from bittern.work.facts import JobFile
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.promise import find_sheet

READ = "supply.read"
MOMENTS = ("begin", "no-return", "end")
STILL_S = 10.0
"""A measured voltage that is older is not the voltage of now."""
TYPED_S = 600.0
"""A typed one stands as long as the run sheet takes it: ten minutes."""
_RUN_EVENT = "pairing.event"


@dataclass(frozen=True, slots=True)
class Supply:
    """The supply of a job's vehicle as it is known now.

    Attributes
    ----------
    state
        How it stands.
    limits
        The run sheet's, or the usual ones.
    samples
        Readings of the last minutes, measured and typed, oldest first; times in seconds before now, below 0.
    now_v
        The voltage that the adapter tells now; None where it tells none.
    of_sheet
        Whether the limits are the run sheet's.
    """

    state: SupplyState
    limits: SupplyLimits
    samples: tuple[SupplySample, ...]
    now_v: float | None
    of_sheet: bool


def find_supply(
    desk: Desk, job: JobFile, heard: Heard, *, sheet: RunSheet | None = None, back_s: float = TYPED_S
) -> Supply:
    """Return how the supply of the job's vehicle stands, by the adapter and by what was typed.

    Who has the job's run sheet at hand gives it as ``sheet``; else it is looked up.
    """
    sheet = sheet or find_run_sheet(desk, job)
    limits = find_limits(sheet)
    measured = [
        SupplySample(sample.at_s - heard.now_s, sample.volts)
        for sample in heard.samples
        if heard.now_s - sample.at_s <= back_s
    ]
    typed = list_typed(desk, job, back_s=back_s)
    samples = tuple(sorted((*measured, *typed), key=lambda sample: sample.at_s))
    last = heard.find_recent(STILL_S)
    # What the adapter said last is no news once it is still; a reading by hand stands for its ten minutes.
    known = samples if last or not measured else typed
    return Supply(
        judge_supply(known, limits),
        limits,
        samples,
        last.volts if last else None,
        sheet is not None and sheet.supply is not None,
    )


def find_run_sheet(desk: Desk, job: JobFile) -> RunSheet | None:
    """Return the sheet of the run under way, or the one that a run would follow."""
    if job.pairing is not None and job.pairing.sheet and not job.pairing.outcome:
        return parse_runsheet(job.pairing.sheet_text, job.pairing.sheet)
    return find_sheet(desk, job)


def find_limits(sheet: RunSheet | None) -> SupplyLimits:
    """Return the limits that the sheet sets, or the usual ones."""
    if sheet is None or sheet.supply is None:
        return SupplyLimits()
    return SupplyLimits(least_v=sheet.supply.least_v, comfort_v=sheet.supply.comfort_v)


def list_typed(desk: Desk, job: JobFile, *, back_s: float = TYPED_S) -> list[SupplySample]:
    """Return the readings by hand of the last ``back_s`` seconds, by their time before now."""
    now = desk.clock.now()
    samples = []
    for kind in (READ, _RUN_EVENT):
        for entry in desk.store.entries(job.number, kind):
            read = entry.payload.get("event") if kind == _RUN_EVENT else entry.payload
            if not isinstance(read, Mapping) or read.get("source") != "typed":
                continue
            ago_s, volts = (now - entry.at).total_seconds(), read.get("volts")
            if 0 <= ago_s <= back_s and isinstance(volts, int | float):
                samples.append(SupplySample(-ago_s, float(volts), "typed"))
    return sorted(samples, key=lambda sample: sample.at_s)


def record_supply(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record a reading of the supply before a run: fields volts, and source (typed or measured)."""
    entry = Entry(data)
    volts = read_volts(entry)
    source = entry.choice("source", SOURCES, required=False) or "typed"
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        change.log("supply.read", volts=volts, source=source)


def read_volts(entry: Entry) -> float:
    """Return the field ``volts``: what a meter at the battery shows."""
    volts = entry.measure("volts", 0.0, MOST_VOLTS)
    if volts is None:
        entry.fault("volts", "nothing", "the voltage that the meter shows")
    return volts or 0.0


def note_supply(desk: Desk, change: Change, moment: str, *, since: datetime | None = None) -> None:
    """Put what the adapter measures at ``moment`` into the job's log, with the lowest since ``since``.

    Nothing is noted where nothing was measured: the log keeps a few readings and not each second.
    """
    if desk.adapter is None:
        return
    heard = desk.adapter.hear(change.job.number)
    last = heard.find_recent(STILL_S)
    whole = (change.now - since) if since else timedelta(0)
    least = heard.find_least(heard.now_s - whole.total_seconds()) if since else None
    if last is None and least is None:
        return
    note: dict[str, object] = {"moment": moment}
    if last is not None:
        note["volts"] = last.volts
    if least is not None:
        note["least"] = least.volts
    change.log("supply.noted", **note)
