"""The supply's trend against an independent library, its warning in time, and typed readings."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]

from bittern.engines.link.errors import SupplyError
from bittern.engines.link.supply import (
    SupplyLimits,
    SupplySample,
    fit_slope,
    is_falling,
    judge_supply,
)

LIMITS = SupplyLimits()
readings = st.lists(
    st.tuples(st.integers(0, 500), st.integers(9000, 15000)),
    min_size=4,
    max_size=40,
    unique_by=lambda r: r[0],
).map(lambda rows: [SupplySample(float(at), mv / 1000) for at, mv in sorted(rows)])


def fall(
    slope: float, *, start_v: float = 13.0, seconds: int = 60, sd_v: float = 0.0, seed: int = 1
) -> list[SupplySample]:
    noise = random.Random(seed)
    return [SupplySample(float(at), start_v + slope * at + noise.gauss(0, sd_v)) for at in range(seconds + 1)]


@given(readings)
def test_the_slope_is_that_of_an_independent_library(samples: list[SupplySample]) -> None:
    theirs = stats.theilslopes([s.volts for s in samples], [s.at_s for s in samples])
    assert fit_slope(samples) == pytest.approx(theirs.slope, abs=1e-12)


@given(readings)
def test_the_test_of_a_fall_is_kendalls(samples: list[SupplySample]) -> None:
    times, volts = [s.at_s for s in samples], [s.volts for s in samples]
    if len(set(volts)) < len(volts):
        return
    count = len(samples)
    score = stats.kendalltau(times, volts).statistic * count * (count - 1) / 2
    z = (round(score) + 1) / math.sqrt(count * (count - 1) * (2 * count + 5) / 18)
    assert is_falling(samples) == (z < -1.645)


@pytest.mark.parametrize("slope", [-0.01, -0.004, -0.02])
def test_the_warning_comes_before_it_is_too_low_and_the_time_left_is_right(slope: float) -> None:
    samples = fall(slope, start_v=13.5, sd_v=0.01)
    state = judge_supply(samples, LIMITS)
    expected = (13.5 + slope * 60 - LIMITS.least_v) / -slope
    assert state.seconds_left == pytest.approx(expected, rel=0.15)
    assert state.falling
    assert state.level == ("falling" if expected < LIMITS.ahead_s else "steady")
    assert state.may_begin is not (expected < LIMITS.ahead_s)


def test_a_steady_supply_warns_of_nothing() -> None:
    """One-sided at 5 %: of 200 steady records at most about 10 count as a fall, and fewer as one in time."""
    falls = sum(judge_supply(fall(0.0, sd_v=0.02, seed=seed)).falling for seed in range(200))
    warned = sum(judge_supply(fall(0.0, sd_v=0.02, seed=seed)).level == "falling" for seed in range(200))
    assert falls <= 20
    assert warned <= 2


def test_one_dip_moves_the_trend_little() -> None:
    samples = fall(0.0, sd_v=0.005)
    samples[30] = SupplySample(30.0, 9.8)
    state = judge_supply(samples)
    assert state.level == "steady"
    assert abs(state.slope_v_per_s or 0) < 2e-4


@pytest.mark.parametrize(
    ("volts", "level", "begin"),
    [
        (11.99, "too-low", False),
        (12.0, "below-comfort", True),
        (12.39, "below-comfort", True),
        (12.4, "steady", True),
    ],
)
def test_one_typed_reading_is_judged_by_the_limits(volts: float, level: str, begin: bool) -> None:
    state = judge_supply([SupplySample(0.0, volts, "typed")])
    assert (state.level, state.may_begin) == (level, begin)
    assert f"{volts:.2f} V" in state.say


def test_nothing_known_is_not_enough_to_begin() -> None:
    state = judge_supply([])
    assert (state.level, state.may_begin, state.volts) == ("unknown", False, None)
    assert "type it in" in state.say


def test_typed_and_measured_readings_make_one_trend() -> None:
    samples = fall(-0.01)
    mixed = [SupplySample(s.at_s, s.volts, ("typed", "measured")[i % 2]) for i, s in enumerate(samples)]
    random.Random(3).shuffle(mixed)
    assert judge_supply(mixed) == judge_supply(samples)


def test_old_readings_do_not_count_for_the_trend() -> None:
    before = [SupplySample(float(at), 14.0 - 0.02 * at) for at in range(50)]
    since = [SupplySample(1000.0 + at, 12.8) for at in range(20)]
    assert judge_supply(before + since).slope_v_per_s == 0.0


@pytest.mark.parametrize(
    ("least", "comfort"), [(0.0, 12.0), (12.5, 12.0), (12.0, 99.0), (math.nan, 12.4), (12.0, math.nan)]
)
def test_limits_that_are_none_are_refused(least: float, comfort: float) -> None:
    with pytest.raises(SupplyError):
        SupplyLimits(least_v=least, comfort_v=comfort)


@pytest.mark.parametrize(
    ("at", "volts", "source"),
    [
        (0.0, -1.0, "typed"),
        (0.0, 66.0, "typed"),
        (math.nan, 12.0, "typed"),
        (0.0, math.nan, "typed"),
        (0.0, 12.0, "guessed"),
    ],
)
def test_readings_that_are_none_are_refused(at: float, volts: float, source: str) -> None:
    with pytest.raises(SupplyError):
        SupplySample(at, volts, source)
