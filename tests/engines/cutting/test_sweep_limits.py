"""Where the sweep draws its lines: skins, ramps, walls, the bow, and how much metal may be left."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bittern.engines.blade.bitting import Bitting, parse_bitting
from bittern.engines.cutting.clamp import get_distance_mm
from bittern.engines.cutting.forms import DiscForm, WheelForm
from bittern.engines.cutting.reach import get_reachable_mm
from bittern.engines.cutting.target import get_target
from tests.engines.cutting.programs import (
    ALL_ONES,
    END,
    MILL,
    MILL_HEAD,
    WHEEL,
    check,
    get_pack,
    list_kinds,
    plan,
)
from tests.engines.cutting.test_sweep import plunge
from tests.engines.cutting.test_toolpath import draw_bittings
from tests.strategies.blades import HERON


@pytest.mark.parametrize(("depth", "through"), [("-2.1987", True), ("-2.198", False)])
def test_four_decimals_of_an_inch_are_through(depth: str, through: bool) -> None:
    result = check(MILL_HEAD + f"G0 X12 Y9 Z5\nG1 Z{depth}\nG0 Z5\n" + END, cutter=MILL)
    assert result.left_mm.min() == pytest.approx(8.0 if through else 8.4)


def test_a_ramp_takes_metal_all_along() -> None:
    """Half a circle about (14, 10), down to n = -1 at its end: it is lowest, at h = 7, in its middle."""
    text = MILL_HEAD + "G0 X12 Y10 Z5\nG1 Z0\nG3 X16 Y10 Z-1 I2 J0\nG0 Z5\n" + END
    result = check(text, cutter=MILL)
    ideal = float(np.interp(14, result.x_mm, result.ideal_mm))
    assert result.gouge_mm >= ideal - 7 - 1e-9


def test_a_slot_part_of_the_thickness_deep_sets_nothing_loose() -> None:
    mill = replace(MILL, diameter_mm=1.0)
    round_ = "G0 X10 Y9.5 Z5\nG1 Z{}\nG1 Y5\nG1 X18\nG1 Y9.5\nG0 Z5\n"
    assert "loose" not in list_kinds(check(MILL_HEAD + round_.format("-1") + END, cutter=mill))
    assert "loose" in list_kinds(check(MILL_HEAD + round_.format("-3") + END, cutter=mill))


@pytest.mark.parametrize("aside", ["0.040", "-0.040"])
def test_a_groove_gouges_on_either_side(aside: str) -> None:
    standard, cutter = get_pack().blades["weir-8"], get_pack().tools["endmill-10"]
    bitting = draw_bittings(standard, 1, seed=3)[0]
    text = plan(standard, bitting, cutter).replace("(ORIGIN X0.000 Y0.000", f"(ORIGIN X0.000 Y{aside}")
    result = check(text, standard, bitting, cutter)
    assert result.gouge_mm == pytest.approx(0.04, abs=0.006)
    assert result.root_error_mm == pytest.approx(0.04, abs=0.001)


@pytest.mark.parametrize(("shift", "good"), [(0.05, True), (-0.05, True), (0.07, False), (-0.07, False)])
def test_a_grooves_depth_may_differ_by_the_tolerance(shift: float, good: bool) -> None:
    """Eddy's tolerance is 0.06 mm."""
    standard, cutter = get_pack().blades["eddy-6"], get_pack().tools["endmill-20"]
    bitting = draw_bittings(standard, 1, seed=3)[0]
    text = plan(standard, bitting, cutter).replace("Z0.000)", f"Z{shift})")
    assert check(text, standard, bitting, cutter).good == good


@pytest.mark.parametrize(("flat_mm", "rest_mm"), [(0.92, 0.04), (0.97, 0.015)])
def test_metal_left_on_flanks_counts_beyond_half_the_tolerance(flat_mm: float, rest_mm: float) -> None:
    """A wheel whose flat is too narrow, only plunged, leaves each flank higher by half of what it lacks."""
    text = plunge((8, 8, 8, 7.4, 8, 8, 8, 7.4))
    result = check(text, cutter=replace(WHEEL, flat_mm=flat_mm))
    assert result.root_error_mm == pytest.approx(0)
    assert result.uncut_mm == pytest.approx(rest_mm)
    assert result.within
    assert result.good == (rest_mm < 0.025)


def test_the_bow_keeps_metal_that_no_cutter_may_reach() -> None:
    """A cut so near the shoulder that its flank would go on behind it."""
    near = replace(HERON, positions_mm=(0.8, *HERON.positions_mm[1:]))
    target = get_target(near, Bitting(((3, *ALL_ONES.edges[0][1:]),)), 0)
    x = np.array([0.0, 0.5, 1.0, 6.0])
    wheel = get_reachable_mm(WheelForm(0.5, 1.0), target, x)
    assert wheel == pytest.approx([8.4, 7.9, 7.4, 8.0], abs=0.011)
    mill = get_reachable_mm(DiscForm(0.5), target, x)
    # The disc stands at x = 0.5 at least: its side at the shoulder, half a millimetre above its lowest point.
    assert mill[0] == pytest.approx(6.7, abs=0.011)
    assert mill[1] == pytest.approx(6.2, abs=0.011)


def test_a_corner_beside_the_end_of_a_wheels_flat() -> None:
    target = get_target(HERON, parse_bitting(HERON, "1 1 1 2 1 1 1 2"), 0)
    assert get_distance_mm(WHEEL, (29.0, 9.0, 0.0), target) == pytest.approx((0.5**2 + 0.6**2) ** 0.5)
