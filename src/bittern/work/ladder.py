"""Ladders within a job: the sealed plan, where the work on it stands, and a look at it that is on record."""

from __future__ import annotations

import json
from dataclasses import dataclass

from bittern.core.errors import BitternError
from bittern.engines.blade.bitting import (
    Bitting,
    parse_bitting,
)
from bittern.engines.blade.climbing import Standing, follow_climb, name_deeper
from bittern.engines.blade.standard import BladeStandard
from bittern.work.blade import get_standard
from bittern.work.change import SEAL_LADDER
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError, SealBrokenError
from bittern.work.facts import JobFile, Ladder
from bittern.work.people import Person, require
from bittern.work.ports import Desk

PLANNED, OPEN, FOUND, DROPPED = "planned", "open", "found", "dropped"


@dataclass(frozen=True, slots=True)
class Rung:
    """The cutting at hand.

    Attributes
    ----------
    blank, cutting, cuttings
        Blank in hand and cutting on this ladder, from 1; how many cuttings the ladder has.
    place
        How many entries there are: what an answer to this rung must say.
    bitting, before
        What to cut to, and what is cut on the blank in hand; None on a new blank.
    deeper
        Names of the cuts that are made or made deeper.
    """

    blank: int
    cutting: int
    cuttings: int
    place: int
    bitting: Bitting
    before: Bitting | None
    deeper: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OpenedLadder:
    """A plan with its seal open; ``rung`` is None once every cutting was tried."""

    standard: BladeStandard
    known: str
    ladders: tuple[tuple[str, ...], ...]
    proof: tuple[str, ...]
    standing: Standing
    rung: Rung | None


def find_ladder(job: JobFile) -> Ladder | None:
    """Return the ladders of the job's blade, or None; those of another article's blade do not count."""
    ladder = job.ladder
    return ladder if ladder and job.key and job.key.blade == ladder.standard else None


def is_climbing(job: JobFile) -> bool:
    """Tell whether ladders are planned or under way: the next step of the Blade leg is on their page."""
    ladder = find_ladder(job)
    return ladder is not None and ladder.state in (PLANNED, OPEN)


def get_standing(ladder: Ladder) -> Standing:
    """Return where the work on the ladders stands."""
    return follow_climb(ladder.rungs, [event.kind for event in ladder.events])


def look_at_ladder(desk: Desk, number: int, person: Person, reason: str) -> OpenedLadder:
    """Return the sealed plan and the rung at hand; the look is logged with person and reason first."""
    require(person, "look")
    entry = Entry({"reason": reason})
    reason = entry.text("reason", required=True, expected="why you look at the ladders")
    entry.finish()
    with desk.store.transaction():
        job = desk.store.load_for_change(number)
        ladder = get_ladder(job)
        payload = {"name": SEAL_LADDER, "reason": reason}
        desk.store.append(
            number, at=desk.clock.now(), person=person.login, kind="seal.looked", payload=payload
        )
        return open_seal(desk, job, ladder)


def get_ladder(job: JobFile) -> Ladder:
    """Return the ladders under way or found; raises NotYetError."""
    ladder = find_ladder(job)
    if ladder is None or ladder.state == DROPPED:
        raise NotYetError("no ladders", "a plan first", where="ladder")
    return ladder


def count_wasted(ladder: Ladder) -> int:
    """Return the blanks that plans given up or replaced have cost; those of a found one are the blade's."""
    if ladder.state == FOUND:
        return 0
    standing = get_standing(ladder)
    in_hand = 1 if ladder.state != PLANNED and (ladder.events or not standing.new_blank) else 0
    done = standing.ladder >= len(ladder.rungs)
    return ladder.wasted_before + standing.wasted + (0 if done else in_hand)


def open_seal(desk: Desk, job: JobFile, ladder: Ladder) -> OpenedLadder:
    """Return the plan; the caller logs the look. Raises SealBrokenError where the pack's blade is another."""
    text = desk.store.unseal(job.number, SEAL_LADDER)
    if text is None:
        raise NotYetError("no ladders", "a plan first", where="ladder")
    standard = get_standard(desk, job)
    try:
        secret = json.loads(text)
        ladders = tuple(tuple(rungs) for rungs in secret["ladders"])
        standing = get_standing(ladder)
        rung = _build_rung(standard, ladders, standing, len(ladder.events))
        return OpenedLadder(standard, str(secret["known"]), ladders, tuple(secret["proof"]), standing, rung)
    except (ValueError, KeyError, TypeError, IndexError, BitternError) as error:
        raise SealBrokenError(
            "a plan that does not fit its blade",
            "the plan that was sealed",
            where=f"job {job.number}",
            hint="was the pack changed? plan the ladders anew",
        ) from error


def _build_rung(
    standard: BladeStandard, ladders: tuple[tuple[str, ...], ...], standing: Standing, place: int
) -> Rung | None:
    if standing.ladder >= len(ladders):
        return None
    rungs = ladders[standing.ladder]
    bitting = parse_bitting(standard, rungs[standing.rung])
    before = None if standing.new_blank else parse_bitting(standard, rungs[standing.rung - 1])
    return Rung(
        blank=standing.blank,
        cutting=standing.rung + 1,
        cuttings=len(rungs),
        place=place,
        bitting=bitting,
        before=before,
        deeper=name_deeper(standard, before, bitting),
    )
