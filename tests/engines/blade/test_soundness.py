"""Soundness of blade standards."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.blade.outline import get_height_mm
from bittern.engines.blade.soundness import find_standard_faults, get_step_limit_mm
from bittern.engines.blade.standard import BladeStandard
from tests.strategies.blades import HERON, RAIL, SNIPE, TEAL, cut_blades, standards


@pytest.mark.parametrize("standard", [HERON, RAIL, TEAL, SNIPE], ids=lambda standard: standard.id)
def test_invented_families_are_sound(standard):
    assert find_standard_faults(standard) == []


@given(standards())
def test_drawn_standards_are_sound(standard):
    assert find_standard_faults(standard) == []


@given(cut_blades("edge"))
def test_in_a_sound_standard_every_allowed_cut_keeps_its_whole_flat(blade):
    standard, bitting = blade
    for edge, cuts in enumerate(bitting.edges):
        for x, cut in zip(standard.positions_mm, cuts, strict=True):
            for place in (x - standard.flat_mm / 2, x, x + standard.flat_mm / 2):
                height = get_height_mm(standard, bitting, place, edge=edge)
                assert height == pytest.approx(standard.depths_mm[cut], abs=1e-9)


@given(standards("edge").filter(lambda drawn: len(drawn.positions_mm) > 1 and len(drawn.depths_mm) > 1))
def test_a_flat_wider_than_the_largest_step_allows_is_unsound_and_spoils_a_flat(standard):
    deepest, reach = standard.depths_mm, min(standard.macs, len(standard.depths_mm) - 1)
    step = max(a - b for a, b in zip(deepest, deepest[reach:], strict=False))
    spacing = min(b - a for a, b in pairwise(standard.positions_mm))
    flat = spacing - step * math.tan(math.radians(standard.angle_deg) / 2) + 0.01
    faults = find_standard_faults(replace(standard, flat_mm=flat))
    assert "rules.macs" in [fault.where for fault in faults]


def test_the_limit_is_asked_of_the_smallest_spacing_and_the_largest_step_of_uneven_ones():
    # Flanks of 45 degrees: a step may be as large as spacing less flat. Steps 0.4 and 0.9, spacings 3 and 2.
    uneven = replace(
        HERON, positions_mm=(3.0, 6.0, 8.0), depths_mm=(8.0, 7.6, 6.7), labels=("1", "2", "3"), macs=1
    )
    assert find_standard_faults(replace(uneven, flat_mm=1.1)) == []
    (fault,) = find_standard_faults(replace(uneven, flat_mm=1.11))
    assert (fault.where, "0.9 mm" in fault.found, "cuts 2 and 3" in fault.expected) == (
        "rules.macs",
        True,
        True,
    )
    assert find_standard_faults(replace(uneven, flat_mm=1.0, macs=2))[0].where == "rules.macs"


@pytest.mark.parametrize(
    ("spacing", "flat", "increment", "angle", "quotient", "macs"),
    [(0.1562, 0.031, 0.015, 100, 7.0037, 7), (0.156, 0.044, 0.028, 90, 4.0, 4)],
)
def test_published_macs_follow_from_spacing_increment_and_angle(
    spacing, flat, increment, angle, quotient, macs
):
    # Formula: lockwiki.com/index.php/MACS citing Pulford, High-Security Mechanical Locks (2007). Second row:
    # locksafesystems.com/depth_and_space.htm, whose printed MACS is 4. Inches, as published.
    inch = 25.4
    depths = tuple((0.339 - increment * number) * inch for number in range(8))
    standard = replace(
        HERON,
        positions_mm=tuple((0.25 + spacing * number) * inch for number in range(5)),
        length_mm=40.0,
        width_mm=0.36 * inch,
        depths_mm=depths,
        labels=tuple("01234567"),
        flat_mm=flat * inch,
        angle_deg=float(angle),
        macs=macs,
        max_run=None,
        min_distinct=None,
    )
    limit = get_step_limit_mm(standard, spacing * inch) / (increment * inch)
    assert limit == pytest.approx(quotient, abs=5e-4)
    assert math.floor(limit + 1e-9) == macs
    assert find_standard_faults(standard) == []
    if macs + 1 < len(depths):
        assert [fault.where for fault in find_standard_faults(replace(standard, macs=macs + 1))] == [
            "rules.macs"
        ]


@pytest.mark.parametrize(
    ("standard", "change", "where"),
    [
        (HERON, {"kind": "round"}, "kind"),
        (HERON, {"datum": "bow"}, "datum"),
        (HERON, {"sides": "both"}, "cuts.sides"),
        (SNIPE, {"sides": "split"}, "cuts.sides"),
        (HERON, {"length_mm": 0.0}, "blank.length"),
        (HERON, {"width_mm": -8.4}, "blank.width"),
        (HERON, {"thickness_mm": math.nan}, "blank.thickness"),
        (HERON, {"tolerance_mm": 0.0}, "cuts.tolerance"),
        (HERON, {"tolerance_mm": 0.3}, "cuts.tolerance"),
        (HERON, {"flat_mm": -0.1}, "cuts.flat"),
        (HERON, {"angle_deg": 180.0}, "cuts.angle"),
        (HERON, {"positions_mm": ()}, "cuts.positions"),
        (HERON, {"positions_mm": (3.0, math.inf)}, "cuts.positions[2]"),
        (HERON, {"positions_mm": (3.0, 9.0, 6.0)}, "cuts.positions"),
        (HERON, {"positions_mm": (3.0, 27.6)}, "cuts.positions[2]"),
        (HERON, {"positions_mm": (0.4, 6.0)}, "cuts.positions[1]"),
        (HERON, {"depths_mm": (8.0, 7.4, 7.4, 6.8)}, "cuts.depths"),
        (HERON, {"depths_mm": (6.2, 6.8, 7.4, 8.0)}, "cuts.depths"),
        (HERON, {"depths_mm": (8.5, 7.9, 7.3, 6.7)}, "cuts.depths[1]"),
        (RAIL, {"depths_mm": (4.6, 4.3, 4.0, 3.7)}, "cuts.depths[1]"),
        (RAIL, {"depths_mm": (0.8, 0.5, 0.2, -0.1)}, "cuts.depths[4]"),
        (SNIPE, {"depths_mm": (-1.5, 0.5, -0.5, 1.5)}, "cuts.depths"),
        (SNIPE, {"depths_mm": (-4.6, -0.5, 0.5, 1.5)}, "cuts.depths[1]"),
        (HERON, {"labels": ("1", "2", "3")}, "cuts.labels"),
        (HERON, {"labels": ("1", "2", "3", "1")}, "cuts.labels[4]"),
        (HERON, {"labels": ("1", "?", "3", "4")}, "cuts.labels[2]"),
        (HERON, {"labels": ("1", "2", "/", "4")}, "cuts.labels[3]"),
        (HERON, {"labels": ("1", "2 a", "3", "4")}, "cuts.labels[2]"),
        (HERON, {"labels": ("", "2", "3", "4")}, "cuts.labels[1]"),
        (SNIPE, {"groove_width_mm": None}, "cuts.groove_width"),
        (SNIPE, {"groove_depth_mm": 2.2}, "cuts.groove_depth"),
        (HERON, {"groove_depth_mm": 1.0}, "cuts.groove_depth"),
        (SNIPE, {"flat_mm": 2.2}, "cuts.flat"),
        (HERON, {"macs": 0}, "rules.macs"),
        (HERON, {"macs": 2, "angle_deg": 120.0, "flat_mm": 1.4}, "rules.macs"),
        (HERON, {"max_run": 0}, "rules.max_run"),
        (HERON, {"depths_mm": (8.0,), "labels": ("1",), "min_distinct": None}, "rules.max_run"),
        (HERON, {"min_distinct": 5}, "rules.min_distinct"),
    ],
)
def test_each_fault_is_found_alone_and_named_by_its_key(standard, change, where):
    assert [fault.where for fault in find_standard_faults(replace(standard, **change))] == [where]


def test_all_faults_are_listed_not_just_the_first():
    faults = find_standard_faults(replace(HERON, labels=("1", "1", "3", "4"), macs=3, flat_mm=2.0, max_run=0))
    assert [fault.where for fault in faults] == ["cuts.labels[2]", "rules.max_run", "rules.macs"]


@given(st.builds(replace, standards(), length_mm=st.floats(), flat_mm=st.floats(), angle_deg=st.floats()))
def test_any_numbers_give_faults_rather_than_a_crash(standard: BladeStandard):
    assert all(fault.where and fault.found and fault.expected for fault in find_standard_faults(standard))
