"""Rehearsals as they are kept: what happened in each, and who may see which. No job is ever touched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from bittern.work.errors import NoSuchRehearsalError
from bittern.work.people import Person, require

Plain = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """One rehearsal.

    Attributes
    ----------
    id
        Its number; 0 before it is kept.
    person
        Login name of whoever rehearses.
    place
        Its place in the course, 1 to 8; 0 for one of one's own choice.
    title, family
        What it is called, and the procedure family that the skill is counted for.
    sheet, sheet_text
        Id and text of the run sheet as it was at the beginning.
    seed, faults
        What the simulated vehicle was made from.
    vehicle
        The vehicle's hidden state.
    events
        The run's events, as of a real run.
    shown
        What was done at the vehicle, when, and what it showed.
    points, success, reasons
        The score; None and empty until it has ended.
    version
        Rises with each change.
    """

    id: int
    person: str
    title: str
    family: str
    sheet: str
    sheet_text: str
    seed: int
    begun_at: datetime
    place: int = 0
    faults: tuple[str, ...] = ()
    vehicle: Plain | None = None
    events: tuple[Plain, ...] = ()
    shown: tuple[Plain, ...] = ()
    ended_at: datetime | None = None
    points: int | None = None
    success: bool | None = None
    reasons: tuple[Plain, ...] = ()
    version: int = 0

    def find_at_s(self, now: datetime) -> float:
        """Return the seconds since the rehearsal began: the watch that the vehicle is given."""
        return max(0.0, (now - self.begun_at).total_seconds())


class RehearsalStore(Protocol):
    """Keeps rehearsals."""

    def transaction(self) -> AbstractContextManager[None]:
        """Open a transaction; it is undone when an error leaves it."""
        ...

    def add(self, rehearsal: Rehearsal) -> int:
        """Keep a new rehearsal and return its number."""
        ...

    def find(self, number: int, *, hold: bool = False) -> Rehearsal | None:
        """Return a rehearsal or None; ``hold``: nobody else changes it until the transaction ends."""
        ...

    def save(self, rehearsal: Rehearsal) -> None:
        """Keep a change; raises ConflictError when somebody else was quicker."""
        ...

    def list_of(self, person: str) -> Sequence[Rehearsal]:
        """Return the latest rehearsals of a person, newest first, without what happened in them."""
        ...

    def list_started(self) -> Sequence[Rehearsal]:
        """Return everybody's rehearsals whose run was begun, oldest first, without what happened in them."""
        ...


def get_rehearsal(store: RehearsalStore, number: int, person: Person, *, hold: bool = False) -> Rehearsal:
    """Return a rehearsal of the person's own; an owner sees everybody's.

    Raises
    ------
    NotAllowedError
        This role does not work at the vehicle.
    NoSuchRehearsalError
        There is none, or it is somebody else's: which of the two is not told.
    """
    require(person, "bench")
    found = store.find(number, hold=hold)
    if found is None or (found.person != person.login and not person.may("owner")):
        raise NoSuchRehearsalError(f"rehearsal {number}", "the number of one of your rehearsals")
    return found
