"""The cut of a job, planned: what was chosen, each set-up proven by a sweep, the program taken."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from bittern.core.errors import InputError
from bittern.engines.blade.bitting import Bitting, parse_bitting
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.feeds import BLADE_MATERIALS
from bittern.engines.cutting.fitting import fits_standard
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.replay import Replay, record_replay
from bittern.engines.cutting.sweep import SweepResult
from bittern.formats.program_reader import read_program
from bittern.work.blade import get_standard, look_at_bitting, take_cutter
from bittern.work.change import changing
from bittern.work.cutting import (
    MILLINGS,
    PlannedProgram,
    Wish,
    list_spoiling,
    list_warnings,
    plan_program,
    prove_program,
)
from bittern.work.entry import Entry
from bittern.work.errors import ClosedError, ConflictError, NotYetError, WorkError
from bittern.work.facts import JobFile
from bittern.work.people import Person, require
from bittern.work.ports import Desk

PASS_MM: Final = (0.05, 5.0)
SPEED_RPM: Final = (10.0, 60_000.0)
FEED_MM_MIN: Final = (1.0, 5000.0)
TICKS: Final = ("eyes", "guard", "clothes", "held")
WHAT_TICKED: Final = {
    "clothes": "nothing loose near the cutter",
    "held": "the blank clamped against its stop",
}


class SpoilsError(WorkError):
    """A program that would spoil the key, the cutter or the machine: it is never handed out."""

    code = "work.cutting-spoils"
    meaning = "The sweep of the program shows a key out of its tolerance, or a move that must not be made."


@dataclass(frozen=True)
class SetUp:
    """One clamping of the blank and its program, read back and swept.

    ``edge`` is 0 or 1 for A or B of a split blade; ``name`` is "A", "B" or nothing.
    """

    edge: int
    name: str
    planned: PlannedProgram
    swept: SweepResult

    @property
    def warnings(self) -> list[str]:
        """What somebody should know before cutting."""
        return list_warnings(self.planned, self.swept)

    @property
    def spoiling(self) -> list[str]:
        """Why the program must not be used; none when it may be."""
        return list_spoiling(self.swept)


@dataclass(frozen=True)
class CutPlan:
    """All set-ups of a key, with what was chosen."""

    standard: BladeStandard
    bitting: Bitting
    cutter: Cutter
    machine: Machine
    wish: Wish
    set_ups: tuple[SetUp, ...]

    @property
    def runs(self) -> int:
        """How often a program is run for a whole key: a mirror blade's twice, the key turned over."""
        return 2 if self.standard.sides == "mirror" else len(self.set_ups)

    @property
    def good(self) -> bool:
        """Whether every program may be used."""
        return not any(one.spoiling for one in self.set_ups)

    @cached_property
    def time_s(self) -> float:
        """How long the machine runs for a whole key."""
        return sum(one.planned.duration.time_s for one in self.set_ups) * self.runs / len(self.set_ups)

    @cached_property
    def length_mm(self) -> float:
        """How far the cutter travels for a whole key."""
        return sum(one.planned.duration.length_mm for one in self.set_ups) * self.runs / len(self.set_ups)

    @cached_property
    def cutting_min(self) -> float:
        """How long the cutter is in metal for a whole key."""
        cutting = sum(one.planned.duration.cutting_s for one in self.set_ups)
        return cutting * self.runs / len(self.set_ups) / 60

    def film(self, set_up: SetUp) -> Replay:
        """Return the sweep of one set-up moment by moment."""
        motion = read_program(set_up.planned.text, where="program")
        return record_replay(motion, self.standard, self.bitting, self.cutter, edge=set_up.edge)


def plan_cut(
    desk: Desk, number: int, person: Person, data: Mapping[str, object], machine: Machine
) -> CutPlan:
    """Return the plan of a job's cut; the look at its bitting is on record with person and reason first.

    Fields: cutter, material, milling, reason; pass_mm, speed_rpm and feed_mm_min may stay empty.

    Raises
    ------
    FieldsError
        A field is wrong, or the cutter cannot make the blade.
    NotYetError
        No authority, or no bitting on record.
    ClosedError
        The job is closed.
    TravelError
        The machine cannot go where the program needs it.
    """
    require(person, "bench")
    job = desk.store.load(number)
    standard = _require_open(desk, job)
    cutter, wish = _read_choice(desk, standard, job, data)
    secret = look_at_bitting(desk, number, person, str(data.get("reason") or ""))
    return build_plan(standard, parse_bitting(standard, secret), cutter, machine, wish)


def build_plan(
    standard: BladeStandard, bitting: Bitting, cutter: Cutter, machine: Machine, wish: Wish
) -> CutPlan:
    """Return the set-ups of a whole key, each with its program proven."""
    edges = (0, 1) if standard.sides == "split" else (0,)
    set_ups = tuple(_set_up(standard, bitting, cutter, machine, wish, edge) for edge in edges)
    return CutPlan(standard, bitting, cutter, machine, wish, set_ups)


def mark_plan(job: JobFile, standard: BladeStandard, cutter: Cutter, machine: Machine) -> str:
    """Return what tells a plan that is out of date from one that stands.

    It changes with the bitting on record, the standard, the cutter and the machine's profile. Nothing of the
    bitting is in it: a digest of so few cuts would give them away.
    """
    entered = job.blade.entered_at.isoformat() if job.blade else ""
    return hashlib.sha256(repr((entered, standard, cutter, machine)).encode()).hexdigest()[:32]


def plan_again(
    desk: Desk, number: int, person: Person, data: Mapping[str, object], machine: Machine
) -> CutPlan:
    """Return the plan that somebody was shown, for its files; field planned_for besides those of the plan.

    Raises
    ------
    ConflictError
        Bitting, standard, cutter or profile are no longer those of the plan that was shown.
    """
    require(person, "bench")
    _require_current(desk, desk.store.load(number), data, machine)
    return plan_cut(desk, number, person, data, machine)


def is_program_outdated(desk: Desk, job: JobFile) -> bool:
    """Return whether the last program taken was made for a bitting or a standard that was replaced since."""
    taken = desk.store.entries(job.number, "cut.program")
    if not taken or job.blade is None:
        return False
    entered = desk.store.entries(job.number, "blade.entered")
    last = taken[-1]
    # By the log's order: a clock may be set back.
    replaced = bool(entered) and entered[-1].sequence > last.sequence
    return replaced or last.payload.get("standard") != get_standard(desk, job).id


def take_program(
    desk: Desk, number: int, person: Person, data: Mapping[str, object], machine: Machine
) -> tuple[str, str]:
    """Return file name and text of one set-up's program, for the machine; on record.

    Fields: those of :func:`plan_cut`, set_up ("A" or "B" on a split blade), and the ticks eyes, guard,
    clothes and held.

    Raises
    ------
    SpoilsError
        The sweep of the program shows a key that would be wrong.
    NotYetError
        The promise is not accepted yet.
    ConflictError
        The plan that was shown is out of date: what would be cut is not what was seen.
    """
    require(person, "bench")
    _require_current(desk, desk.store.load(number), data, machine)
    entry = Entry(data)
    for name, expected in WHAT_TICKED.items():
        if not entry.flag(name):
            entry.fault(name, "not ticked", expected)
    take_cutter(entry, desk)
    job = desk.store.load(number)
    if job.promise is None or job.promise.accepted_at is None:
        raise NotYetError("no accepted promise", "the customer's word before metal is cut", where="blade")
    plan = plan_cut(desk, number, person, data, machine)
    name = str(data.get("set_up") or "")
    chosen = next((one for one in plan.set_ups if one.name == name), None)
    if chosen is None:
        names = " or ".join(one.name for one in plan.set_ups)
        raise InputError(name or "no edge", names or "the only set-up", where="set_up")
    if chosen.spoiling:
        raise SpoilsError(chosen.spoiling[0], "a key within its tolerance", hint="choose another cutter")
    with changing(desk, number, person, "bench") as change:
        # Somebody may have put another bitting in its place while this one was planned.
        _require_current(desk, change.job, data, machine)
        change.log(
            "cut.program",
            standard=plan.standard.id,
            cutter=plan.cutter.id,
            machine=machine.id,
            set_up=name,
        )
    edge = f"-edge-{name}" if name else ""
    return f"job-{number}{edge}.nc", chosen.planned.text


def _require_current(desk: Desk, job: JobFile, data: Mapping[str, object], machine: Machine) -> None:
    standard = _require_open(desk, job)
    cutter = desk.pack.tools.get(str(data.get("cutter") or ""))
    if cutter is None or data.get("planned_for") != mark_plan(job, standard, cutter, machine):
        raise ConflictError(
            "a plan for another bitting, standard, cutter or machine profile",
            "one for what is on record now",
            where="blade",
            hint="plan the cut again, and delete any program taken before",
        )


def _require_open(desk: Desk, job: JobFile) -> BladeStandard:
    if job.state != "open":
        raise ClosedError(f"job {job.number} {job.state}", "an open job", where=f"job {job.number}")
    if job.authority is None:
        raise NotYetError("no authority on record", "it recorded before a blade is touched", where="blade")
    if job.blade is None:
        raise NotYetError("no bitting", "one entered or measured first", where="blade")
    return get_standard(desk, job)


def _read_choice(
    desk: Desk, standard: BladeStandard, job: JobFile, data: Mapping[str, object]
) -> tuple[Cutter, Wish]:
    entry = Entry(data)
    name = entry.choice("cutter", tuple(desk.pack.tools))
    material = entry.choice("material", BLADE_MATERIALS)
    milling = entry.choice("milling", MILLINGS)
    depth = entry.measure("pass_mm", *PASS_MM)
    speed = entry.measure("speed_rpm", *SPEED_RPM)
    feed = entry.measure("feed_mm_min", *FEED_MM_MIN)
    reasons = fits_standard(desk.pack.tools[name], standard) if name in desk.pack.tools else ()
    if reasons:
        entry.fault("cutter", f"{name}: {reasons[0]}", "a cutter that can make this blade")
    entry.finish()
    wish = Wish(0, material, milling == "climb", depth, speed, feed, str(job.number))
    return desk.pack.tools[name], wish


def _set_up(
    standard: BladeStandard, bitting: Bitting, cutter: Cutter, machine: Machine, wish: Wish, edge: int
) -> SetUp:
    own = replace(wish, edge=edge)
    planned = plan_program(standard, bitting, cutter, machine, own)
    swept = prove_program(planned.text, standard, bitting, cutter, edge=edge, where="program")
    return SetUp(edge, "AB"[edge] if standard.sides == "split" else "", planned, swept)
