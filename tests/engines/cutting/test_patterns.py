"""Patterns of cuts that are off: recognised where they are, and not where there is only scatter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.cutting.patterns import SURE, explain, find_depth_patterns, find_shift
from bittern.engines.cutting.roots import PARTS, Roots
from tests.simulated import EDGE_BLADES

HERON = EDGE_BLADES["heron-8"]
PLACES = np.array(HERON.positions_mm)
CUTS = np.arange(len(PLACES))
TOLERANCE = HERON.tolerance_mm
NOISE = 0.005
SHARED = 0.01
COVARIANCE = SHARED**2 + NOISE**2 * np.eye(len(PLACES))
NAMES = {cut: str(cut + 1) for cut in CUTS}


def scatter(seed, share=0.3):
    """Deviations of a good machine as they are measured."""
    rng = np.random.default_rng(seed)
    made = rng.normal(0, share * TOLERANCE, len(PLACES))
    return made + rng.multivariate_normal(np.zeros(len(PLACES)), COVARIANCE)


def look(off, failed=frozenset()):
    target = np.full(len(off), 7.0)
    roots = Roots(CUTS, target, target + off, np.zeros((len(off), len(PARTS))), COVARIANCE)
    return find_depth_patterns(HERON, roots, NAMES, set(failed))


def test_scatter_has_no_pattern():
    assert not [seed for seed in range(200) if look(scatter(seed))]


def test_what_all_measurements_share_is_no_pattern():
    """All cuts seem off by two deviations of the scale and the edges: that is the picture, not the key."""
    for way in (-1, 1):
        assert not look(scatter(3, 0.1) + way * 2 * SHARED)


@pytest.mark.parametrize("amount", [-0.2, -0.1, 0.1, 0.2])
def test_all_alike_is_named_with_its_size_and_way(amount):
    for seed in range(20):
        (found,) = look(scatter(seed) + amount)
        assert found.kind == ("shallow" if amount > 0 else "deep")
        assert found.amount_mm == pytest.approx(amount, abs=0.04)
        assert f"{abs(found.amount_mm):.2f} mm too" in found.advice
        assert ("deeper" if amount > 0 else "shallower") in found.advice


@pytest.mark.parametrize("amount", [-0.25, -0.15, 0.15, 0.25])
def test_a_taper_is_named_with_its_size_and_end(amount):
    spread = (PLACES - PLACES[0]) / np.ptp(PLACES)
    named = [look(scatter(seed) + amount * spread) for seed in range(20)]
    tapers = [found[0] for found in named if [one.kind for one in found] == ["taper"]]
    assert len(tapers) >= 19
    for found in tapers:
        assert found.amount_mm == pytest.approx(amount, abs=0.08)
        assert ("toward the tip" if amount < 0 else "toward the bow") in found.advice


@given(st.integers(0, 7), st.sampled_from([-0.4, -0.2, 0.2, 0.4]), st.integers(0, 1000))
@settings(max_examples=40, deadline=None)
def test_one_cut_is_named_and_no_other(cut, amount, seed):
    off = scatter(seed, 0.2)
    off[cut] += amount
    (found,) = look(off)
    assert (found.kind, found.cut) == ("one cut", cut)
    assert found.amount_mm == pytest.approx(amount, abs=0.08)


def test_a_wrong_cut_besides_a_wrong_setting_is_named_too():
    off = scatter(4, 0.2) + 0.15
    off[2] -= 0.4
    kinds = {(one.kind, one.cut) for one in look(off)}
    assert kinds == {("shallow", None), ("one cut", 2)}


def test_cuts_that_failed_are_named_where_no_pattern_explains_them():
    rng = np.random.default_rng(1)
    off = rng.normal(0, 0.12, len(PLACES))
    failed = {cut for cut in CUTS if abs(off[cut]) > 0.1}
    assert failed <= {one.cut for one in look(off, failed) if one.kind == "one cut"}


def test_probabilities_are_probabilities():
    found = explain(scatter(2), COVARIANCE, PLACES, CUTS, TOLERANCE)
    assert 0 <= found.p_common < 1 - SURE + 0.3
    assert found.cut is None and found.p_cut == 0


@pytest.mark.parametrize(("shift", "named"), [(0.05, False), (0.3, True), (-0.3, True)])
def test_a_shift_along_the_blade_is_named_beyond_its_doubt(shift, named):
    found = find_shift(HERON, shift, 0.02)
    assert bool(found) == named
    if found:
        assert ("far from" if shift > 0 else "near to") in found[0].advice
    assert not find_shift(HERON, shift, 0.2)
