"""Events of a run that were kept on a device: taken in their order, each at most once, none held back.

A device counts its events (``sequence`` 1, 2, ..). The server answers each one: taken, or refused with its
reason, which is logged too. One whose predecessor has not arrived is not judged; the device is asked to send
from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from bittern.core.errors import BitternError, shorten
from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.errors import RunOverError
from bittern.engines.pairing.event import RunEvent, read_event
from bittern.work.change import Change, changing
from bittern.work.errors import ClosedError, FieldsError, NotYetError, field_fault
from bittern.work.facts import JobFile
from bittern.work.pairing import EVENT, KINDS, MOST_KEYS, NEW_KEY, Run, fold_run, take_event
from bittern.work.people import Person, require
from bittern.work.ports import Desk

REFUSED = "pairing.refused"
TAKEN_OVER = "pairing.taken-over"
MOST_EVENTS = 100
# The way of an answer takes time, and a device's count drifts a little between two of them.
AHEAD = timedelta(seconds=2)
_TEXT_LIMIT = 200


@dataclass(frozen=True, slots=True)
class Sent:
    """What a device sent at once: which run, which device, what it knows of the run, the new events."""

    attempt: int
    device: str
    events: tuple[Mapping[str, object], ...] = ()
    have: int = 0
    last: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """The answer to one event."""

    event_id: str
    taken: bool
    code: str = ""
    sentence: str = ""

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape that the runner's script reads."""
        return {
            "event_id": self.event_id,
            "taken": self.taken,
            "code": self.code,
            "sentence": self.sentence,
        }


@dataclass(slots=True)
class Ledger:
    """What is on record of a run's events, taken or refused, and how far each device's count has come."""

    taken: set[str] = field(default_factory=set)
    refused: dict[str, Result] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)

    def note(self, event: RunEvent, result: Result) -> None:
        """Take ``result`` on record."""
        if result.taken:
            self.taken.add(event.event_id)
        else:
            self.refused[event.event_id] = result
        if event.device and event.sequence:
            self.counts[event.device] = max(self.counts.get(event.device, 0), event.sequence)

    def find(self, event_id: str) -> Result | None:
        """Return the answer that an event had before, or None."""
        return Result(event_id, True) if event_id in self.taken else self.refused.get(event_id)


@dataclass(slots=True)
class Standing:
    """A run as it is on record: where it stands, its events in order, and what was answered to devices."""

    run: Run
    events: list[RunEvent]
    ledger: Ledger


@dataclass(slots=True)
class Receipt:
    """The answers, in order; ``send_from``: the count from which the device is to send, 0 if none lacks."""

    results: list[Result] = field(default_factory=list)
    send_from: int = 0


def receive_events(desk: Desk, number: int, person: Person, sent: Sent) -> tuple[Receipt, Standing]:
    """Take what a device has kept; every event of ``sent`` is answered but those that came too early.

    Returns the answers, and how the run stands afterwards.

    Raises
    ------
    NotAllowedError, NoSuchJobError, ClosedError
        Nothing of it can be recorded by this person, or on this job.
    NotYetError
        No run has begun.
    FieldsError
        It is not what a device sends, or was made by somebody else.
    """
    require(person, "bench")
    events = [read_sent(plain, person, sent.device) for plain in sent.events[:MOST_EVENTS]]
    if not events:
        return Receipt(), load_standing(desk, desk.store.load(number), sent.attempt)
    with changing(desk, number, person, "bench") as change:
        standing = load_standing(desk, change.job, sent.attempt)
        if sent.attempt > standing.run.attempt:
            raise field_fault("attempt", str(sent.attempt), f"the run under way, {standing.run.attempt}")
        taker = _Taker(desk, change, standing, sent.attempt)
        return judge_events(events, standing.ledger, taker.take, taker.refuse), standing


def load_standing(desk: Desk, job: JobFile, attempt: int) -> Standing:
    """Return the job's run as it stands, with the answers to devices in the run ``attempt``.

    Raises
    ------
    NotYetError
        No run has begun.
    """
    pairing = job.pairing
    if pairing is None or not pairing.sheet:
        raise NotYetError("no run begun", "needs and census first", where="pairing")
    ledger, events = Ledger(), []
    for entry in desk.store.entries(job.number, EVENT):
        plain, run = entry.payload.get("event"), entry.payload.get("run")
        if run not in (attempt, pairing.attempt) or not isinstance(plain, Mapping):
            continue
        event = read_event(plain)
        if run == pairing.attempt:
            events.append(event)
        if run == attempt:
            ledger.note(event, Result(event.event_id, True))
    for entry in desk.store.entries(job.number, REFUSED):
        plain = entry.payload.get("event")
        if entry.payload.get("run") == attempt and isinstance(plain, Mapping):
            event = read_event(plain)
            code, because = entry.payload.get("code"), entry.payload.get("because")
            ledger.note(event, Result(event.event_id, False, str(code), str(because)))
    return Standing(fold_run(pairing, events), events, ledger)


def judge_events(
    events: Iterable[tuple[RunEvent, BitternError | None]],
    ledger: Ledger,
    take: Callable[[RunEvent], None],
    refuse: Callable[[RunEvent, Result], None],
) -> Receipt:
    """Answer each of ``events``: what the ledger has already, as before; a gap in a device's count ends it.

    ``take`` records an event or raises why it cannot be; ``refuse`` records that it was refused.
    """
    receipt = Receipt()
    for event, fault in events:
        result = ledger.find(event.event_id)
        if result is None:
            known = ledger.counts.get(event.device, 0)
            if (event.sequence or 0) > known + 1:
                receipt.send_from = known + 1
                break
            result = _judge(event, fault, known, take)
            if not result.taken:
                refuse(event, result)
            ledger.note(event, result)
        receipt.results.append(result)
    return receipt


def _judge(
    event: RunEvent, fault: BitternError | None, known: int, take: Callable[[RunEvent], None]
) -> Result:
    if fault is None and (event.sequence or 0) <= known:
        fault = field_fault("sequence", str(event.sequence), f"the device's next count, {known + 1}")
    try:
        if fault is not None:
            raise fault
        take(event)
    except ClosedError:
        raise
    except BitternError as error:
        return Result(event.event_id, False, error.code, say_refusal(error))
    return Result(event.event_id, True)


def take_over(desk: Desk, number: int, person: Person, attempt: int, carrier: str) -> None:
    """Put on record that ``person`` takes the run over from ``carrier``, a login name."""
    with changing(desk, number, person, "bench") as change:
        change.log(TAKEN_OVER, run=attempt, carried_by=carrier)


def say_refusal(error: BitternError) -> str:
    """Return why an event was refused, as a sentence."""
    if isinstance(error, FieldsError):
        return " ".join(f"{name}: {sentence}" for name, sentence in error.fields.items())
    return f"{error.meaning} Found {error.found}; expected {error.expected}."


@dataclass(slots=True)
class _Taker:
    """Records events of one run in one change of its job."""

    desk: Desk
    change: Change
    standing: Standing
    attempt: int

    def take(self, event: RunEvent) -> None:
        run = self.standing.run
        if self.attempt != run.attempt:
            raise RunOverError(f"{event.kind} in run {self.attempt}", f"run {run.attempt}, under way")
        last_at = max((one.at for one in self.standing.events), default=event.at)
        placed, notes = place_event(event, last_at, self.change.now)
        self.standing.run = take_event(self.desk, self.change, run, placed, **notes)
        self.standing.events.append(placed)

    def refuse(self, event: RunEvent, result: Result) -> None:
        payload = {"event": event.as_dict(), "code": result.code, "because": result.sentence}
        self.change.log(REFUSED, run=self.attempt, **payload)


def place_event(event: RunEvent, last_at: datetime, now: datetime) -> tuple[RunEvent, dict[str, object]]:
    """Return ``event`` at a time that can be, and a note of what the device had said where that cannot be.

    It cannot have been more than two seconds from now, and not before the event before it.
    """
    at = max(event.at if event.at <= now + AHEAD else now, last_at)
    return (event, {}) if at == event.at else (replace(event, at=at), {"device_said": event.at.isoformat()})


def read_sent(
    plain: Mapping[str, object], person: Person, device: str
) -> tuple[RunEvent, BitternError | None]:
    """Return an event as a device sent it, and what is wrong with its fields, if anything.

    Raises
    ------
    EventUnreadableError, FieldsError
        It cannot even be put on record: no event, no count, or another person's or device's.
    """
    event = read_event(plain)
    if event.person != person.login:
        raise field_fault("person", shorten(event.person), f"{person.login}, who is logged in")
    if not event.event_id or len(event.event_id) > 64 or not event.sequence or event.sequence < 1:
        raise field_fault("event_id", shorten(event.event_id), "an id and a count of its own")
    if event.device != device:
        raise field_fault("device", shorten(event.device), "the device that sends it")
    texts = (
        event.event_id,
        event.device,
        event.step,
        event.choice,
        event.to,
        event.note,
        event.source,
        *event.present,
    )
    texts += (*(key.name for key in event.keys), *event.needs)
    if any(len(text) > _TEXT_LIMIT or _cannot_be_stored(text) for text in texts):
        raise field_fault("event", "a text that cannot be stored", f"at most {_TEXT_LIMIT} characters")
    return event, _find_fault(event, plain)


def _find_fault(event: RunEvent, plain: Mapping[str, object]) -> BitternError | None:
    if event.kind not in KINDS:
        return field_fault("kind", event.kind, "one of: " + ", ".join(KINDS))
    if event.kind == "confirmed" and plain.get("sure") is not True:
        return field_fault("sure", "not ticked", "a tick that you have read what will be lost")
    if event.kind == "abandoned" and plain.get("give_up") is not True:
        return field_fault("give_up", "not ticked", "a tick that the run ends here")
    if event.kind == "census":
        return _find_count_fault(event.keys)
    return None


def _find_count_fault(keys: Sequence[KeyInHand]) -> BitternError | None:
    """Return what is wrong with a count: the same rules as for the form."""
    names = [key.name.casefold() for key in keys if not key.new]
    new = [key for key in keys if key.new]
    if len(names) > MOST_KEYS or any(len(name) > 60 for name in names):
        return field_fault(
            "keys", f"{len(names)} keys", f"at most {MOST_KEYS}, names of at most 60 characters"
        )
    if len(set(names)) != len(names) or NEW_KEY.casefold() in names:
        return field_fault("keys", "a name twice", "a name of its own for each key")
    if [(key.name, key.present) for key in new] != [(NEW_KEY, True)]:
        return field_fault("keys", f"{len(new)} new keys", "the new key, counted once")
    return None


def _cannot_be_stored(text: str) -> bool:
    return "\x00" in text or any("\ud800" <= char <= "\udfff" for char in text)
