"""A blade's cutting program: path, speeds, text, and how long it takes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.clearances import Clearances
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.duration import Duration, get_duration
from bittern.engines.cutting.feeds import Feeds, choose_depths, choose_feeds
from bittern.engines.cutting.fitting import fits_standard
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.sweep import SweepResult, sweep
from bittern.engines.cutting.toolpath import Toolpath, plan_path
from bittern.formats.program_reader import read_program
from bittern.formats.program_writer import write_program

MILLINGS: Final = ("climb", "conventional")


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person chose; what is None follows from cutter and material.

    Attributes
    ----------
    edge
        On a split blade 0 for A and 1 for B.
    material
        Of the blade: brass, nickel-silver or steel.
    climb
        Climb milling, else conventional.
    pass_mm, speed_rpm, feed_mm_min
        Depth of a roughing pass, spindle speed and roughing feed.
    job
        The job's number, for the program's header.
    """

    edge: int = 0
    material: str = "brass"
    climb: bool = True
    pass_mm: float | None = None
    speed_rpm: float | None = None
    feed_mm_min: float | None = None
    job: str = ""


@dataclass(frozen=True, slots=True)
class PlannedProgram:
    """A program with what it is made of; not yet proven by a sweep."""

    text: str
    path: Toolpath
    feeds: Feeds
    duration: Duration
    remarks: tuple[str, ...]


def plan_program(
    standard: BladeStandard, bitting: Bitting, cutter: Cutter, machine: Machine, wish: Wish
) -> PlannedProgram:
    """Return the program by which ``machine`` cuts one edge, or one face, of a blade.

    Raises
    ------
    CutterError
        The cutter cannot make the blade.
    TravelError
        The machine cannot go where the program needs it.
    UnknownCutError
        A cut of that edge is unknown.
    """
    path = plan_path(
        standard,
        bitting,
        cutter,
        choose_depths(cutter, wish.material, pass_mm=wish.pass_mm),
        edge=wish.edge,
        climb=wish.climb,
        clearances=Clearances(clear_mm=machine.clear_mm),
    )
    feeds = choose_feeds(
        cutter, wish.material, machine, speed_rpm=wish.speed_rpm, feed_mm_min=wish.feed_mm_min
    )
    head = [f"BLADE {standard.id}", f"CUTTER {cutter.id}", f"MATERIAL {wish.material}"]
    if standard.sides == "split":
        head.insert(1, f"EDGE {'AB'[wish.edge]} UP")
    text = write_program(path, machine, feeds, job=wish.job, remarks=head)
    remarks = (*path.remarks, *feeds.remarks, *_list_set_ups(standard, wish.edge))
    return PlannedProgram(text, path, feeds, get_duration(path.steps, feeds, machine), remarks)


def _list_set_ups(standard: BladeStandard, edge: int) -> list[str]:
    """Return what has to be done beside this program for a whole key."""
    if standard.sides == "mirror":
        what = "edge" if standard.kind == "edge" else "face"
        return [f"for the other {what} turn the key over about its long axis and run the program again"]
    if standard.sides == "split":
        this, other = "AB"[edge], "BA"[edge]
        return [f"this is edge {this}: edge {other} has a program of its own, the key turned over"]
    return []


def list_warnings(planned: PlannedProgram, swept: SweepResult) -> list[str]:
    """Return what somebody should know before cutting.

    What a mill leaves in the corners is said once: the sweep's figure follows from the same radius.
    """
    seen = [finding.text for finding in swept.findings if not finding.spoils and finding.kind != "corner"]
    return [*planned.remarks, *seen]


def list_fitting(cutters: Iterable[Cutter], standard: BladeStandard) -> list[str]:
    """Return the ids of the cutters that can make the blade."""
    return sorted(cutter.id for cutter in cutters if not fits_standard(cutter, standard))


def prove_program(
    text: str, standard: BladeStandard, bitting: Bitting, cutter: Cutter, *, edge: int = 0, where: str = ""
) -> SweepResult:
    """Return what the cutter leaves when it moves along a program as written.

    Raises
    ------
    InputError
        The text is no cutting program.
    """
    return sweep(read_program(text, where=where), standard, bitting, cutter, edge=edge)


def list_spoiling(swept: SweepResult) -> list[str]:
    """Return why a swept program must not be used; none when it may be."""
    if swept.good:
        return []
    reasons = [finding.text for finding in swept.findings if finding.spoils]
    return reasons or ["the blade would not be within its tolerance"]
