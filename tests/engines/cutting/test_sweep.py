"""The sweep against shapes that can be computed by hand, and against every demo blade and cutter."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.cutting.errors import CutterError
from bittern.engines.cutting.fitting import get_corner_rest_mm
from tests.engines.cutting.carving import carve
from tests.engines.cutting.programs import (
    ALL_ONES,
    END,
    MILL,
    MILL_HEAD,
    WHEEL,
    WHEEL_HEAD,
    check,
    get_pack,
    list_kinds,
    list_pairs,
    plan,
)
from tests.engines.cutting.test_toolpath import draw_bittings
from tests.strategies.blades import HERON

PLAIN = [pair for pair in list_pairs() if pair[1] in ("endmill-20", "wheel-84") and pair[0] != "eddy-6"]
PLACES_MM = (3, 6, 9, 12, 15, 18, 21, 24)


def plunge(heights_mm: tuple[float, ...]) -> str:
    """Return a program that plunges a wheel at each cut."""
    cuts = [f"G0 X{x} Y9.4\nG1 Y{h}\nG0 Y9.4" for x, h in zip(PLACES_MM, heights_mm, strict=True)]
    return "\n".join([WHEEL_HEAD + "G0 X3 Y10 Z0", *cuts, "G0 Y10", END])


def test_a_wheel_of_the_cuts_form_leaves_the_ideal_by_plunging() -> None:
    result = check(plunge((8, 8, 8, 7.4, 8, 8, 8, 7.4)))
    assert result.roots_mm == pytest.approx((8, 8, 8, 7.4, 8, 8, 8, 7.4), abs=1e-12)
    assert max(result.root_error_mm, result.worst_error_mm, result.gouge_mm) < 1e-12
    assert result.good
    assert result.findings == ()


def test_a_plunge_too_deep_is_a_gouge_of_its_own_depth() -> None:
    result = check(plunge((8, 8, 8, 7.37, 8, 8, 8, 7.4)))
    assert result.root_error_mm == pytest.approx(0.03)
    assert result.gouge_mm == pytest.approx(0.03)
    assert result.worst_error_mm == pytest.approx(0.03)
    assert not result.within
    assert list_kinds(result) == {"root", "gouge"}


def test_a_plunge_beside_its_place_gouges_along_h() -> None:
    """On a flank of 45 degrees a shift of 0.02 mm along x is one of 0.02 mm along h."""
    text = plunge((8, 8, 8, 7.4, 8, 8, 8, 7.4)).replace("G0 X12 ", "G0 X12.02 ")
    result = check(text)
    assert result.root_error_mm == pytest.approx(0)
    assert result.gouge_mm == pytest.approx(0.02)
    assert not result.within


def test_what_is_not_cut_is_left() -> None:
    result = check(plunge((8, 8, 8, 7.4, 8, 8, 8, 9)))
    assert result.root_error_mm == pytest.approx(1.0)
    assert result.worst_error_mm == pytest.approx(1.0)
    assert result.uncut_mm == pytest.approx(1.0)
    assert result.gouge_mm == 0
    assert list_kinds(result) == {"root", "uncut"}


def test_limits_are_as_the_format_says() -> None:
    """Within: root error at most half the tolerance of 0.05 mm and gouge at most 0.01 mm."""
    shallow, deep = (8.025, 8, 8, 7.4, 8, 8, 8, 7.4), (7.99, 8, 8, 7.4, 8, 8, 8, 7.4)
    assert check(plunge(shallow)).within
    assert check(plunge(deep)).within
    assert not check(plunge((8.026, *shallow[1:]))).within
    assert not check(plunge((7.989, *deep[1:]))).within


def test_a_disc_that_stands_leaves_its_circle() -> None:
    """Down at x = 12, h = 8.4 + 0.6: a circle of radius 1 whose lowest point is at 8."""
    result = check(MILL_HEAD + "G0 X12 Y9 Z5\nG1 Z-2.2\nG0 Z5\n" + END, cutter=MILL)
    x = result.x_mm
    circle = 9 - np.sqrt(np.maximum(0, 1 - (x - 12) ** 2))
    expected = np.where(abs(x - 12) <= 1, np.minimum(circle, 8.4), 8.4)
    assert np.abs(result.left_mm - expected).max() < 1e-9


def test_an_arc_about_a_point_leaves_a_circle_of_both_radii() -> None:
    """A disc of radius 1 along the lower half of a circle of radius 2 about (14, 10) reaches down to 7."""
    text = MILL_HEAD + "G0 X12 Y10 Z5\nG1 Z-3\nG3 X16 Y10 I2 J0\nG0 Z5\n" + END
    result = check(text, cutter=MILL)
    across = np.abs(result.x_mm - 14)
    expected = np.where(across <= 3, np.minimum(8.4, 10 - np.sqrt(np.maximum(0, 9 - across**2))), 8.4)
    assert np.abs(result.left_mm - expected).max() < 1e-9


def test_a_ramp_is_through_only_where_it_is_deep_enough() -> None:
    """From n = 0 to -4.4 over 8 mm at h = 9: below -2.2 from x = 14 on."""
    result = check(MILL_HEAD + "G0 X10 Y9 Z5\nG1 Z0\nG1 X18 Z-4.4\nG0 Z5\n" + END, cutter=MILL)
    left = dict(zip(result.x_mm.round(6), result.left_mm, strict=True))
    assert left[12.5] == 8.4
    assert left[16.0] == pytest.approx(8.0)
    assert left[13.5] == pytest.approx(9 - math.sqrt(1 - 0.5**2))
    assert result.gouge_mm == pytest.approx(0.4, abs=1e-6)


def test_a_mill_above_the_face_cuts_nothing() -> None:
    result = check(MILL_HEAD + "G0 X5 Y7 Z5\nG1 Z0\nG1 X20 Y6\nG0 Z5\n" + END, cutter=MILL)
    assert (result.left_mm == 8.4).all()
    assert result.gouge_mm == 0


def test_metal_taken_part_of_the_thickness_deep_is_a_gouge() -> None:
    result = check(MILL_HEAD + "G0 X12 Y8 Z5\nG1 Z-1\nG0 Z5\n" + END, cutter=MILL)
    assert (result.left_mm == 8.4).all()
    assert result.gouge_mm == pytest.approx(0.4)
    assert "gouge" in list_kinds(result, spoils=True)


def test_a_wheel_cuts_whatever_n_is() -> None:
    text = plunge((8, 8, 8, 7.4, 8, 8, 8, 7.4)).replace("Z0\n", "Z50\n")
    assert check(text).good


def test_inches_and_increments_make_the_same_key() -> None:
    steps = [f"G90 G0 X{x / 25.4:.6f}\nG91 G1 Y{(h - 9.4) / 25.4:.6f}\nG0 Y{(9.4 - h) / 25.4:.6f}" for x, h in
             zip(PLACES_MM, (8, 8, 8, 7.4, 8, 8, 8, 7.4), strict=True)]  # fmt: skip
    text = WHEEL_HEAD.replace("G21", "G20") + f"G0 X{3 / 25.4:.6f} Y{9.4 / 25.4:.6f} Z0\n" + "\n".join(steps)
    result = check(text + "\nG90\n" + END)
    assert result.worst_error_mm < 1e-4
    assert result.good


def test_another_frame_makes_the_same_key() -> None:
    text = plan(HERON, ALL_ONES, MILL)
    turned = text.replace("(FRAME x=+X h=+Y n=+Z)", "(FRAME x=-X h=-Y n=+Z)")
    turned = turned.replace("(ORIGIN X0.000 Y0.000 Z0.000)", "(ORIGIN X10 Y-4 Z2)")
    lines = []
    for line in turned.splitlines():
        words = line.split()
        if words[0] in ("G0", "G1", "G2", "G3"):
            moves = {"X": (10, -1), "Y": (-4, -1), "Z": (2, 1), "I": (0, -1), "J": (0, -1)}
            words = [
                f"{word[0]}{moves[word[0]][0] + moves[word[0]][1] * float(word[1:]):.3f}"
                if word[0] in moves
                else word
                for word in words
            ]
        lines.append(" ".join(words))
    one, other = check(text, cutter=MILL), check("\n".join(lines), cutter=MILL)
    assert other.good
    assert np.abs(one.left_mm - np.interp(one.x_mm, other.x_mm, other.left_mm)).max() < 1e-6


@pytest.mark.parametrize(("blade_id", "cutter_id"), list_pairs())
def test_every_demo_blade_and_cutter_come_out_right(blade_id: str, cutter_id: str) -> None:
    """The issue's limits: root error at most a fifth of the tolerance, gouge at most 0.005 mm."""
    standard, cutter = get_pack().blades[blade_id], get_pack().tools[cutter_id]
    for number, bitting in enumerate(draw_bittings(standard, 3, seed=11)):
        edge = number % len(bitting.edges)
        result = check(plan(standard, bitting, cutter, edge=edge), standard, bitting, cutter, edge=edge)
        assert result.good, result.findings
        assert result.root_error_mm <= standard.tolerance_mm / 5
        assert result.gouge_mm <= 0.005
        corner = get_corner_rest_mm(cutter, standard) if cutter.kind == "endmill" else 0.0
        rest = 0.0 if standard.kind == "track" else corner
        assert result.worst_error_mm <= rest + 0.001
        if rest:
            assert result.worst_error_mm == pytest.approx(rest, abs=0.001)
            assert result.unreachable_mm == pytest.approx(rest, abs=0.006)


@pytest.mark.parametrize(("blade_id", "cutter_id"), PLAIN)
def test_a_second_plain_reading_leaves_the_same_outline(blade_id: str, cutter_id: str) -> None:
    standard, cutter = get_pack().blades[blade_id], get_pack().tools[cutter_id]
    bitting = draw_bittings(standard, 1, seed=5)[0]
    text = plan(standard, bitting, cutter)
    result = check(text, standard, bitting, cutter)
    top = standard.width_mm if standard.sides == "single" else standard.width_mm / 2
    carved = carve(text, cutter, result.x_mm, top, standard.thickness_mm)
    # The plain reading tries places 0.01 mm apart along a path.
    assert np.abs(carved - result.left_mm).max() < 0.002


def test_the_other_edge_of_a_split_blade_is_another_target() -> None:
    standard, cutter = get_pack().blades["alder-8"], get_pack().tools["wheel-84"]
    bitting = next(b for b in draw_bittings(standard, 20, seed=2) if b.edges[0] != b.edges[1])
    text = plan(standard, bitting, cutter, edge=1)
    assert check(text, standard, bitting, cutter, edge=1).good
    assert not check(text, standard, bitting, cutter, edge=0).within


def test_a_groove_aside_of_its_place_is_off_by_as_much() -> None:
    standard, cutter = get_pack().blades["eddy-6"], get_pack().tools["endmill-15"]
    bitting = draw_bittings(standard, 1, seed=3)[0]
    text = plan(standard, bitting, cutter)
    shifted = text.replace("(ORIGIN X0.000 Y0.000", "(ORIGIN X0.000 Y-0.040")
    result = check(shifted, standard, bitting, cutter)
    assert result.root_error_mm == pytest.approx(0.04, abs=0.001)
    assert result.gouge_mm == pytest.approx(0.04, abs=0.006)
    assert {"root", "gouge", "uncut"} <= list_kinds(result, spoils=True)


def test_a_groove_too_deep_or_too_shallow_is_told() -> None:
    standard, cutter = get_pack().blades["eddy-6"], get_pack().tools["endmill-15"]
    bitting = draw_bittings(standard, 1, seed=3)[0]
    text = plan(standard, bitting, cutter)
    good = check(text, standard, bitting, cutter)
    assert good.depth_mm == pytest.approx(standard.groove_depth_mm)
    deep = check(text.replace("Z0.000)", "Z0.1)"), standard, bitting, cutter)
    assert "deep" in list_kinds(deep, spoils=True)
    assert deep.depth_mm == pytest.approx((standard.groove_depth_mm or 0) + 0.1)
    assert "uncut" in list_kinds(
        check(text.replace("Z0.000)", "Z-0.1)"), standard, bitting, cutter), spoils=True
    )


def test_a_groove_with_its_middle_left_standing_is_not_done() -> None:
    """A mill of 1 mm along the two walls of a groove of 2.1 mm leaves 0.1 mm between its ways."""
    standard = get_pack().blades["eddy-6"]
    standard = replace(standard, depths_mm=(0.0, *standard.depths_mm[1:]))
    bitting = parse_bitting(standard, " ".join(standard.labels[:1] * 6))
    mill = replace(MILL, diameter_mm=1.0)
    ways = "".join(f"G0 X34 Y{h} Z5\nG1 Z-0.9\nG1 X1\nG1 X34\nG0 Z5\n" for h in (-0.55, 0.55))
    result = check(MILL_HEAD + ways + END, standard, bitting, mill)
    assert "uncut" in list_kinds(result)
    assert result.uncut_mm == pytest.approx(0.1)
    full = MILL_HEAD + ways + "G0 X34 Y0 Z5\nG1 Z-0.9\nG1 X1\nG1 X34\nG0 Z5\n" + END
    assert check(full, standard, bitting, mill).good


def test_a_track_without_any_groove_is_wholly_wrong() -> None:
    standard, cutter = get_pack().blades["eddy-6"], get_pack().tools["endmill-15"]
    bitting = draw_bittings(standard, 1, seed=3)[0]
    result = check(MILL_HEAD + "G0 X34 Y0 Z5\n" + END, standard, bitting, cutter)
    assert result.root_error_mm == standard.groove_width_mm
    assert not result.within
    assert np.isnan(result.left_mm).all()


def test_a_wheel_mills_no_groove() -> None:
    standard = get_pack().blades["eddy-6"]
    bitting = draw_bittings(standard, 1, seed=3)[0]
    with pytest.raises(CutterError, match="cannot mill a groove"):
        check(plunge((8,) * 8), standard, bitting, WHEEL)


def test_a_mill_beside_a_track_blade_cuts_nothing_and_over_its_edge_only_what_is_there() -> None:
    standard, cutter = get_pack().blades["eddy-6"], get_pack().tools["endmill-20"]
    bitting = draw_bittings(standard, 1, seed=3)[0]
    half = standard.width_mm / 2
    beside = MILL_HEAD + f"G0 X35 Y{half + 1.2} Z5\nG1 Z-0.9\nG1 X2\nG0 Z5\n" + END
    assert check(beside, standard, bitting, cutter).gouge_mm == 0
    over = MILL_HEAD + f"G0 X35 Y{half + 0.4} Z5\nG1 Z-0.9\nG1 X2\nG0 Z5\n" + END
    result = check(over, standard, bitting, cutter)
    assert result.walls_mm is not None
    low, high = (wall[len(result.x_mm) // 2] for wall in result.walls_mm)
    assert (low, high) == pytest.approx((half - 0.6, half))
    assert result.root_error_mm < standard.width_mm
