"""The exact outline, against shapely and published worked values."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon, box

from bittern.engines.blade.bitting import Bitting, parse_bitting
from bittern.engines.blade.errors import StepError, UnknownCutError
from bittern.engines.blade.outline import (
    get_blade_polygon,
    get_height_mm,
    get_mouth_width_mm,
    get_outline,
    get_ridge_height_mm,
    sample_contour,
)
from bittern.engines.blade.standard import BladeStandard
from tests.strategies.blades import HERON, RAIL, SNIPE, TEAL, cut_blades

INCH = 25.4


def carve(standard: BladeStandard, bitting: Bitting) -> Polygon:
    """Return the blade as a rectangle less one trapezium a cut: the cutter's view, not the formula's."""
    single = standard.sides == "single"
    top = standard.width_mm if single else standard.width_mm / 2
    blade = box(0, 0 if single else -top, standard.length_mm, top)
    tangent, high = math.tan(math.radians(standard.angle_deg) / 2), top + 1
    signs = {"single": [(1, 0)], "mirror": [(1, 0), (-1, 0)], "split": [(1, 0), (-1, 1)]}[standard.sides]
    for sign, edge in signs:
        for x, cut in zip(standard.positions_mm, bitting.edges[edge], strict=True):
            depth, half = standard.depths_mm[cut], standard.flat_mm / 2
            reach = half + (high - depth) * tangent
            form = [(x - reach, high), (x - half, depth), (x + half, depth), (x + reach, high)]
            blade = blade.difference(Polygon([(px, sign * py) for px, py in form]))
    return blade


@given(cut_blades("edge", keeps_macs=False))
def test_the_blade_is_its_rectangle_less_one_trapezium_a_cut(blade):
    standard, bitting = blade
    outline = Polygon(get_blade_polygon(standard, bitting))
    carved = carve(standard, bitting)
    assert outline.is_valid
    assert outline.area == pytest.approx(carved.area, rel=1e-9)
    assert outline.symmetric_difference(carved).area < 1e-6
    assert shapely.hausdorff_distance(outline.boundary, carved.boundary, densify=0.1) < 1e-6


@given(cut_blades(keeps_macs=False), st.floats(0, 1))
def test_the_polyline_is_the_formula_everywhere(blade, share):
    standard, bitting = blade
    x = share * standard.length_mm
    for edge in range(len(bitting.edges)):
        points = get_outline(standard, bitting, edge=edge)
        (x0, h0), (x1, h1) = next(pair for pair in pairwise(points) if pair[0][0] <= x <= pair[1][0])
        along = h0 + (h1 - h0) * (x - x0) / (x1 - x0)
        assert along == pytest.approx(get_height_mm(standard, bitting, x, edge=edge), abs=1e-7)


@given(cut_blades("edge", keeps_macs=False), st.floats(-5, 60))
def test_the_height_is_the_formula_as_it_is_printed(blade, x):
    standard, bitting = blade
    width = standard.width_mm if standard.sides == "single" else standard.width_mm / 2
    tangent = math.tan(math.radians(standard.angle_deg / 2))
    for edge, cuts in enumerate(bitting.edges):
        depths = [standard.depths_mm[cut] for cut in cuts]
        roots = [
            depth + max(0, abs(x - place) - standard.flat_mm / 2) / tangent
            for depth, place in zip(depths, standard.positions_mm, strict=True)
        ]
        assert get_height_mm(standard, bitting, x, edge=edge) == pytest.approx(min(width, *roots), abs=1e-9)


@given(cut_blades(keeps_macs=False))
def test_vertices_run_from_datum_to_far_end_and_every_one_bends(blade):
    standard, bitting = blade
    points = get_outline(standard, bitting)
    assert (points[0][0], points[-1][0]) == (0.0, standard.length_mm)
    assert all(before[0] < after[0] for before, after in pairwise(points))
    for (x0, h0), (x, h), (x1, h1) in zip(points, points[1:], points[2:], strict=False):
        assert abs(h0 + (h1 - h0) * (x - x0) / (x1 - x0) - h) > 1e-10


@given(cut_blades("track"))
def test_a_track_keeps_each_offset_about_its_position_and_runs_straight_between(blade):
    standard, bitting = blade
    half = standard.flat_mm / 2
    line = LineString(get_outline(standard, bitting))
    places = [
        (x, standard.depths_mm[cut]) for x, cut in zip(standard.positions_mm, bitting.edges[0], strict=True)
    ]
    for x, offset in places:
        for share in (-1, -0.5, 0, 0.5, 1):
            assert get_height_mm(standard, bitting, x + share * half) == pytest.approx(offset, abs=1e-9)
    for (x0, offset0), (x1, offset1) in pairwise(places):
        middle = ((x0 + x1) / 2, (offset0 + offset1) / 2)
        assert line.distance(shapely.Point(middle)) < 1e-6
    assert get_height_mm(standard, bitting, 0.0) == pytest.approx(places[0][1])
    assert get_height_mm(standard, bitting, standard.length_mm) == pytest.approx(places[-1][1])


def test_a_blade_worked_by_hand():
    # 90 degrees: flanks rise one in one. Roots 7.4 and 8.0 three apart: the flanks meet 0.3 off the middle.
    two = replace(HERON, positions_mm=(3.0, 6.0), length_mm=10.0, width_mm=9.0, depths_mm=(8.0, 7.4, 6.8))
    points = get_outline(two, Bitting(((1, 0),)))
    expected = [
        (0, 9), (0.9, 9), (2.5, 7.4), (3.5, 7.4), (4.8, 8.7), (5.5, 8), (6.5, 8), (7.5, 9), (10, 9),
    ]  # fmt: skip
    assert points == pytest.approx([pytest.approx(point) for point in expected])


def test_positions_written_from_tip_to_bow_give_the_same_blade():
    backward = replace(HERON, positions_mm=HERON.positions_mm[::-1])
    there = get_outline(HERON, parse_bitting(HERON, "2 1 3 4 2 2 1 3"))
    assert get_outline(backward, parse_bitting(backward, "3 1 2 2 4 3 1 2")) == there
    track = replace(SNIPE, positions_mm=SNIPE.positions_mm[::-1])
    there = get_outline(SNIPE, parse_bitting(SNIPE, "2 1 3 4 2 2 1 3 4 4"))
    assert get_outline(track, parse_bitting(track, "4 4 3 1 2 2 4 3 1 2")) == there


def test_mirror_and_split_are_measured_from_the_centre_line():
    upper = "2 1 3 4 2 2 1 3 4 4"
    mirror = Polygon(get_blade_polygon(RAIL, parse_bitting(RAIL, upper)))
    low, high = mirror.bounds[1], mirror.bounds[3]
    assert (low, high) == (-4.5, 4.5)
    section = mirror.intersection(LineString([(RAIL.positions_mm[3], -9), (RAIL.positions_mm[3], 9)]))
    assert section.length == pytest.approx(2 * 3.3)
    split = parse_bitting(TEAL, f"{upper} / 1 2 2 4 3 2 2 1 3 3")
    section = Polygon(get_blade_polygon(TEAL, split)).intersection(
        LineString([(TEAL.positions_mm[4], -9), (TEAL.positions_mm[4], 9)])
    )
    assert section.bounds[1::2] == pytest.approx((-3.6, 3.9))


@given(cut_blades(), st.floats(0.05, 40))
def test_a_sampled_contour_has_the_step_both_ends_and_the_formulas_heights(blade, step):
    standard, bitting = blade
    points = sample_contour(standard, bitting, step)
    xs = [x for x, _ in points]
    assert (xs[0], xs[-1]) == (0.0, pytest.approx(standard.length_mm, abs=1e-8))
    steps = [after - before for before, after in pairwise(xs)]
    assert all(0 < width <= step + 1e-8 for width in steps)
    assert all(width == pytest.approx(step, abs=1e-8) for width in steps[:-1])
    for x, h in points[:: max(1, len(points) // 50)]:
        assert h == pytest.approx(get_height_mm(standard, bitting, x), abs=1e-7)


def test_the_finest_step_does_not_drift():
    points = sample_contour(HERON, parse_bitting(HERON, "2 1 3 4 2 2 1 3"), 0.001)
    assert len(points) == 28_001
    assert all(abs(x - number / 1000) < 1e-9 for number, (x, _) in enumerate(points))


@pytest.mark.parametrize("step", [0.0009999, 0.0, -1.0, math.nan, math.inf])
def test_a_step_below_a_micrometre_is_refused(step):
    with pytest.raises(StepError):
        sample_contour(HERON, parse_bitting(HERON, "2 1 3 4 2 2 1 3"), step)


def test_a_contour_of_more_than_a_million_points_is_refused():
    long = replace(HERON, length_mm=1e4)
    with pytest.raises(StepError, match="1000000 points"):
        sample_contour(long, parse_bitting(long, "2 1 3 4 2 2 1 3"), 0.001)


def test_an_unknown_cut_has_no_shape_and_is_named():
    bitting = parse_bitting(TEAL, "2 1 3 4 2 2 1 3 4 4 / 1 ? 2 4 3 2 ? 1 3 3")
    assert get_outline(TEAL, bitting, edge=0)
    for shape in (lambda: get_outline(TEAL, bitting, edge=1), lambda: get_blade_polygon(TEAL, bitting)):
        with pytest.raises(UnknownCutError, match="unknown cuts B2 and B7"):
            shape()
    with pytest.raises(UnknownCutError, match="unknown cut 1,"):
        get_blade_polygon(SNIPE, parse_bitting(SNIPE, "? 1 3 4 2 2 1 3 4 4"))


def make_inch_family(roots: tuple[float, ...], spacing: float, flat: float, angle: float, width: float):
    return replace(
        HERON,
        length_mm=2 * INCH,
        width_mm=width * INCH,
        positions_mm=tuple((0.5 + spacing * number) * INCH for number in range(len(roots))),
        depths_mm=tuple(root * INCH for root in roots),
        labels=tuple(str(number) for number in range(len(roots))),
        flat_mm=flat * INCH,
        angle_deg=angle,
    )


def test_the_mouth_of_a_single_cut():
    # Plane geometry, w + 2 (H - h) tan(angle/2): 100 degrees, w .031, H .343, h .200 inch -> .3718 inch.
    family = make_inch_family((0.2,), 0.1562, 0.031, 100, 0.343)
    assert get_mouth_width_mm(family, 0.2 * INCH) / INCH == pytest.approx(0.3718, abs=5e-5)
    points = get_outline(family, Bitting(((0,),)))
    assert (points[4][0] - points[1][0]) / INCH == pytest.approx(0.3718, abs=5e-5)


def test_the_ridge_between_two_cuts():
    # Plane geometry, (h1 + h2)/2 + (s - w)/(2 tan(angle/2)): .200, .200, s .1562, w .031, 100 deg -> .2525.
    family = make_inch_family((0.2, 0.2), 0.1562, 0.031, 100, 0.343)
    ridge = get_ridge_height_mm(family, 0.2 * INCH, 0.2 * INCH, 0.1562 * INCH)
    assert ridge / INCH == pytest.approx(0.2525, abs=5e-5)
    assert get_height_mm(family, Bitting(((0, 1),)), (0.5 + 0.1562 / 2) * INCH) == pytest.approx(ridge)


@given(cut_blades("edge"))
def test_ridges_of_an_allowed_bitting_stand_where_the_formula_says(blade):
    standard, bitting = blade
    for edge, cuts in enumerate(bitting.edges):
        points = get_outline(standard, bitting, edge=edge)
        for number, (a, b) in enumerate(pairwise(cuts)):
            x0, x1 = standard.positions_mm[number : number + 2]
            depths = standard.depths_mm[a], standard.depths_mm[b]
            between = [h for x, h in points if x0 <= x <= x1] + [max(depths)]
            ridge = get_ridge_height_mm(standard, *depths, x1 - x0)
            assert ridge >= max(depths) - 1e-9
            assert max(between) == pytest.approx(ridge, abs=1e-7)
