"""Cutters, programs written by hand and by the planner, and their sweeps, for the tests of the sweep."""

from __future__ import annotations

from functools import cache

from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import Bitting, parse_bitting
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.fitting import fits_standard
from bittern.engines.cutting.forms import get_form
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.metal import Metal, lay_metal
from bittern.engines.cutting.motion import Motion
from bittern.engines.cutting.slabs import cut_into_slabs
from bittern.engines.cutting.strokes import list_strokes
from bittern.engines.cutting.sweep import SweepResult, sweep
from bittern.engines.cutting.target import get_target
from bittern.formats.packs import Pack, read_pack
from bittern.formats.program_reader import read_program
from bittern.work.cutting import Wish, plan_program
from tests.strategies.blades import HERON

WHEEL = Cutter("wheel-90", "wheel", 60.0, 40, "hss", 1.0, 90.0)
MILL = Cutter("mill-20", "endmill", 2.0, 2, "carbide")
ALL_ONES = parse_bitting(HERON, "1 1 1 2 1 1 1 2")
WHEEL_HEAD = "(FRAME x=+X h=+Y n=+Z)\n(ORIGIN X0 Y0 Z0)\n(POINT flat-middle)\nG21 G90 G17\nM3 S900 F100\n"
MILL_HEAD = WHEEL_HEAD.replace("flat-middle", "end-centre")
END = "M5\nM30\n"


@cache
def get_pack() -> Pack:
    return read_pack(PACK_DIR)


def list_pairs() -> list[tuple[str, str]]:
    """Return every demo blade with every demo cutter that fits it."""
    return [
        (blade.id, cutter.id)
        for blade in get_pack().blades.values()
        for cutter in get_pack().tools.values()
        if not fits_standard(cutter, blade)
    ]


def plan(standard: BladeStandard, bitting: Bitting, cutter: Cutter, *, edge: int = 0) -> str:
    """Return the planner's program."""
    return plan_program(standard, bitting, cutter, Machine(), Wish(edge=edge)).text


def check(
    text: str,
    standard: BladeStandard = HERON,
    bitting: Bitting = ALL_ONES,
    cutter: Cutter = WHEEL,
    *,
    edge: int = 0,
) -> SweepResult:
    """Return the sweep of a program."""
    return sweep(read_program(text, where="a.nc"), standard, bitting, cutter, edge=edge)


def take(motion: Motion, cutter: Cutter, standard: BladeStandard = HERON) -> Metal:
    """Return a blank from which a motion has taken its metal."""
    target = get_target(standard, ALL_ONES if standard is HERON else Bitting(((0,) * 8,)), 0)
    strokes = list_strokes(motion)
    metal = lay_metal(get_form(cutter), cut_into_slabs(strokes, cutter, target.depth_mm), target)
    metal.take_all(motion)
    return metal


def list_kinds(result: SweepResult, *, spoils: bool | None = None) -> set[str]:
    """Return the kinds of a sweep's findings."""
    return {finding.kind for finding in result.findings if spoils is None or finding.spoils == spoils}
