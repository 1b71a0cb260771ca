"""Skill: a Beta posterior whose rehearsals age, and the rule who may do a family alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.pairing.course import make_course
from bittern.engines.pairing.sheet import CENSUSES, Step
from bittern.engines.pairing.skill import (
    FAMILIES,
    Practice,
    SkillRules,
    find_family,
    weigh_skill,
    weigh_skills,
)
from tests.engines.pairing.rehearsal_machine import DEMO_SHEETS
from tests.strategies.sheets import make_sheet

NOW = datetime(2024, 5, 6, 12, 0, tzinfo=UTC)
RULES = SkillRules()


def practise(good: int, bad: int = 0, *, days: float = 0.0, family: str = "adds") -> list[Practice]:
    at = NOW - timedelta(days=days)
    return [Practice(family, at, True)] * good + [Practice(family, at, False)] * bad


def test_without_a_rehearsal_nothing_is_known() -> None:
    skill = weigh_skill("adds", [], NOW)
    assert (skill.share, round(skill.low, 3), round(skill.high, 3)) == (0.5, 0.05, 0.95)
    assert (skill.rehearsals, skill.may_alone) == (0, False)
    assert skill.because == "4 more rehearsals before this can be said."


@pytest.mark.parametrize("count", range(1, 12))
def test_successes_alone_have_the_bounds_of_a_power(count: int) -> None:
    # Beta(n + 1, 1) has the distribution function x^(n + 1); Beta(1, n + 1) mirrors it.
    skill = weigh_skill("adds", practise(count), NOW)
    assert skill.share == pytest.approx((count + 1) / (count + 2))
    assert skill.low == pytest.approx(0.05 ** (1 / (count + 1)), abs=1e-3)
    assert skill.high == pytest.approx(0.95 ** (1 / (count + 1)), abs=1e-3)
    worst = weigh_skill("adds", practise(0, count), NOW)
    assert worst.low == pytest.approx(1 - 0.95 ** (1 / (count + 1)), abs=1e-3)
    assert skill.may_alone == (count >= 4)
    assert not worst.may_alone


def test_one_failure_is_made_good_by_more_successes() -> None:
    # Beta(a, 2) has the distribution function x^a (1 + a (1 - x)); at one half it must be at most 0.05.
    first = next(good for good in range(20) if weigh_skill("adds", practise(good, 1), NOW).may_alone)
    by_hand = next(good for good in range(20) if 0.5 ** (good + 1) * (1 + (good + 1) / 2) <= 0.05)
    assert first == by_hand == 6


def test_a_half_life_halves_and_four_old_successes_no_longer_suffice() -> None:
    old = practise(4, days=RULES.half_life_days)
    fresh = weigh_skill("adds", practise(2), NOW)
    aged = weigh_skill("adds", old, NOW)
    assert aged.share == pytest.approx(fresh.share)
    assert aged.low == pytest.approx(fresh.low)
    assert aged.low == pytest.approx(0.05 ** (1 / 3), abs=1e-3)
    assert (aged.may_alone, aged.rehearsals, aged.successes) == (False, 4, 4)
    assert "50% is asked for" in aged.because
    assert weigh_skill("adds", old + practise(2), NOW).may_alone


def test_other_families_and_a_clock_that_runs_ahead_do_not_count_otherwise() -> None:
    other = practise(9, family="renews")
    assert weigh_skill("adds", other + practise(2), NOW) == weigh_skill("adds", practise(2), NOW)
    assert weigh_skill("adds", practise(4, days=-3), NOW) == weigh_skill("adds", practise(4), NOW)
    assert [skill.family for skill in weigh_skills(other, NOW)] == list(FAMILIES)
    assert [skill.may_alone for skill in weigh_skills(other, NOW)] == [False, False, True]


def test_rules_can_be_stricter() -> None:
    strict = SkillRules(least_share=0.7, fewest=6)
    assert not weigh_skill("adds", practise(6), NOW, strict).may_alone
    assert weigh_skill("adds", practise(8), NOW, strict).may_alone
    assert weigh_skill("adds", practise(5), NOW, strict).because.startswith("1 more rehearsal ")


@given(st.lists(st.tuples(st.floats(0, 1000), st.booleans()), max_size=12), st.floats(0, 1000), st.booleans())
def test_a_success_never_lowers_and_a_failure_never_raises(
    past: list[tuple[float, bool]], days: float, success: bool
) -> None:
    made = [Practice("adds", NOW - timedelta(days=age), good) for age, good in past]
    before = weigh_skill("adds", made, NOW)
    after = weigh_skill("adds", [*made, Practice("adds", NOW - timedelta(days=days), success)], NOW)
    assert before.low <= before.share <= before.high
    sign = 1 if success else -1
    for name in ("share", "low", "high"):
        assert sign * (getattr(after, name) - getattr(before, name)) >= -1e-3
    assert weigh_skill("adds", made[::-1], NOW).share == pytest.approx(before.share)


def test_the_bound_holds_as_often_as_it_says() -> None:
    """Shares from the prior, ten rehearsals each: the share is above the bound in 95 of 100."""
    chance = Random(4)
    above = []
    for _ in range(1500):
        share = chance.random()
        made = [Practice("adds", NOW, chance.random() < share) for _ in range(10)]
        above.append(share > weigh_skill("adds", made, NOW).low)
    assert abs(np.mean(above) - 0.95) < 4 * (0.95 * 0.05 / len(above)) ** 0.5


def test_every_sheet_belongs_to_a_family_and_the_course_visits_all() -> None:
    for census in CENSUSES:
        assert find_family(make_sheet(Step("a", "end", "A."), census=census)) in FAMILIES
    assert {lesson.family for lesson in make_course(DEMO_SHEETS)} == set(FAMILIES)
