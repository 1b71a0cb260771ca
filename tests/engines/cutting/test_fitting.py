"""Cutters: sound or not, fitting a family or not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.fitting import (
    find_cutter_faults,
    fits_standard,
    get_corner_rest_mm,
    list_remarks,
)
from tests.strategies.blades import HERON, SNIPE

WHEEL = Cutter("wheel-90", "wheel", 60.0, 40, "hss", flat_mm=1.0, angle_deg=90.0)
MILL = Cutter("mill-2", "endmill", 2.0, 2, "carbide")


@pytest.mark.parametrize(
    ("cutter", "change", "where"),
    [
        (WHEEL, {"kind": "saw"}, ["kind"]),
        (WHEEL, {"material": "brass"}, ["material"]),
        (WHEEL, {"diameter_mm": 0.0}, ["diameter"]),
        (WHEEL, {"diameter_mm": math.inf}, ["diameter"]),
        (WHEEL, {"teeth": 0}, ["teeth"]),
        (WHEEL, {"flat_mm": None, "angle_deg": None}, ["flat", "angle"]),
        (WHEEL, {"flat_mm": -1.0}, ["flat"]),
        (WHEEL, {"angle_deg": 180.0}, ["angle"]),
        (MILL, {"flat_mm": 1.0, "angle_deg": 90.0}, ["flat", "angle"]),
        (MILL, {"diameter_mm": math.nan}, ["diameter"]),
    ],
)
def test_each_fault_of_a_cutter_is_named_by_its_key(cutter, change, where):
    assert find_cutter_faults(cutter) == []
    assert [fault.where for fault in find_cutter_faults(replace(cutter, **change))] == where


def test_a_wheel_fits_only_inside_the_cuts_form():
    assert fits_standard(WHEEL, HERON) == []
    assert list_remarks(WHEEL, HERON) == []
    (wide,) = fits_standard(replace(WHEEL, angle_deg=100.0), HERON)
    assert "angle" in wide
    (flat,) = fits_standard(replace(WHEEL, flat_mm=1.1), HERON)
    assert "flat" in flat
    (small,) = fits_standard(replace(WHEEL, diameter_mm=4.0), HERON)
    assert "deep" in small
    narrow = replace(WHEEL, flat_mm=0.5, angle_deg=80.0)
    assert fits_standard(narrow, HERON) == []
    assert "moved along" in list_remarks(narrow, HERON)[0]


def test_a_wheel_cannot_mill_a_track_and_a_mill_must_go_into_the_groove():
    assert len(fits_standard(WHEEL, SNIPE)) == 1
    assert fits_standard(MILL, SNIPE) == []
    assert list_remarks(MILL, SNIPE) == []
    assert len(fits_standard(replace(MILL, diameter_mm=2.01), SNIPE)) == 1
    assert "pass" in list_remarks(replace(MILL, diameter_mm=1.5), SNIPE)[0]


def test_a_mill_on_an_edge_says_what_its_radius_leaves():
    (remark,) = list_remarks(MILL, HERON)
    assert "0.090 mm" in remark
    (reason,) = fits_standard(replace(MILL, diameter_mm=2.5), HERON)
    assert "too wide" in reason
    assert list_remarks(replace(MILL, diameter_mm=2.5), HERON) == []


@given(st.floats(60, 120), st.floats(0.3, 1.5), st.floats(0.1, 3.0))
def test_a_mill_fits_exactly_when_its_circle_touches_the_flat_between_the_flanks(angle, flat, diameter):
    standard = replace(HERON, angle_deg=angle, flat_mm=flat)
    tangent = math.tan(math.radians(angle) / 2)
    high = 20.0
    reach = flat / 2 + high * tangent
    cut = Polygon([(-reach, high), (-flat / 2, 0), (flat / 2, 0), (reach, high)])
    # The circle standing on the flat's middle: does it stay inside the cut?
    circle = Point(0, diameter / 2).buffer(diameter / 2, quad_segs=720)
    outside = circle.difference(cut).area
    widest = flat / math.tan(math.radians(90 - angle / 2) / 2)
    if abs(diameter - widest) < 0.02:
        return
    assert (fits_standard(replace(MILL, diameter_mm=diameter), standard) == []) == (outside < 1e-6)


def test_what_is_left_in_a_corner_is_the_gap_between_circle_and_corner():
    radius = 1.0
    # 90 degrees between flanks: the flat turns by 45 degrees; the circle's centre lies r tan(22.5) inside.
    inside = radius * math.tan(math.radians(22.5))
    beneath = radius - math.sqrt(radius**2 - inside**2)
    assert get_corner_rest_mm(MILL, HERON) == pytest.approx(beneath) == pytest.approx(0.0898, abs=5e-5)
