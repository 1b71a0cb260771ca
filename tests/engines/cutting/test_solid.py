"""Solids of keys: closed, turned the right way, of the volume that geometry gives; outlines exact."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from shapely import LineString, Point, Polygon

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.outline import get_blade_polygon, get_outline
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.contours import Curve, list_curves
from bittern.engines.cutting.solid import BOW_MM, SHOULDER_MM, Mesh, build_key
from tests.engines.cutting.programs import get_pack
from tests.engines.cutting.test_toolpath import draw_bittings
from tests.strategies.blades import cut_blades

BLADES = sorted(get_pack().blades)


def assert_closed(mesh: Mesh) -> None:
    """Every edge is passed once in each sense, and an independent library takes the mesh for a solid."""
    edges = Counter(edge for a, b, c in mesh.triangles.tolist() for edge in ((a, b), (b, c), (c, a)))
    assert set(edges.values()) == {1}
    assert all((end, start) in edges for start, end in edges)
    solid = read_solid(mesh)
    assert solid.status() == manifold3d.Error.NoError
    assert solid.genus() == 0


def read_solid(mesh: Mesh) -> manifold3d.Manifold:
    return manifold3d.Manifold(
        manifold3d.Mesh64(mesh.corners_mm.astype(np.float64), mesh.triangles.astype(np.uint64))
    )


def get_bow_mm3(standard: BladeStandard) -> float:
    shoulders = 1 if standard.kind == "edge" and standard.sides == "single" else 2
    return BOW_MM * (standard.width_mm + shoulders * SHOULDER_MM) * standard.thickness_mm


@pytest.mark.parametrize("blade_id", BLADES)
def test_every_demo_key_is_a_closed_solid_of_the_right_volume(blade_id: str) -> None:
    standard = get_pack().blades[blade_id]
    for bitting in draw_bittings(standard, 3, seed=7):
        mesh = build_key(standard, bitting)
        assert_closed(mesh)
        area = Polygon(get_blade_polygon(standard, bitting)).area
        expected = area * standard.thickness_mm + get_bow_mm3(standard)
        if standard.kind == "track":
            blade = Polygon(get_blade_polygon(standard, bitting))
            groove = LineString(get_outline(standard, bitting)).buffer(
                (standard.groove_width_mm or 0) / 2, 256
            )
            faces = 2 if standard.sides == "mirror" else 1
            expected -= groove.intersection(blade).area * (standard.groove_depth_mm or 0) * faces
        assert mesh.get_volume_mm3() == pytest.approx(expected, rel=1e-9 if standard.kind == "edge" else 1e-4)
        assert read_solid(mesh).volume() == pytest.approx(mesh.get_volume_mm3(), rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(cut_blades())
def test_any_sound_blade_makes_a_closed_solid(blade: tuple[BladeStandard, Bitting]) -> None:
    standard, bitting = blade
    mesh = build_key(standard, bitting)
    assert_closed(mesh)
    assert mesh.get_volume_mm3() > 0


def test_a_section_of_the_solid_is_the_blades_polygon() -> None:
    standard = get_pack().blades["alder-8"]
    bitting = draw_bittings(standard, 1, seed=9)[0]
    section = read_solid(build_key(standard, bitting)).slice(-1.0)
    # The bow begins at the shoulder.
    blade = section ^ manifold3d.CrossSection.square((100.0, 100.0)).translate((0.0, -50.0))
    (found,) = (Polygon(polygon) for polygon in blade.to_polygons())
    ideal = Polygon(get_blade_polygon(standard, bitting))
    assert found.symmetric_difference(ideal).area < 1e-6


def test_the_groove_is_open_on_the_upper_face_and_as_deep_as_the_standard_says() -> None:
    standard = get_pack().blades["eddy-6"]
    bitting = draw_bittings(standard, 1, seed=9)[0]
    solid = read_solid(build_key(standard, bitting))
    depth = standard.groove_depth_mm or 0.0
    full = get_pack().blades["eddy-6"].width_mm * standard.length_mm
    above, below = solid.slice(-depth + 0.01).area(), solid.slice(-depth - 0.01).area()
    assert below - above > full / 6


def walk(curve: Curve, count: int = 200) -> np.ndarray:
    """Return places along a curve, from its own words."""
    share = np.linspace(0, 1, count)[:, None]
    if curve.centre is None:
        return np.array(curve.start) * (1 - share) + np.array(curve.end) * share
    first, last = (
        math.atan2(place[1] - curve.centre[1], place[0] - curve.centre[0])
        for place in (curve.start, curve.end)
    )
    turn = (last - first) % (2 * math.pi)
    angle = first + (turn if curve.turns_left else turn - 2 * math.pi) * share
    return np.hstack(
        [curve.centre[0] + curve.radius_mm * np.cos(angle), curve.centre[1] + curve.radius_mm * np.sin(angle)]
    )


@pytest.mark.parametrize("blade_id", BLADES)
def test_contours_are_the_blade_and_the_parallels_of_its_groove(blade_id: str) -> None:
    standard = get_pack().blades[blade_id]
    bitting = draw_bittings(standard, 1, seed=13)[0]
    curves = list_curves(standard, bitting)
    blade = [curve for curve in curves if curve.part == "blade"]
    assert all(one.end == other.start for one, other in pairwise([*blade, blade[0]]))
    polygon = Polygon([curve.start for curve in blade])
    assert polygon.exterior.is_ccw
    assert polygon.equals(Polygon(get_blade_polygon(standard, bitting)))
    groove = [curve for curve in curves if curve.part == "groove"]
    assert bool(groove) == (standard.kind == "track")
    if not groove:
        return
    line = LineString(get_outline(standard, bitting))
    half = (standard.groove_width_mm or 0) / 2
    distances = [line.distance(Point(*place)) for curve in groove for place in walk(curve)]
    assert np.abs(np.array(distances) - half).max() < 1e-9
    assert any(curve.centre for curve in groove)
