"""The sweep against independent libraries: polygon offsets and sums (pyclipper), solids (manifold3d)."""

from __future__ import annotations

import math
from itertools import pairwise

import manifold3d
import numpy as np
import pyclipper
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.metal import Metal
from bittern.engines.cutting.motion import Frame, Motion, Move
from bittern.engines.cutting.strokes import Floats
from bittern.formats.program_reader import read_program
from tests.engines.cutting.programs import MILL, get_pack, plan, take
from tests.engines.cutting.test_toolpath import draw_bittings
from tests.strategies.blades import HERON

UNITS = 1e6
"""Of pyclipper, whose places are whole numbers, in a millimetre."""
CHORD_MM = 2e-5
FRAME = Frame((0, 1, 2), (1, 1, 1), (0.0, 0.0, 0.0), "end-centre")
Path = list[tuple[float, float]]


def trace(motion: Motion) -> list[Path]:
    """Return each move as a polyline on the blade, arcs within ``CHORD_MM``, from the move itself."""
    paths = []
    for move in motion.moves:
        if move.centre is None:
            paths.append([move.start[:2], move.end[:2]])
            continue
        (x, h), radius = move.centre, math.dist(move.start[:2], move.centre)
        first = math.atan2(move.start[1] - h, move.start[0] - x)
        last = math.atan2(move.end[1] - h, move.end[0] - x)
        turn = (first - last if move.clockwise else last - first) % (2 * math.pi)
        count = max(2, math.ceil(turn / (2 * math.acos(1 - CHORD_MM / radius))))
        angles = first + (-turn if move.clockwise else turn) * np.linspace(0, 1, count + 1)
        paths.append([(x + radius * math.cos(a), h + radius * math.sin(a)) for a in angles])
    return paths


def union(polygons: list[Path]) -> list[Path]:
    """Return the union of polygons."""
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(pyclipper.scale_to_clipper(polygons, UNITS), pyclipper.PT_SUBJECT, closed=True)
    joined = clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    found: list[Path] = pyclipper.scale_from_clipper(joined, UNITS)
    return found


def offset(paths: list[Path], radius_mm: float) -> list[Path]:
    """Return what a disc sweeps along polylines; the discs at the ends are added: short paths lack them."""
    count = math.ceil(math.pi / math.acos(1 - CHORD_MM / radius_mm))
    disc = radius_mm * np.exp(2j * np.pi * np.arange(count) / count)
    swept = [
        list(zip((x + disc.real).tolist(), (h + disc.imag).tolist(), strict=True))
        for path in paths
        for x, h in (path[0], path[-1])
    ]
    for path in paths:
        offsetter = pyclipper.PyclipperOffset(2.0, CHORD_MM * UNITS)
        scaled = pyclipper.scale_to_clipper(path, UNITS)
        offsetter.AddPath(scaled, pyclipper.JT_ROUND, pyclipper.ET_OPENROUND)
        swept += pyclipper.scale_from_clipper(offsetter.Execute(radius_mm * UNITS), UNITS)
    return union(swept)


def add_form(paths: list[Path], cutter: Cutter) -> list[Path]:
    """Return what a wheel's form sweeps along polylines, as the Minkowski sum with each of their segments."""
    half, angle = (cutter.flat_mm or 0) / 2, math.radians(cutter.angle_deg or 0)
    high = 30.0
    wide = half + high * math.tan(angle / 2)
    form = [(-half, 0.0), (half, 0.0), (wide, high), (-wide, high)]
    swept = []
    for path in paths:
        for one, other in pairwise(path):
            corners = [(x + dx, h + dh) for x, h in (one, other) for dx, dh in form]
            swept.append(find_hull(corners))
    return union(swept)


def find_hull(points: Path) -> Path:
    """Return the convex hull: of a convex form moved along a segment it is what is swept."""
    ordered = sorted(set(points))
    hull: Path = []
    for direction in (ordered, ordered[::-1]):
        start = len(hull)
        for point in direction:
            while len(hull) >= start + 2 and cross(hull[-2], hull[-1], point) <= 0:
                hull.pop()
            hull.append(point)
        hull.pop()
    return hull


def cross(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def get_lowest(polygons: list[Path], x_mm: Floats) -> Floats:
    """Return the lowest height of polygons at each x; infinite beside them."""
    lowest = np.full(len(x_mm), np.inf)
    for polygon in polygons:
        for (x0, h0), (x1, h1) in zip(polygon, [*polygon[1:], polygon[0]], strict=True):
            if x0 == x1:
                continue
            first, last = np.searchsorted(x_mm, sorted((x0, x1)))
            part = slice(first, last)
            height = h0 + (h1 - h0) * (x_mm[part] - x0) / (x1 - x0)
            lowest[part] = np.minimum(lowest[part], height)
    return lowest


def assert_same(metal: Metal, polygons: list[Path], within_mm: float = 1e-4) -> None:
    """Compare outlines; on a rim as steep as a wall, only to a twentieth of a micrometre along x."""
    x = metal.columns_mm[2:-2]
    ours = metal.get_left_mm(x)
    beside = [get_lowest(polygons, x + shift) for shift in (-5e-5, 0.0, 5e-5)]
    theirs = np.clip(beside, metal.bottom_mm, metal.top_mm)
    assert (ours <= theirs.max(axis=0) + within_mm).all()
    assert (ours >= theirs.min(axis=0) - within_mm).all()


@st.composite
def motions(draw: st.DrawFn) -> Motion:
    """Return a few lines and arcs one after the other, through the blank and beside it."""
    at = (draw(st.floats(2, 26)), draw(st.floats(6, 10)), -3.0)
    moves = []
    for line in range(draw(st.integers(1, 5))):
        if draw(st.booleans()):
            end = (draw(st.floats(2, 26)), draw(st.floats(5, 10)), -3.0)
            moves.append(Move(line, False, at, end, feed_mm_min=100, turning=True))
        else:
            radius, angle, turn = (
                draw(st.floats(0.1, 4)),
                draw(st.floats(0, 6.28)),
                draw(st.floats(0.05, 6.2)),
            )
            clockwise = draw(st.booleans())
            centre = (at[0] - radius * math.cos(angle), at[1] - radius * math.sin(angle))
            last = angle + (-turn if clockwise else turn)
            end = (centre[0] + radius * math.cos(last), centre[1] + radius * math.sin(last), -3.0)
            moves.append(Move(line, False, at, end, centre, clockwise, 100, turning=True))
        at = end
    return Motion(FRAME, tuple(moves), ended=True)


@settings(max_examples=60, deadline=None)
@given(motions(), st.floats(0.3, 2.5))
def test_an_end_mill_leaves_what_polygon_offsets_leave(motion: Motion, diameter_mm: float) -> None:
    mill = Cutter("m", "endmill", diameter_mm, 2, "hss")
    assert_same(take(motion, mill), offset(trace(motion), diameter_mm / 2))


@settings(max_examples=60, deadline=None)
@given(motions(), st.floats(0, 1.5), st.floats(40, 110))
def test_a_wheel_leaves_what_a_polygon_sum_leaves(motion: Motion, flat_mm: float, angle_deg: float) -> None:
    wheel = Cutter("w", "wheel", 60.0, 40, "hss", flat_mm, angle_deg)
    assert_same(take(motion, wheel), add_form(trace(motion), wheel))


@pytest.mark.parametrize("cutter_id", ["endmill-10", "endmill-20", "wheel-84", "wheel-90"])
def test_the_planners_programs_leave_what_polygons_leave(cutter_id: str) -> None:
    cutter = get_pack().tools[cutter_id]
    bitting = draw_bittings(HERON, 1, seed=8)[0]
    motion = read_program(plan(HERON, bitting, cutter), where="a")
    metal = take(motion, cutter)
    wheel = cutter.kind == "wheel"
    deep = [move for move in motion.moves if wheel or max(move.start[2], move.end[2]) <= -2.2]
    paths = trace(Motion(motion.frame, tuple(deep), ended=True))
    # Three decimals: the two radii of an arc differ by up to 0.001 mm.
    assert_same(metal, add_form(paths, cutter) if wheel else offset(paths, cutter.diameter_mm / 2), 0.001)


def build_swept(motion: Motion, cutter: Cutter, segments: int = 128) -> manifold3d.Manifold:
    """Return the space that an end mill sweeps: hulls of two discs, as high as they stand, joined."""
    # A polygon as large as its circle: what one side lacks another has.
    radius = cutter.diameter_mm / 2 * math.sqrt(2 * math.pi / segments / math.sin(2 * math.pi / segments))
    circle = manifold3d.CrossSection.circle(radius, segments)
    layers: dict[float, list[manifold3d.CrossSection]] = {}
    for move, path in zip(motion.moves, trace(motion), strict=True):
        ends = (move.start[2], move.end[2])
        lowest = max(ends) if move.start[:2] != move.end[:2] else min(ends)
        if lowest >= 0:
            continue
        places = [*path[: -1 : max(1, len(path) // 12)], path[-1]]
        for one, other in pairwise(places):
            hull = manifold3d.CrossSection.batch_hull([circle.translate(one), circle.translate(other)])
            layers.setdefault(lowest, []).append(hull)
    parts = [
        manifold3d.CrossSection.batch_boolean(hulls, manifold3d.OpType.Add)
        .extrude(20.0)
        .translate((0, 0, lowest))
        for lowest, hulls in layers.items()
    ]
    return manifold3d.Manifold.batch_boolean(parts, manifold3d.OpType.Add)


def test_the_solid_that_is_left_has_the_sweeps_volume_slab_by_slab() -> None:
    bitting = draw_bittings(HERON, 1, seed=4)[0]
    motion = read_program(plan(HERON, bitting, MILL), where="a")
    metal = take(motion, MILL)
    blank = manifold3d.Manifold.cube((28.0, 8.4, 2.2)).translate((0, 0, -2.2))
    left = blank - build_swept(motion, MILL)
    assert left.status() == manifold3d.Error.NoError
    levels = [0.0, *sorted({m.end[2] for m in motion.moves if -2.2 < m.end[2] < 0}, reverse=True), -2.2]
    assert metal.slabs.count == len(levels) - 1
    for slab in range(metal.slabs.count):
        section = left.slice((levels[slab] + levels[slab + 1]) / 2)
        area = float(np.trapezoid(metal.clear_mm[slab], metal.columns_mm))
        assert section.area() == pytest.approx(area, abs=0.01)
    volume = sum(
        (levels[slab] - levels[slab + 1]) * float(np.trapezoid(metal.clear_mm[slab], metal.columns_mm))
        for slab in range(metal.slabs.count)
    )
    # Less than a micrometre over the whole cut edge.
    assert left.volume() == pytest.approx(volume, abs=28.0 * 2.2 * 0.001)
