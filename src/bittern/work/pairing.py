"""The Pairing leg: needs and census first, then step by step; the log's events decide the state."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache

from bittern.core.phrases import join_words
from bittern.engines.pairing.census import (
    KeyForecast,
    KeyInHand,
    find_lost_keys,
    predict_as_it_stands,
    predict_census,
    word_need,
)
from bittern.engines.pairing.chain import SheetFigures
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.event import MOST_VOLTS, SUPPLY_SOURCES, RunEvent, RunState, read_event
from bittern.engines.pairing.runner import apply_event, fold_events
from bittern.engines.pairing.sheet import RunSheet
from bittern.formats.runsheets import parse_runsheet, write_runsheet
from bittern.work.change import Change, changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import CensusKey, JobFile, Pairing
from bittern.work.figures import get_figures
from bittern.work.number_on_board import require_right_vehicle
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.promise import find_sheet
from bittern.work.settled import is_settled
from bittern.work.supply_record import note_supply

EVENT = "pairing.event"
NEW_KEY = "The new key"
MOST_KEYS = 8
WORKED = {"yes": True, "no": False, "unknown": None}
# Of an event that is still being filled in.
NO_TIME = datetime(1970, 1, 1, tzinfo=UTC)
KINDS = ("confirmed", "done", "failed", "chosen", "abandoned", "census", "supply")


@dataclass(frozen=True, slots=True)
class Preparation:
    """What must hold before the first step: the sheet, its needs in words, its figures."""

    sheet: RunSheet
    needs: tuple[tuple[str, str], ...]
    figures: SheetFigures


@dataclass(frozen=True, slots=True)
class Run:
    """A run under way or ended: the sheet as it was when it began, and where it stands."""

    sheet: RunSheet
    state: RunState
    attempt: int

    @property
    def keys_at_stake(self) -> tuple[str, ...]:
        """Names of the keys that stop working at a point of no return."""
        return tuple(find_lost_keys(self.sheet, self.state.keys or ()))

    @property
    def forecast(self) -> tuple[KeyForecast, ...]:
        """What becomes of each key, as the run stands now; after a good end if it is not over."""
        if self.state.ended:
            return tuple(predict_as_it_stands(self.sheet, self.state))
        return tuple(predict_census(self.sheet, self.state.keys or (), "good", passed_no_return=True))


def prepare(desk: Desk, job: JobFile) -> Preparation | None:
    """Return what must hold before the first step; None where the pack has no sound sheet for the article."""
    sheet = _find_sound_sheet(desk, job)
    if sheet is None:
        return None
    return Preparation(sheet, tuple((need, word_need(need)) for need in sheet.needs), get_figures(sheet))


def load_run(desk: Desk, job: JobFile) -> Run | None:
    """Return where the pairing stands by its events; None when none has begun."""
    if job.pairing is None or not job.pairing.sheet:
        return None
    return fold_run(job.pairing, load_events(desk, job))


def fold_run(pairing: Pairing, events: Iterable[RunEvent]) -> Run:
    """Return where the run of ``pairing`` stands by its events."""
    sheet = _parse_sheet(pairing.sheet_text, pairing.sheet)
    return Run(sheet, fold_events(sheet, events), pairing.attempt)


# A run asks for its sheet at every event, and the text that it began with never changes.
@lru_cache(maxsize=128)
def _parse_sheet(text: str, sheet_id: str) -> RunSheet:
    return parse_runsheet(text, sheet_id)


def begin_pairing(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Begin: fields needs (ticked), key-N-name, key-N-present, key-N-worked (yes, no, unknown) for N from 1.

    The new key is added to the census by itself. A key that the count says will stop working takes the tick
    customer_knows. A run that ended without success, or after which a test failed, may be begun again.
    """
    entry = Entry(data)
    keys = read_census(entry)
    needs = entry.words("needs")
    with changing(desk, number, person, "bench") as change:
        job = change.job
        _require_ready(job)
        _require_no_run(job)
        require_right_vehicle(desk, job)
        sheet = _find_sound_sheet(desk, job)
        if sheet is None:
            raise NotYetError(
                "no sound run sheet for this article",
                "one in the pack, or pairing by another way",
                where="pairing",
            )
        missing = [word_need(need) for need in sheet.needs if need not in needs]
        if missing:
            entry.fault(
                "needs", f"not ticked: {' '.join(missing)}", "every need ticked before the first step"
            )
        lost = find_lost_keys(sheet, keys)
        if lost and not entry.flag("customer_knows"):
            entry.fault(
                "customer_knows",
                f"not ticked, and by this count {join_words(lost)} will stop working",
                "those keys brought here, or a tick that the customer knows",
            )
        entry.finish()
        attempt = job.pairing.attempt + 1 if job.pairing else 1
        change.put(
            pairing=Pairing(
                sheet=sheet.id,
                sheet_text=write_runsheet(sheet),
                title=sheet.title,
                begun_by=person.login,
                begun_at=change.now,
                census=_to_facts(keys),
                attempt=attempt,
            ),
            proof=(),
        )
        change.log("pairing.begun", sheet=sheet.id, run=attempt)
        made = {"person": person.login, "at": change.now}
        begun = RunEvent(event_id=str(uuid.uuid4()), kind="begun", needs=sheet.needs, **made)  # type: ignore[arg-type]
        census = RunEvent(event_id=str(uuid.uuid4()), kind="census", keys=keys, **made)  # type: ignore[arg-type]
        for event in (begun, census):
            change.log(EVENT, run=attempt, event=event.as_dict())
        note_supply(desk, change, "begin")


def record_event(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record one event of the run: fields event_id, kind, step, visit, choice, to, note, sure.

    ``sure`` is the tick of the second deliberate act before a point of no return (kind ``confirmed``), which
    may name who is at the vehicle (``present``, separated by commas); ``give_up`` that of giving the run up
    (kind ``abandoned``); ``volts`` and ``source`` belong to kind ``supply``.

    A second arrival of the same ``event_id`` changes nothing. The event's time is the server's.
    """
    entry = Entry(data)
    made = read_event_entry(entry, person)
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        run = load_run(desk, change.job)
        if run is None or change.job.pairing is None:
            raise NotYetError("no run begun", "needs and census first", where="pairing")
        event = replace(made, at=change.now)
        if event.event_id in run.state.event_ids:
            return
        take_event(desk, change, run, event)


def take_event(desk: Desk, change: Change, run: Run, event: RunEvent, **notes: object) -> Run:
    """Take ``event`` into the job's log and facts, with ``notes`` beside it, and return the run after it.

    Raises
    ------
    PairingError, OtherVehicleError
        It does not belong where the run stands, or the vehicle is not the job's; nothing is logged.
    """
    if event.kind != "abandoned":
        # At the wrong vehicle a run may still be given up.
        require_right_vehicle(desk, change.job, event.at)
    after = Run(run.sheet, apply_event(run.sheet, run.state, event), run.attempt)
    change.log(EVENT, run=run.attempt, event=event.as_dict(), **notes)
    if change.job.pairing is None:
        raise NotYetError("no run begun", "needs and census first", where="pairing")
    if event.kind == "confirmed":
        note_supply(desk, change, "no-return")
    if after.state.ended:
        note_supply(desk, change, "end", since=change.job.pairing.begun_at)
    _settle(change, change.job.pairing, after)
    return after


def read_event_entry(entry: Entry, person: Person) -> RunEvent:
    """Return the event as it was filled in; its time is still to be set."""
    event_id = entry.text("event_id", required=True, expected="the event's own id", limit=64)
    kind = entry.choice("kind", KINDS)
    visit = entry.whole("visit", 0, 100_000)
    step, choice, to, note = (entry.text(name, limit=200) for name in ("step", "choice", "to", "note"))
    present: tuple[str, ...] = ()
    if kind == "confirmed":
        present = tuple(filter(None, map(str.strip, entry.text("present", limit=300).split(","))))
        if not entry.flag("sure"):
            entry.fault("sure", "not ticked", "a tick that you have read what will be lost")
    # Giving up cannot be taken back either: it asks for a second deliberate act.
    if kind == "abandoned" and not entry.flag("give_up"):
        entry.fault("give_up", "not ticked", "a tick that the run ends here")
    volts, source = None, ""
    if kind == "supply":
        volts = entry.measure("volts", 0.0, MOST_VOLTS)
        source = entry.choice("source", SUPPLY_SOURCES, required=False) or "typed"
        if entry.text("volts") == "":
            entry.fault("volts", "nothing", "the supply voltage, such as 12.6")
    return RunEvent(
        event_id=event_id,
        kind=kind,
        person=person.login,
        at=NO_TIME,
        visit=visit,
        keys=read_census(entry) if kind == "census" else (),
        step=step,
        choice=choice,
        to=to,
        volts=volts,
        source=source,
        present=present,
        note=note,
    )


def pair_otherwise(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record a pairing done without a run sheet of the pack: field because (who did it, and how)."""
    entry = Entry(data)
    because = entry.text(
        "because", required=True, expected="who paired it, and by which procedure", limit=500
    )
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        _require_ready(change.job)
        _require_no_run(change.job)
        require_right_vehicle(desk, change.job)
        before = change.job.pairing
        counted = tuple(key for key in before.census if not key.new) if before else ()
        keys = (*counted, CensusKey(name=NEW_KEY, present=True, worked_before=False, new=True))
        after = tuple(key.model_copy(update={"works_after": True if key.new else None}) for key in keys)
        change.put(
            pairing=Pairing(
                # Only the new key is known to be paired; of those counted earlier nobody has said anything.
                census=keys,
                census_after=after,
                sheet="",
                sheet_text="",
                begun_by=person.login,
                begun_at=change.now,
                outcome="good",
                ended_at=change.now,
                attempt=before.attempt + 1 if before else 1,
                because=because,
            ),
            proof=(),
        )
        change.log("pairing.otherwise", because=because)


def _settle(change: Change, pairing: Pairing, run: Run) -> None:
    """Take into the job's facts what the events have come to."""
    facts: dict[str, object] = {"census": _to_facts(run.state.keys or ())}
    if run.state.ended:
        # Given up counts as unchanged before a point of no return, as stranded after one: the person is told.
        outcome = run.state.outcome or ("stranded" if run.state.passed_no_return else "unchanged")
        after = {forecast.name: forecast.works for forecast in run.forecast}
        facts |= {
            "outcome": outcome,
            "ended_at": change.now,
            "census_after": _to_facts(run.state.keys or (), after),
        }
        change.log("pairing.ended", outcome=outcome, run=run.attempt)
    change.put(pairing=pairing.model_copy(update=facts))


def load_events(desk: Desk, job: JobFile) -> list[RunEvent]:
    """Return the events of the job's run, in the order in which they were taken."""
    attempt = job.pairing.attempt if job.pairing else 0
    return [
        read_event(_get_plain(entry.payload))
        for entry in desk.store.entries(job.number, EVENT)
        if entry.payload.get("run") == attempt
    ]


def _get_plain(payload: Mapping[str, object]) -> Mapping[str, object]:
    event = payload.get("event")
    return event if isinstance(event, Mapping) else {}


def _find_sound_sheet(desk: Desk, job: JobFile) -> RunSheet | None:
    sheet = find_sheet(desk, job)
    return None if sheet is None or find_sheet_faults(sheet) else sheet


def may_begin(job: JobFile) -> bool:
    """Tell whether a pairing may begin: the first one, or again after no success or a failed test."""
    if job.pairing is None:
        return True
    failed = any(not answer.passed for answer in job.proof)
    return bool(job.pairing.outcome) and (job.pairing.outcome != "good" or failed)


def _require_no_run(job: JobFile) -> None:
    if not may_begin(job):
        raise NotYetError("a run that is under way or ended well", "none, or one to repeat", where="pairing")


def _require_ready(job: JobFile) -> None:
    if job.authority is None:
        raise NotYetError(
            "no authority on record", "it recorded before the vehicle is touched", where="pairing"
        )
    for leg in ("vehicle", "key", "promise", "blade"):
        if not is_settled(job, leg):
            raise NotYetError(f"the {leg} leg open", "it settled before pairing", where="pairing")


def read_census(entry: Entry) -> tuple[KeyInHand, ...]:
    """Return the keys that were counted, the new one with them: fields as of :func:`begin_pairing`."""
    keys = []
    for position in range(1, MOST_KEYS + 1):
        name = entry.text(f"key-{position}-name", limit=60)
        worked = entry.choice(f"key-{position}-worked", tuple(WORKED), required=False)
        if name:
            present = entry.flag(f"key-{position}-present")
            keys.append(KeyInHand(name, present, WORKED.get(worked)))
    names = [key.name.casefold() for key in keys]
    for position, name in enumerate(names, start=1):
        if name in names[: position - 1] or name == NEW_KEY.casefold():
            entry.fault(f"key-{position}-name", keys[position - 1].name, "a name of its own for each key")
    return (*keys, KeyInHand(NEW_KEY, present=True, works_before=False, new=True))


def _to_facts(
    keys: tuple[KeyInHand, ...], after: Mapping[str, bool | None] | None = None
) -> tuple[CensusKey, ...]:
    return tuple(
        CensusKey(
            name=key.name,
            present=key.present,
            worked_before=key.works_before,
            new=key.new,
            works_after=after.get(key.name) if after else None,
        )
        for key in keys
    )
