"""Real runs of run sheets as plain records, from the logs of all jobs; nothing about people or vehicles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from bittern.core.errors import BitternError
from bittern.engines.pairing.event import RunEvent, RunState, read_event
from bittern.engines.pairing.learning import Proposal, RunRecord, VisitRecord, propose_figures
from bittern.engines.pairing.runner import fold_events
from bittern.engines.pairing.sheet import RunSheet
from bittern.formats.runsheets import parse_runsheet
from bittern.work.chain import LogEntry
from bittern.work.facts import Pairing
from bittern.work.ports import Desk

BEGUN, EVENT = "pairing.begun", "pairing.event"


def name_family(sheet_id: str) -> str:
    """Return the family that a sheet belongs to: the first word of its id.

    >>> name_family("marsh-turn-pair")
    'marsh'
    """
    return sheet_id.partition("-")[0]


def load_runs(desk: Desk, family: str = "") -> tuple[RunRecord, ...]:
    """Return every run that is over, by job and in order, of one family or of all.

    A run of which the sheet's text is gone is left out: of a job's runs the last one's text is kept, and it
    serves for earlier runs of the same sheet where their events fit it.
    """
    found: list[RunRecord] = []
    for number, entries in groupby(desk.store.all_entries((BEGUN, EVENT)), key=lambda entry: entry.job):
        found += _load_job(desk, number, list(entries), family)
    return tuple(found)


def propose_for_sheet(
    desk: Desk, sheet: RunSheet, base: RunSheet | None = None
) -> tuple[tuple[Proposal, ...], int]:
    """Return what real runs propose for ``sheet``, and how many runs of it there are.

    Parameters
    ----------
    desk
        The shop's.
    sheet
        As it is now.
    base
        As it was before anything was learnt; ``sheet`` itself when left out.
    """
    runs = load_runs(desk, name_family(sheet.id))
    own = [run for run in runs if run.sheet.id == sheet.id]
    proposals = propose_figures(sheet, own, runs, today=desk.clock.now().date(), base=base)
    return proposals, len(own)


def record_run(sheet: RunSheet, state: RunState) -> RunRecord | None:
    """Return the record of a run that is over; None where nothing was left in it."""
    if not state.ended or not state.history:
        return None
    visits = []
    for one in state.history:
        seconds = (one.left_at - one.arrived_at).total_seconds()
        # A clock that was set back in between measures nothing.
        visits.append(VisitRecord(one.step_id, seconds if seconds > 0 else None, one.how, one.to, one.choice))
    return RunRecord(sheet, state.history[-1].left_at.date(), tuple(visits))


def _load_job(desk: Desk, number: int, entries: Sequence[LogEntry], family: str) -> list[RunRecord]:
    sheets = {
        str(entry.payload.get("run")): str(entry.payload.get("sheet", ""))
        for entry in entries
        if entry.kind == BEGUN
    }
    wanted = {run for run, sheet_id in sheets.items() if not family or name_family(sheet_id) == family}
    if not wanted:
        return []
    pairing = desk.store.load(number).pairing
    if pairing is None or not pairing.sheet_text:
        return []
    found = []
    for run in wanted & {run for run, sheet_id in sheets.items() if sheet_id == pairing.sheet}:
        payloads = [entry.payload for entry in entries if entry.kind == EVENT]
        record = _fold_run(pairing, [one for one in payloads if str(one.get("run")) == run])
        if record is not None:
            found.append(record)
    return found


def _fold_run(pairing: Pairing, payloads: Sequence[Mapping[str, object]]) -> RunRecord | None:
    try:
        sheet = parse_runsheet(pairing.sheet_text, pairing.sheet)
        return record_run(sheet, fold_events(sheet, [_read(payload) for payload in payloads]))
    except BitternError:
        # An earlier run whose sheet was another then, or an entry of another version of the program.
        return None


def _read(payload: Mapping[str, object]) -> RunEvent:
    plain = payload.get("event")
    return read_event(plain if isinstance(plain, Mapping) else {})
