"""What happens in a run, as entries of an append-only list, and the state that they add up to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from bittern.core.errors import shorten
from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.errors import EventUnreadableError

T = TypeVar("T")

_TEXTS = ("step", "choice", "to", "source", "device", "note")
_WHOLE = ("visit", "sequence")
_LISTS = ("needs", "present")

# begun: the needs are affirmed and the first step is at hand; census: the keys are counted; supply: the
# supply voltage was read; confirmed: the second deliberate act before a point of no return; done, failed,
# chosen: how a step was left; abandoned: given up.
EVENT_KINDS = ("begun", "census", "supply", "confirmed", "done", "failed", "chosen", "abandoned")
# What the run waits for.
PHASES = ("needs", "census", "supply", "confirm", "step", "ended", "abandoned")
SUPPLY_SOURCES = ("typed", "measured")
MOST_VOLTS = 60.0


@dataclass(frozen=True, slots=True)
class RunEvent:
    """One thing that happened in a run.

    Attributes
    ----------
    event_id
        Unique text (a UUID) made where the event was: a second arrival of the same event changes nothing.
    kind
        One of ``EVENT_KINDS``.
    person, at
        Who, and when (with a time zone).
    step, visit
        For ``confirmed``, ``done``, ``failed``, ``chosen``: the step, and which visit of the run it was (1,
        2, ..); with ``visit`` an old page that shows the same step again cannot leave it twice.
    choice
        ``chosen``: the option's label.
    to
        ``failed``: where the failure leads.
    needs
        ``begun``: the needs that the person affirmed.
    keys
        ``census``: the keys.
    volts, source
        ``supply``: the reading in volts, and whether it was ``typed`` or ``measured`` by an adapter.
    present
        ``confirmed``: who is at the vehicle.
    device, sequence
        Which device the event was made on, and its own count there (1, 2, ..); empty on the server's pages.
    note
        Anything worth keeping, in the person's words.
    """

    event_id: str
    kind: str
    person: str
    at: datetime
    step: str = ""
    visit: int | None = None
    choice: str = ""
    to: str = ""
    needs: tuple[str, ...] = ()
    keys: tuple[KeyInHand, ...] = ()
    volts: float | None = None
    source: str = ""
    present: tuple[str, ...] = ()
    device: str = ""
    sequence: int | None = None
    note: str = ""

    def as_dict(self) -> dict[str, object]:
        """Return the event as plain data that :func:`read_event` reads back."""
        plain: dict[str, object] = {"event_id": self.event_id, "kind": self.kind, "person": self.person}
        plain["at"] = self.at.isoformat()
        for name in (*_WHOLE, *_TEXTS, "volts"):
            if (value := getattr(self, name)) not in ("", None):
                plain[name] = value
        for name in _LISTS:
            if words := getattr(self, name):
                plain[name] = list(words)
        if self.keys:
            plain["keys"] = [
                {"name": key.name, "present": key.present, "works_before": key.works_before, "new": key.new}
                for key in self.keys
            ]
        return plain


@dataclass(frozen=True, slots=True)
class Passage:
    """One visit that was left: how (``done``, ``failed``, ``chosen``), where to, how late for its window."""

    step_id: str
    visit: int
    how: str
    to: str
    arrived_at: datetime
    left_at: datetime
    late_s: float = 0.0
    choice: str = ""


@dataclass(frozen=True, slots=True)
class RunState:
    """Where a run stands; nothing but what its events say.

    Attributes
    ----------
    step_id, visit
        The step at hand and the number of this visit in the run; before the start ``step_id`` is the first
        step and ``visit`` 0.
    phase
        What the run waits for, one of ``PHASES``.
    ended, outcome
        Whether the run is over, and how the end that it came to is marked (empty when given up).
    passed_no_return
        Whether a point of no return was passed, or may have been (given up after it was confirmed).
    confirmed
        Whether the point of no return at hand is confirmed for this visit.
    arrived_at, deadline
        When the step at hand was reached, and until when its window is open (None without a window).
    keys, census_gaps
        The last census (None before it) and what it lacks for a point of no return.
    supply_v, supply_at
        The last reading of the supply voltage and when it was taken (None before it).
    affirmed
        The needs affirmed at the start.
    present
        Who was at the vehicle when a point of no return was last confirmed.
    history
        Every visit that was left, in order.
    event_ids
        Ids of all events that count in this state.
    """

    step_id: str
    phase: str
    visit: int = 0
    ended: bool = False
    outcome: str = ""
    passed_no_return: bool = False
    confirmed: bool = False
    arrived_at: datetime | None = None
    deadline: datetime | None = None
    keys: tuple[KeyInHand, ...] | None = None
    census_gaps: tuple[str, ...] = ()
    supply_v: float | None = None
    supply_at: datetime | None = None
    affirmed: tuple[str, ...] = ()
    present: tuple[str, ...] = ()
    history: tuple[Passage, ...] = ()
    event_ids: frozenset[str] = frozenset()


def read_event(plain: Mapping[str, object]) -> RunEvent:
    """Return the event that :meth:`RunEvent.as_dict` made ``plain`` from.

    Raises
    ------
    EventUnreadableError
        A key is missing or has the wrong type, or the time has no zone.
    """
    texts = {name: _get(plain, name, str, "") for name in _TEXTS}
    text = _get(plain, "at", str)
    try:
        at = datetime.fromisoformat(text)
    except ValueError as error:
        raise EventUnreadableError(shorten(text), "a time in ISO 8601", where="at") from error
    if at.utcoffset() is None:
        raise EventUnreadableError(shorten(text), "a time with its zone", where="at")
    kind = _get(plain, "kind", str)
    if kind not in EVENT_KINDS:
        raise EventUnreadableError(shorten(kind), "one of " + ", ".join(EVENT_KINDS), where="kind")
    return RunEvent(
        event_id=_get(plain, "event_id", str),
        kind=kind,
        person=_get(plain, "person", str),
        at=at,
        keys=tuple(_read_key(key) for key in _get(plain, "keys", list, [])),
        volts=_read_volts(plain),
        needs=_read_words(plain, "needs"),
        present=_read_words(plain, "present"),
        visit=_read_whole(plain, "visit"),
        sequence=_read_whole(plain, "sequence"),
        **texts,
    )


def _read_words(plain: Mapping[str, object], name: str) -> tuple[str, ...]:
    values: list[object] = _get(plain, name, list, [])
    words = tuple(value for value in values if isinstance(value, str))
    if len(words) != len(values):
        raise EventUnreadableError(shorten(values), "a list of words", where=name)
    return words


def _read_whole(plain: Mapping[str, object], name: str) -> int | None:
    value = plain.get(name)
    if value is None or (isinstance(value, int) and not isinstance(value, bool)):
        return value
    raise EventUnreadableError(shorten(value), "a whole number", where=name)


def _read_volts(plain: Mapping[str, object]) -> float | None:
    value = plain.get("volts")
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise EventUnreadableError(shorten(value), "a number of volts", where="volts")
    return float(value)


def _read_key(plain: object) -> KeyInHand:
    if not isinstance(plain, Mapping):
        raise EventUnreadableError(shorten(plain), "a key", where="keys")
    works = plain.get("works_before")
    if works is not None and not isinstance(works, bool):
        raise EventUnreadableError(shorten(works), "true, false or null", where="works_before")
    return KeyInHand(
        _get(plain, "name", str), _get(plain, "present", bool), works, _get(plain, "new", bool, False)
    )


def _get(plain: Mapping[str, object], name: str, kind: type[T], default: T | None = None) -> T:
    value = plain.get(name, default)
    if not isinstance(value, kind):
        raise EventUnreadableError(shorten(value), f"a {kind.__name__}", where=name)
    return value
