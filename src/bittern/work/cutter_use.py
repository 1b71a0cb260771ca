"""How long each cutter has cut since somebody last looked at it: teeth wear, and a key shows it late."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from bittern.core.errors import shorten
from bittern.work.errors import WorkError
from bittern.work.people import Person, require
from bittern.work.ports import Desk


class CutterUseError(WorkError):
    """A cutter that is in no pack, or a bench that counts no cutters."""

    code = "work.cutter-use"
    meaning = "Nothing is counted of this cutter."


@dataclass(frozen=True, slots=True)
class CutterUse:
    """What a cutter has done since its last look: cuts, and minutes in metal where they are known."""

    cutter: str
    cuts: int = 0
    minutes: float = 0.0
    looked_at: datetime | None = None
    looked_by: str = ""


class UseStore(Protocol):
    """Keeps what each cutter has done."""

    def add(self, cutter: str, minutes: float) -> None:
        """Count one cut more."""
        ...

    def look(self, cutter: str, person: str, at: datetime) -> None:
        """Begin to count anew."""
        ...

    def find(self, cutter: str) -> CutterUse:
        """Return what the cutter has done; nothing for one that was never used."""
        ...


def count_cut(desk: Desk, cutter: str, minutes: float) -> None:
    """Count one blade more for ``cutter``; inside the change that records it."""
    if desk.uses is not None:
        desk.uses.add(cutter, minutes)


def find_use(desk: Desk, cutter: str) -> CutterUse:
    """Return what a cutter has done since its last look."""
    return desk.uses.find(cutter) if desk.uses is not None else CutterUse(cutter)


def is_due(desk: Desk, use: CutterUse) -> bool:
    """Return whether a look at the cutter is due."""
    return use.minutes >= desk.terms.cutter_life_min


def record_look(desk: Desk, person: Person, cutter: str) -> None:
    """Record that a cutter's teeth were looked at and found good, or that it was replaced.

    Raises
    ------
    CutterUseError
        No such cutter, or nothing is counted here.
    """
    require(person, "bench")
    if desk.uses is None or cutter not in desk.pack.tools:
        raise CutterUseError(shorten(cutter) or "nothing", "a cutter of the pack")
    with desk.store.transaction():
        desk.uses.look(cutter, person.login, desk.clock.now())
