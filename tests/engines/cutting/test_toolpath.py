"""Paths: what the cutter leaves, and what it never touches; read from the written program by other means."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiLineString

from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import Bitting, find_violations, parse_bitting
from bittern.engines.blade.outline import get_height_mm, get_outline
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.errors import CutterError
from bittern.engines.cutting.feeds import choose_depths, choose_feeds
from bittern.engines.cutting.fitting import fits_standard, get_corner_rest_mm
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.toolpath import plan_path
from bittern.formats.packs import Pack, read_pack
from bittern.formats.program_writer import write_program
from tests.engines.cutting.carving import carve, list_places
from tests.strategies.blades import HERON, TEAL, cut_blades

MACHINE = Machine()
ROUNDING_MM = 0.001
"""Three decimals: half a micrometre along x and along h, on a flank of 42 degrees from the vertical."""


@cache
def get_pack() -> Pack:
    return read_pack(PACK_DIR)


def list_pairs(kind: str) -> list[tuple[str, str]]:
    return [
        (blade.id, cutter.id)
        for blade in get_pack().blades.values()
        for cutter in get_pack().tools.values()
        if blade.kind == kind and not fits_standard(cutter, blade)
    ]


def draw_bittings(standard: BladeStandard, count: int, seed: int) -> list[Bitting]:
    """Return bittings that the standard's rules allow."""
    rng = np.random.default_rng(seed)
    edges, cuts = 2 if standard.sides == "split" else 1, len(standard.positions_mm)
    found: list[Bitting] = []
    while len(found) < count:
        drawn = rng.integers(0, len(standard.depths_mm), (edges, cuts))
        bitting = Bitting(tuple(tuple(int(cut) for cut in edge) for edge in drawn))
        if not find_violations(standard, bitting):
            found.append(bitting)
    return found


def write(standard, bitting, cutter, *, edge=0, climb=True, machine=MACHINE, material="brass") -> str:
    path = plan_path(standard, bitting, cutter, choose_depths(cutter, material), edge=edge, climb=climb)
    return write_program(path, machine, choose_feeds(cutter, material, machine))


def get_errors(standard, bitting, cutter, text: str, edge: int = 0) -> tuple[float, float, float]:
    """Return root error, gouge and worst error of what the program leaves, in mm."""
    roots = np.sort(np.array(standard.positions_mm))
    x = np.unique(np.concatenate([np.linspace(0, standard.length_mm, 1500), roots]))
    left = carve(text, cutter, x, get_edge_height_mm(standard), standard.thickness_mm)
    off = left - np.array([get_height_mm(standard, bitting, value, edge=edge) for value in x])
    return float(abs(off[np.isin(x, roots)]).max()), float(-off.min()), float(abs(off).max())


@pytest.mark.parametrize(("blade", "tool"), list_pairs("edge"))
def test_every_fitting_cutter_leaves_the_outline(blade, tool):
    standard, cutter = get_pack().blades[blade], get_pack().tools[tool]
    (bitting,) = draw_bittings(standard, 1, seed=11)
    for edge in range(len(bitting.edges)):
        root, gouge, worst = get_errors(
            standard, bitting, cutter, write(standard, bitting, cutter, edge=edge), edge
        )
        assert root <= 0.001
        assert gouge <= ROUNDING_MM
        rest = get_corner_rest_mm(cutter, standard) if cutter.kind == "endmill" else 0.0
        assert worst <= rest + ROUNDING_MM


@pytest.mark.parametrize("climb", [True, False])
def test_a_mill_leaves_the_same_metal_either_way_round(climb):
    cutter = get_pack().tools["endmill-15"]
    bitting = parse_bitting(HERON, "4 2 1 3 4 2 2 1")
    root, gouge, worst = get_errors(HERON, bitting, cutter, write(HERON, bitting, cutter, climb=climb))
    assert max(root, gouge) <= ROUNDING_MM
    assert worst == pytest.approx(get_corner_rest_mm(cutter, HERON), abs=ROUNDING_MM)


@settings(max_examples=25, deadline=None)
@given(cut_blades("edge"), st.data())
def test_no_sound_blade_is_gouged_or_left_with_a_wrong_root(blade, data):
    standard, bitting = blade
    edge = data.draw(st.integers(0, len(bitting.edges) - 1))
    share = data.draw(st.floats(0.3, 1))
    if data.draw(st.booleans()):
        flat, angle = standard.flat_mm * share, standard.angle_deg * data.draw(st.floats(0.5, 1))
        cutter = Cutter("drawn", "wheel", 100.0, 40, "hss", flat, angle)
    else:
        turn = math.radians(90 - standard.angle_deg / 2)
        widest = standard.flat_mm / math.tan(turn / 2)
        cutter = Cutter("drawn", "endmill", max(0.3, widest * share), 2, "carbide")
    if fits_standard(cutter, standard):
        with pytest.raises(CutterError):
            write(standard, bitting, cutter, edge=edge)
        return
    root, gouge, _ = get_errors(standard, bitting, cutter, write(standard, bitting, cutter, edge=edge), edge)
    slope = 1 / math.tan(math.radians(standard.angle_deg) / 2)
    # Ends and centres are rounded to half a micrometre along both axes, and an arc can add up two of these.
    assert gouge <= 0.0011 * (1 + slope)
    # Where a cut stands so near to the shoulder that the bow is in the cutter's way, metal is left.
    if min(_get_rooms(standard, bitting, edge)) > cutter.diameter_mm / 2 + 0.1 or cutter.kind == "wheel":
        assert root <= 0.0011 or _stands_in_bow(standard, bitting, cutter, edge)


def _get_rooms(standard, bitting, edge):
    """Return how far each root lies from the shoulder's plane."""
    places = standard.positions_mm
    return [x if standard.datum == "shoulder" else standard.length_mm - x for x in places]


def _stands_in_bow(standard, bitting, cutter, edge) -> bool:
    """Return whether a wheel down at some root would stand over the shoulder's plane below the edge."""
    if cutter.kind != "wheel":
        return False
    top, run = get_edge_height_mm(standard), math.tan(math.radians(cutter.angle_deg) / 2)
    depths = [standard.depths_mm[cut] for cut in bitting.edges[edge]]
    rooms = _get_rooms(standard, bitting, edge)
    return any(
        (top - depth) * run + cutter.flat_mm / 2 > room - (standard.flat_mm - cutter.flat_mm) / 2 - 1e-6
        for depth, room in zip(depths, rooms, strict=True)
    )


@pytest.mark.parametrize(("blade", "tool"), list_pairs("edge") + list_pairs("track"))
def test_the_cutter_keeps_out_of_the_bow_and_rapids_keep_clear(blade, tool):
    standard, cutter = get_pack().blades[blade], get_pack().tools[tool]
    (bitting,) = draw_bittings(standard, 1, seed=12)
    moves = list_places(write(standard, bitting, cutter))
    top, radius = get_edge_height_mm(standard), cutter.diameter_mm / 2
    for _, places in moves:
        x, h, n = places.T
        room = x if standard.datum == "shoulder" else standard.length_mm - x
        if cutter.kind == "endmill":
            down = n < 0
            assert not (down & (room < radius - 1e-9)).any()
        else:
            below = h < top
            reach = cutter.flat_mm / 2 + (top - h) * math.tan(math.radians(cutter.angle_deg) / 2)
            assert (room[below] - reach[below] > -ROUNDING_MM).all()
    (_, first), (_, last) = moves[1], moves[-1]
    for x, h, n in (first[-1], last[-1]):
        outside = max(-x, x - standard.length_mm) - (radius if cutter.kind == "endmill" else 0)
        above = h - top - (radius if cutter.kind == "endmill" else 0)
        assert max(outside, above, n if cutter.kind == "endmill" else -1) >= 0.5


@pytest.mark.parametrize(("blade", "tool"), list_pairs("edge") + list_pairs("track"))
def test_every_arc_ends_on_the_circle_on_which_it_begins(blade, tool):
    standard, cutter = get_pack().blades[blade], get_pack().tools[tool]
    for bitting in draw_bittings(standard, 12, seed=15):
        path = plan_path(standard, bitting, cutter, choose_depths(cutter, "brass"))
        for before, step in pairwise(path.steps):
            if step.centre is not None:
                radii = [math.dist((one.x_mm, one.h_mm), step.centre) for one in (before, step)]
                assert radii[0] == pytest.approx(radii[1], abs=1e-6)
                assert abs(step.get_turn_rad(before)) < math.pi
            elif step.kind == "rapid":
                moved = [abs(a - b) > 1e-9 for a, b in zip(_place(before), _place(step), strict=True)]
                assert sum(moved) == 1


def _place(step):
    return (step.x_mm, step.h_mm, step.n_mm)


def _get_heights_of_walls(standard, bitting, cutter, text, x) -> tuple[float, float]:
    """Return the lowest and highest h that the mill reaches at ``x`` on the groove's floor."""
    floor = -standard.groove_depth_mm
    ways = [
        places[:, :2]
        for word, places in list_places(text, 0.001)
        if word != "G0" and abs(places[:, 2] - floor).max() < 1e-9
    ]
    swept = MultiLineString([way for way in ways if len(way) > 1]).buffer(cutter.diameter_mm / 2, 256)
    _, low, _, high = swept.intersection(LineString([(x, -20), (x, 20)])).bounds
    return low, high


@pytest.mark.parametrize(("blade", "tool"), list_pairs("track"))
@pytest.mark.parametrize("climb", [True, False])
def test_a_groove_is_all_that_lies_within_half_its_width_of_the_centre_line(blade, tool, climb):
    standard, cutter = get_pack().blades[blade], get_pack().tools[tool]
    (bitting,) = draw_bittings(standard, 1, seed=13)
    text = write(standard, bitting, cutter, climb=climb)
    half = standard.groove_width_mm / 2
    # The line goes on beyond the tip, so that there the groove is open.
    line = LineString([*get_outline(standard, bitting)])
    for x in np.linspace(half + 0.2, standard.length_mm - half - 0.2, 40):
        low, high = _get_heights_of_walls(standard, bitting, cutter, text, x)
        _, ideal_low, _, ideal_high = (
            line.buffer(half, 256).intersection(LineString([(x, -20), (x, 20)])).bounds
        )
        assert low == pytest.approx(ideal_low, abs=0.0015)
        assert high == pytest.approx(ideal_high, abs=0.0015)
    for x in standard.positions_mm:
        low, high = _get_heights_of_walls(standard, bitting, cutter, text, x)
        assert (low + high) / 2 == pytest.approx(get_height_mm(standard, bitting, x), abs=0.003)


def test_a_mill_of_the_groove_s_width_follows_the_line_itself():
    standard = get_pack().blades["eddy-6"]
    bitting = parse_bitting(standard, "4 2 1 3 4 3")
    path = plan_path(
        standard,
        bitting,
        Cutter("mill", "endmill", standard.groove_width_mm, 2, "carbide"),
        choose_depths(get_pack().tools["endmill-20"], "brass"),
    )
    assert path.remarks == ()
    line = LineString(get_outline(standard, bitting))
    inside = [step for step in path.steps if step.n_mm < 0 and 0 <= step.x_mm <= standard.length_mm]
    assert len(inside) > 8
    assert max(LineString([(step.x_mm, step.h_mm)] * 2).distance(line) for step in inside) < 1e-9


@pytest.mark.parametrize("datum", ["shoulder", "tip"])
@pytest.mark.parametrize("climb", [True, False])
def test_climbing_has_the_metal_at_the_right_of_the_way(datum, climb):
    standard = replace(TEAL, datum=datum)
    (bitting,) = draw_bittings(standard, 1, seed=14)
    cutter = get_pack().tools["endmill-10"]
    path = plan_path(standard, bitting, cutter, choose_depths(cutter, "brass"), climb=climb)
    cutting = [
        after.x_mm - before.x_mm
        for before, after in pairwise(path.steps)
        if after.kind in ("rough", "finish")
    ]
    # The metal lies below the way, so that it is at the right when x grows.
    assert all(step >= 0 for step in cutting) if climb else all(step <= 0 for step in cutting)


@pytest.mark.parametrize("blade", ["eddy-6", "weir-8"])
@pytest.mark.parametrize("climb", [True, False])
def test_climbing_in_a_groove_has_its_wall_at_the_right_of_the_way(blade, climb):
    standard = get_pack().blades[blade]
    (bitting,) = draw_bittings(standard, 1, seed=16)
    cutter = get_pack().tools["endmill-10"]
    path = plan_path(standard, bitting, cutter, choose_depths(cutter, "brass"), climb=climb)
    seen = set()
    for before, after in pairwise(path.steps):
        if after.kind != "finish" or abs(after.x_mm - before.x_mm) < 0.5:
            continue
        x, h = (before.x_mm + after.x_mm) / 2, (before.h_mm + after.h_mm) / 2
        if not 1 < x < standard.length_mm - 1:
            continue
        upper = h > get_height_mm(standard, bitting, x)
        # With the wall above, it is at the right when x falls.
        assert (after.x_mm < before.x_mm) == (upper == climb)
        seen.add(upper)
    assert seen == {True, False}


def test_a_roughing_pass_takes_no_more_than_its_depth():
    wheel = get_pack().tools["wheel-90"]
    bitting = parse_bitting(HERON, "4 3 2 3 4 3 2 1")
    steps = plan_path(HERON, bitting, wheel, choose_depths(wheel, "brass", pass_mm=0.5)).steps
    roots = [
        after.h_mm
        for before, after in pairwise(steps)
        if before.kind == "rough" and after.kind == "rough" and before.h_mm == after.h_mm
    ]
    levels = sorted({round(h, 6) for h in roots}, reverse=True)
    assert all(above - below <= 0.5 + 1e-6 for above, below in zip([8.4, *levels], levels, strict=False))
    assert len(levels) >= 3


@pytest.mark.parametrize(
    ("cutter", "reason"),
    [
        (Cutter("wheel-100", "wheel", 60.0, 40, "hss", 1.0, 100.0), "angle"),
        (Cutter("mill-3", "endmill", 3.0, 2, "carbide"), "too wide"),
    ],
)
def test_a_cutter_that_cannot_make_the_blade_is_refused_with_its_reason(cutter, reason):
    bitting = parse_bitting(HERON, "4 2 1 3 4 2 2 1")
    with pytest.raises(CutterError) as refused:
        plan_path(HERON, bitting, cutter, choose_depths(cutter, "brass"))
    assert reason in refused.value.reasons[0]


def test_a_wheel_over_the_shoulder_is_said():
    wheel = get_pack().tools["wheel-90"]
    (near,) = plan_path(
        HERON, parse_bitting(HERON, "4 2 1 3 4 2 2 1"), wheel, choose_depths(wheel, "brass")
    ).remarks
    # The root at 3 mm is 2.2 mm deep: its form is 3.2 + 0.5 mm wide to one side, 1 mm above the edge.
    assert "0.7 mm over the shoulder" in near
    far = parse_bitting(HERON, "2 2 1 3 4 2 2 1")
    assert plan_path(HERON, far, wheel, choose_depths(wheel, "brass")).remarks == ()


def test_a_cut_too_near_to_the_shoulder_is_left_as_far_as_the_wheel_can_go():
    short = replace(
        HERON,
        positions_mm=(1.0,),
        depths_mm=(8.4, 4.0, 2.0),
        labels=("1", "2", "3"),
        length_mm=2.0,
        flat_mm=0.0,
    )
    wheel = Cutter("sharp", "wheel", 60.0, 40, "hss", 0.0, 90.0)
    bitting = Bitting(((2,),))
    text = write(short, bitting, wheel)
    x = np.linspace(0, 2, 41)
    # From the bow's edge the wheel's own flank falls at 45 degrees.
    assert carve(text, wheel, x, 8.4, 2.2) == pytest.approx(np.maximum(8.4 - x, 2.0), abs=0.001)


def test_an_uncut_edge_needs_no_cutting():
    flat = replace(HERON, depths_mm=(8.4, 7.8, 7.2, 6.6), min_distinct=None, max_run=None)
    for name in ("wheel-90", "endmill-10"):
        cutter = get_pack().tools[name]
        path = plan_path(flat, parse_bitting(flat, "1 1 1 1 1 1 1 1"), cutter, choose_depths(cutter, "brass"))
        assert {step.kind for step in path.steps} == {"rapid"}
