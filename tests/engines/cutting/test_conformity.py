"""Conformity and its risks against published figures (JCGM 106:2012; Deaver 1994) and by trial."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.cutting.conformity import (
    get_guard_band_mm,
    get_p_all_conform,
    get_p_conform,
    get_risks,
    judge,
)


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_guard_bands_are_those_of_the_standards_table(p, z):
    """JCGM 106:2012, table 1: from memory, recomputed."""
    assert get_guard_band_mm(1.0, 1 - p) == pytest.approx(z, abs=0.006)


@pytest.mark.parametrize(("value", "p"), [(1.2, 0.8413), (1.0, 0.8943), (1.4, 0.7734), (2.0, 0.500)])
def test_a_cut_near_its_limit(value, p):
    """Tolerance 2.0, standard deviation 0.8: our own calculation from the two-sided normal law."""
    assert get_p_conform(value, 0.8, 2.0) == pytest.approx(p, abs=5e-5)


@pytest.mark.parametrize(
    ("process", "measurement", "limit", "accept", "false_accept", "false_reject"),
    [
        # Deaver 1994, as the tests of Sandia's suncal have it; printed .008/.015 and .008/.066.
        (4, 1, 8, 8, 0.00800608, 0.01485088),
        (1, 0.5, 2, 2 * 0.91, 0.00805, 0.0661),
    ],
)
def test_risks_are_those_published(process, measurement, limit, accept, false_accept, false_reject):
    risks = get_risks(process, measurement, limit, accept)
    assert risks.false_accept == pytest.approx(false_accept, abs=6e-6)
    assert risks.false_reject == pytest.approx(false_reject, abs=6e-5)


@pytest.mark.parametrize(
    ("in_tolerance", "percent"),
    [
        (0.60, 4.83860),
        (0.70, 3.92234),
        (0.80, 2.85583),
        (0.90, 1.59995),
        (0.95, 0.87101),
        (0.99, 0.19992),
    ],
)
def test_false_acceptance_of_the_published_table_of_the_four_to_one_ratio(in_tolerance, percent):
    """Measurement a quarter of the process (tables in draft RP-19, as suncal's tests have them).

    The table's measurement is a quarter of the tolerance at 95 %: see the assertion for which reading holds.
    """
    from statistics import NormalDist

    limit = NormalDist().inv_cdf((1 + in_tolerance) / 2)
    risks = get_risks(1.0, 0.25, limit, limit)
    assert 100 * risks.false_accept == pytest.approx(percent, abs=5e-4)


@given(st.floats(-3, 3), st.floats(0.05, 2), st.floats(0.1, 3))
def test_conformity_falls_as_a_cut_leaves_its_target(deviation, sd, limit):
    p = get_p_conform(deviation, sd, limit)
    assert 0 <= p <= 1
    assert p == pytest.approx(get_p_conform(-deviation, sd, limit), abs=1e-12)
    assert p >= get_p_conform(deviation * 1.5, sd, limit) - 1e-12


def test_conformity_is_a_share_of_trials():
    rng = np.random.default_rng(4)
    trials = rng.normal(0.7, 0.3, 200_000)
    assert get_p_conform(0.7, 0.3, 1.0) == pytest.approx(np.mean(np.abs(trials) <= 1.0), abs=0.005)


def test_verdicts_leave_a_band_undecided():
    assert [judge(p, 0.05) for p in (0.99, 0.95, 0.94, 0.06, 0.05, 0.0)] == [
        "pass",
        "pass",
        "undecided",
        "undecided",
        "fail",
        "fail",
    ]


@pytest.mark.parametrize(("sd", "limit"), [(0, 1), (-1, 1), (1, 0)])
def test_lengths_that_are_none_are_refused(sd, limit):
    with pytest.raises(ValueError, match="above 0"):
        get_p_conform(0.0, sd, limit)


@given(st.floats(-3, 3), st.floats(0.05, 2), st.floats(1.0, 4.0), st.floats(0.1, 3), st.floats(0.001, 0.5))
def test_more_doubt_never_makes_a_pass(deviation, sd, times, limit, risk):
    if judge(get_p_conform(deviation, sd, limit), risk) != "pass":
        assert judge(get_p_conform(deviation, sd * times, limit), risk) != "pass"


@given(
    st.lists(st.floats(-0.9, 0.9), min_size=1, max_size=12),
    st.floats(0.05, 1),
    st.floats(0, 1),
    st.floats(1.05, 4.0),
)
def test_more_doubt_never_makes_a_whole_key_likelier(deviations, own, shared, times):
    """Of lengths that all measure within their limit."""
    off = np.array(deviations)
    covariance = own**2 * np.eye(len(off)) + shared**2
    before = get_p_all_conform(off, covariance, 1.0)
    assert get_p_all_conform(off, times**2 * covariance, 1.0) <= before + 1e-6
    alone = [get_p_conform(float(one), float(np.hypot(own, shared)), 1.0) for one in off]
    assert before <= min(alone) + 1e-4


@given(st.floats(-2, 2), st.floats(0.05, 2), st.floats(0.1, 3))
def test_one_length_alone_is_as_likely_together(deviation, sd, limit):
    together = get_p_all_conform(np.array([deviation]), np.array([[sd**2]]), limit)
    assert together == pytest.approx(get_p_conform(deviation, sd, limit), abs=2e-4)


@pytest.mark.parametrize("count", [2, 8, 20])
def test_lengths_together_conform_in_a_share_of_trials(count):
    rng = np.random.default_rng(count)
    off = rng.normal(0, 0.02, count)
    # A common part, a slope, and each one's own: scale, edges and noise of a picture.
    lean = np.linspace(-1, 1, count)
    covariance = 0.012**2 + 0.004**2 * np.outer(lean, lean) + 0.005**2 * np.eye(count)
    trials = rng.multivariate_normal(off, covariance, 100_000)
    share = float((np.abs(trials) < 0.04).all(axis=1).mean())
    assert get_p_all_conform(off, covariance, 0.04) == pytest.approx(share, abs=0.012)
    # Told that all are by themselves, another answer comes out.
    if count == 20:
        alone = get_p_all_conform(off, np.diag(np.diag(covariance)), 0.04)
        assert abs(alone - share) > 0.012


def test_nothing_measured_is_nothing_wrong():
    assert get_p_all_conform(np.zeros(0), np.zeros((0, 0)), 1.0) == 1.0
