"""The cut key in its picture: the target is drawn where the cuts should be, not where they are."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import Bitting, parse_bitting
from bittern.engines.blade.measurement import Trace
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.packs import read_pack
from bittern.work.blade_inspection import InspectedKey, InspectionOrder, inspect_finished
from bittern.work.blade_record import SCAN
from bittern.work.people import TECHNICIAN, Person
from tests.key_pictures import scan_finished

PACK = read_pack(PACK_DIR)
TOBIN = Person("tobin", "Tobin Reedmace", TECHNICIAN)
DESK = cast(Any, SimpleNamespace(clock=SimpleNamespace(now=lambda: datetime(2026, 1, 5, tzinfo=UTC))))
DPI = 1200
SINGLE, SPLIT, MIRROR = "heron-8", "alder-8", "rush-10"
BITTINGS = {
    SINGLE: "2 1 3 4 2 2 1 3",
    SPLIT: "B A C B A B C B / A B C D C A B C",
    MIRROR: "2 1 3 2 1 2 3 2 1 2",
}


def inspect(blade: str, kind: str, amount_mm: float) -> tuple[BladeStandard, Bitting, InspectedKey]:
    standard = PACK.blades[blade]
    bitting = parse_bitting(standard, BITTINGS[blade])
    png = scan_finished(standard, BITTINGS[blade], kind, amount_mm, dpi=DPI).png
    order = InspectionOrder(standard, bitting, SCAN, DPI, 0.05)
    return standard, bitting, inspect_finished(order, png, TOBIN, DESK)


def list_traces(found: InspectedKey) -> tuple[Trace, ...]:
    fit = found.reading.measurement.fit
    assert fit is not None
    return fit.traces


def find_gaps(standard: BladeStandard, found: InspectedKey) -> list[float]:
    """Return by how much the drawn key stands above its drawn target at each root, in mm."""
    shift = found.inspection.shift_mm
    gaps = []
    for trace in list_traces(found):
        for place in standard.positions_mm:
            near = np.abs(trace.x_mm + shift - place) < standard.flat_mm / 4
            gaps.append(float(np.nanmedian(trace.measured_mm[near] - trace.ideal_mm[near])))
    return gaps


@pytest.mark.parametrize("blade", [SINGLE, SPLIT, MIRROR])
def test_a_good_key_lies_on_its_target(blade: str) -> None:
    standard, _, found = inspect(blade, "good", 0.0)
    assert find_gaps(standard, found) == pytest.approx([0.0] * len(find_gaps(standard, found)), abs=0.06)


@pytest.mark.parametrize("blade", [SINGLE, SPLIT, MIRROR])
def test_cuts_that_are_all_too_shallow_are_drawn_above_their_target(blade: str) -> None:
    standard, _, found = inspect(blade, "level", 0.2)
    assert np.median(find_gaps(standard, found)) == pytest.approx(0.2, abs=0.04)


def test_a_taper_is_drawn_as_it_is() -> None:
    standard, _, found = inspect(SINGLE, "taper", 0.3)
    gaps = find_gaps(standard, found)
    assert gaps[-1] - gaps[0] == pytest.approx(0.3, abs=0.06)


@pytest.mark.parametrize("amount_mm", [0.4, -0.4])
def test_a_key_off_its_stop_is_drawn_beside_its_target(amount_mm: float) -> None:
    standard, bitting, found = inspect(SINGLE, "shifted", amount_mm)
    (trace,) = list_traces(found)
    root = standard.depths_mm[min(cut for cut in bitting.edges[0] if cut is not None)]
    moved = np.arange(-0.8, 0.81, 0.02)
    seen = np.isfinite(trace.measured_mm)
    away = []
    for by in moved:
        target = np.interp(trace.x_mm[seen] - by, trace.x_mm, trace.ideal_mm)
        inside = (target < root) & np.isfinite(target)
        away.append(float(np.median(np.abs(target - trace.measured_mm[seen])[inside])))
    assert moved[int(np.argmin(away))] == pytest.approx(amount_mm, abs=0.05)
