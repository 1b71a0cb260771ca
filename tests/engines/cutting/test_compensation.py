"""Parallels of an outline against a printed example, a plain search, and two independent libraries."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pyclipper
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from bittern.engines.blade.outline import get_outline
from bittern.engines.cutting.compensation import Profile, compensate_disc, compensate_form
from tests.strategies.blades import cut_blades

RADII = st.floats(0.05, 3.0)
SCALE = 1e7
"""Steps a mm of the integers in which pyclipper works."""


def search_disc(outline, radius: float, x: float) -> float:
    """Return the height of a disc's middle by the definition, over many places of the outline."""
    places = np.linspace(x - radius, x + radius, 4001)
    xs, hs = np.array(outline).T
    inside = (places >= xs[0]) & (places <= xs[-1])
    rise = np.sqrt(np.maximum(0, radius**2 - (places - x) ** 2))
    return float((np.interp(places, xs, hs) + rise)[inside].max())


def get_upper(shapes, x: float) -> float:
    """Return the highest place of shapely polygons at ``x``."""
    return shapes.intersection(LineString([(x, -1e3), (x, 1e3)])).bounds[3]


def list_insides(outline, radius: float, count: int = 15) -> np.ndarray:
    """Return places between which and the ends of the outline a disc fits."""
    low, high = outline[0][0] + radius, outline[-1][0] - radius
    return np.linspace(low + 1e-3, high - 1e-3, count) if high - low > 0.01 else np.array([])


def list_ends(path: Profile) -> list[tuple[float, float]]:
    return [end for start, end, _ in path.list_stretches()]


def test_the_published_path_about_a_triangle():
    # RS274/NGC handbook, Figure 3, the same as LinuxCNC tests/ccomp/mill-line-arc-entry: the contour lies one
    # inch about the triangle (-2, -1) (2, 2) (2, -1), the compensated path half an inch further out.
    outline = [(-30.0, -60.0), (-2.0, -1.0), (2.0, 2.0), (30.0, -60.0)]
    contour, path = (compensate_disc(outline, radius) for radius in (1.0, 1.5))
    for found, printed in ((contour, [(-2.6, -0.2), (1.4, 2.8)]), (path, [(-2.9, 0.2), (1.1, 3.2)])):
        for x, h in printed:
            assert min(math.dist((x, h), end) for end in list_ends(found)) < 1e-9
    assert contour.get_height_mm(2.0) == pytest.approx(3.0, abs=1e-12)
    assert path.get_height_mm(2.0) == pytest.approx(3.5, abs=1e-12)
    about = [piece.centre for piece in path.pieces if piece.radius_mm]
    assert about == [(-2.0, -1.0), (2.0, 2.0)]


@settings(max_examples=60, deadline=None)
@given(cut_blades(), RADII)
def test_a_disc_s_path_is_the_highest_of_all_its_touching_places(blade, radius):
    outline = get_outline(*blade)
    path = compensate_disc(outline, radius)
    for x in np.linspace(path.start_mm, path.end_mm, 23):
        # Places 1/2000 of the radius apart miss the highest one by less than this.
        assert search_disc(outline, radius, x) <= path.get_height_mm(x) + 1e-9
        assert path.get_height_mm(x) <= search_disc(outline, radius, x) + 2e-3 * radius


@settings(max_examples=60, deadline=None)
@given(cut_blades("edge"), RADII)
def test_a_disc_s_path_is_shapely_s_buffer(blade, radius):
    outline = get_outline(*blade)
    path = compensate_disc(outline, radius)
    (x0, _), (x1, _) = outline[0], outline[-1]
    buffered = Polygon([(x0, -9), *outline, (x1, -9)]).buffer(radius, quad_segs=256)
    for x in list_insides(outline, radius):
        # The buffer's arcs are chords, so it lies lower. It also fills hollows shallower than a hundredth of
        # the radius before it begins, and lies higher there: pyclipper below is the sharper reference.
        low = get_upper(buffered, x)
        assert low - 0.011 * radius <= path.get_height_mm(x) <= low + 2e-5 * radius + 1e-9


@settings(max_examples=60, deadline=None)
@given(cut_blades("edge"), RADII)
def test_a_disc_s_path_is_pyclipper_s_offset(blade, radius):
    outline = get_outline(*blade)
    path = compensate_disc(outline, radius)
    (x0, _), (x1, _) = outline[0], outline[-1]
    ring = [(round(x * SCALE), round(h * SCALE)) for x, h in [(x0, -9.0), *outline, (x1, -9.0)]]
    offset = pyclipper.PyclipperOffset(2.0, 1e-6 * SCALE)
    offset.AddPath(ring, pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
    (grown,) = offset.Execute(radius * SCALE)
    shape = Polygon([(x / SCALE, h / SCALE) for x, h in grown])
    for x in list_insides(outline, radius):
        assert path.get_height_mm(x) == pytest.approx(get_upper(shape, x), abs=5e-6 * (1 + radius))


@settings(max_examples=60, deadline=None)
@given(cut_blades("edge"), st.floats(0.0, 1.0))
def test_a_form_s_path_is_the_highest_under_its_flat(blade, share):
    standard, bitting = blade
    outline, half = get_outline(standard, bitting), standard.flat_mm * share / 2
    path = compensate_form(outline, 2 * half)
    xs, hs = np.array(outline).T
    for x in np.linspace(path.start_mm, path.end_mm, 40):
        ends = np.clip([x - half, x + half], xs[0], xs[-1])
        under = [h for place, h in outline if abs(place - x) <= half]
        assert path.get_height_mm(x) == pytest.approx(max([*np.interp(ends, xs, hs), *under]), abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(cut_blades(), RADII)
def test_a_path_has_no_gap_and_no_jump(blade, radius):
    path = compensate_disc(get_outline(*blade), radius)
    assert (path.start_mm, path.end_mm) == pytest.approx((0.0, blade[0].length_mm), abs=1e-9)
    for (_, (x0, h0), _), ((x1, h1), _, _) in pairwise(path.list_stretches()):
        assert x1 == pytest.approx(x0, abs=1e-8)
        assert h1 == pytest.approx(h0, abs=1e-4)


def test_no_radius_and_no_flat_leave_the_outline_itself():
    outline = [(0.0, 8.0), (2.5, 8.0), (4.5, 6.0), (10.0, 8.0)]
    for path in (compensate_disc(outline, 0.0), compensate_form(outline, 0.0)):
        assert [path.list_stretches()[0][0], *list_ends(path)] == outline


@settings(max_examples=40, deadline=None)
@given(cut_blades("edge"), RADII, st.floats(0, 1))
def test_raising_and_lying_below_agree_with_the_heights(blade, radius, share):
    path = compensate_disc(get_outline(*blade), radius)
    xs = np.linspace(path.start_mm, path.end_mm, 101)
    heights = np.array([path.get_height_mm(x) for x in xs])
    level = float(heights.min() + share * np.ptp(heights))
    raised = path.raise_to(level)
    assert [raised.get_height_mm(x) for x in xs] == pytest.approx(list(np.maximum(heights, level)), abs=1e-9)
    parts = path.list_below(level)
    for x, h in zip(xs, heights, strict=True):
        if abs(h - level) > 1e-6:
            assert any(part.start_mm <= x <= part.end_mm for part in parts) == (h < level)
    for before, after in pairwise(parts):
        assert before.end_mm < after.start_mm


@pytest.mark.parametrize("off", [-1e-9, -1e-12, 0.0, 1e-16, 1e-12, 5e-10, 1e-9, 1e-6])
def test_a_level_that_touches_the_top_of_an_arc_parts_its_sides(off):
    path = compensate_disc([(0.0, 6.8), (3.5, 6.8), (4.5, 7.8), (5.5, 6.8), (9.0, 6.8)], 0.6)
    level = 8.4 + off
    raised = path.raise_to(level)
    for x in (3.9, 4.1, 4.3, 4.5, 4.7, 4.9, 5.1):
        assert raised.get_height_mm(x) == pytest.approx(level, abs=1e-8)
    stretches = raised.list_stretches()
    assert all(before[1] == pytest.approx(after[0], abs=1e-6) for before, after in pairwise(stretches))
    parts = path.list_below(level)
    assert sum(part.end_mm - part.start_mm for part in parts) == pytest.approx(9.0, abs=1e-4)
    ends = [(end, after[0]) for part in parts for (_, end, _), after in pairwise(part.list_stretches())]
    assert all(end == pytest.approx(start, abs=1e-6) for end, start in ends)


@given(cut_blades("edge"), RADII)
def test_mirrored_twice_a_path_is_itself(blade, radius):
    path = compensate_disc(get_outline(*blade), radius)
    again = path.mirror(7.0).mirror(7.0)
    for x in np.linspace(path.start_mm, path.end_mm, 9):
        assert again.get_height_mm(x) == pytest.approx(path.get_height_mm(x), abs=1e-6)
        assert path.mirror(7.0).get_height_mm(7.0 - x) == pytest.approx(path.get_height_mm(x), abs=1e-6)
