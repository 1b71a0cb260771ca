"""Ladders: they cover what is left, climb, and cost what they say."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.blade.bitting import Bitting, format_bitting, parse_bitting
from bittern.engines.blade.errors import LadderError
from bittern.engines.blade.ladder import MOST_BLANKS, LadderPlan, plan_ladders
from tests.engines.blade.test_remaining import known_cuts, try_all
from tests.strategies.blades import HERON, SNIPE

FREE = replace(HERON, macs=3, max_run=None, min_distinct=None)


def count_cuttings(plan: LadderPlan, right: str) -> int:
    """Return how many cuttings a person makes who works down the list until ``right`` turns."""
    made = 0
    for ladder in plan.ladders:
        for rung in ladder:
            made += 1
            if rung == right:
                return made
    raise AssertionError(f"{right} is on no ladder")


@settings(max_examples=60, deadline=None)
@given(known_cuts())
def test_every_bitting_that_is_left_is_on_one_ladder_and_each_climbs(case):
    standard, known = case
    left = {format_bitting(standard, bitting) for bitting in try_all(standard, known)}
    plan = plan_ladders(standard, known)
    rungs = [rung for ladder in plan.ladders for rung in ladder]
    assert plan.remaining == len(left) == len(rungs)
    assert set(rungs) == left
    assert plan.blanks == len(plan.ladders) == len(plan.proof)
    for ladder in plan.ladders:
        rows = [sum(parse_bitting(standard, rung).edges, ()) for rung in ladder]
        for before, after in pairwise(rows):
            assert all(a <= b for a, b in zip(before, after, strict=True))
    if left:
        mean = sum(count_cuttings(plan, right) for right in left) / len(left)
        assert plan.expected_cuttings == pytest.approx(mean)
    else:
        assert plan.expected_cuttings is None
        assert plan.problems == ("no bitting agrees with what is known",)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_weights_put_the_likely_ones_first_and_never_cost_more_blanks(data):
    known = parse_bitting(FREE, "? ? 1 2 1 2 1 2")
    left = try_all(FREE, known)
    chosen = data.draw(st.lists(st.sampled_from(left), min_size=1, max_size=7, unique=True))
    weights = {bitting: data.draw(st.integers(1, 50)) / 10 for bitting in chosen}
    plan, total = plan_ladders(FREE, known, weights), sum(weights.values())
    even = plan_ladders(FREE, known, dict.fromkeys(chosen, 1.0))
    assert plan.blanks == even.blanks
    mean = sum(count_cuttings(plan, format_bitting(FREE, b)) * w for b, w in weights.items()) / total
    assert plan.expected_cuttings == pytest.approx(mean)
    # No other order of the same ladders is better.
    for order in permutations(plan.ladders):
        other = replace(plan, ladders=order)
        there = sum(count_cuttings(other, format_bitting(FREE, b)) * w for b, w in weights.items()) / total
        assert plan.expected_cuttings <= there + 1e-9


def test_ends_are_exchanged_where_that_ends_sooner():
    # Two blanks either way; the likely pair must share the first.
    texts = {"1 2": 1.0, "2 1": 8.0, "2 3": 1.0, "3 2": 8.0}
    weights = {parse_bitting(FREE, f"{cuts} 1 1 1 1 1 1"): weight for cuts, weight in texts.items()}
    plan = plan_ladders(FREE, parse_bitting(FREE, "? ? 1 1 1 1 1 1"), weights)
    assert [[rung[:3] for rung in ladder] for ladder in plan.ladders] == [["2 1", "3 2"], ["1 2", "2 3"]]
    assert plan.expected_cuttings == pytest.approx((8 * 1 + 8 * 2 + 1 * 3 + 1 * 4) / 18)


def test_two_unknown_cuts_of_four_depths_by_hand():
    # A 4 by 4 square has antichains of four: every step along its falling diagonal.
    plan = plan_ladders(FREE, parse_bitting(FREE, "? ? 1 2 1 2 1 2"))
    assert (plan.remaining, plan.blanks) == (16, 4)
    sums = [sum(int(c) for c in rung[:3].split()) for rung in plan.proof]
    assert len(set(sums)) == 1
    assert plan.expected_cuttings == pytest.approx(8.5)


def test_a_table_rules_out_what_is_not_in_it_and_what_is_known():
    known = parse_bitting(FREE, "1 ? ? ? ? ? ? ?")
    table = {
        parse_bitting(FREE, text): 1.0 for text in ("1 1 1 1 1 1 1 2", "1 1 1 1 1 1 1 3", "2 1 1 1 1 1 1 1")
    }
    plan = plan_ladders(FREE, known, table)
    assert plan.ladders == (("1 1 1 1 1 1 1 2", "1 1 1 1 1 1 1 3"),)
    empty = plan_ladders(FREE, parse_bitting(FREE, "4 ? ? ? ? ? ? ?"), table)
    assert (empty.remaining, empty.blanks, empty.ladders) == (0, 0, ())


def test_hopeless_counts_say_which_cut_to_find_out_first():
    plan = plan_ladders(HERON, parse_bitting(HERON, "2 ? ? ? ? ? ? ?"))
    assert plan.blanks is not None
    assert plan.blanks > MOST_BLANKS
    assert plan.hopeless
    (problem,) = plan.problems
    assert f"find out cut {plan.helps[0].cut} first" in problem
    assert not plan_ladders(HERON, parse_bitting(HERON, "2 1 3 ? ? 2 1 3")).hopeless


def test_a_groove_cannot_be_moved_by_cutting_deeper():
    known = Bitting(((None,) * len(SNIPE.positions_mm),))
    with pytest.raises(LadderError):
        plan_ladders(SNIPE, known)


@pytest.mark.parametrize("weight", [0.0, -1.0, float("inf"), float("nan")])
def test_a_weight_that_is_none(weight):
    known = parse_bitting(FREE, "? 1 1 1 1 1 1 1")
    with pytest.raises(LadderError):
        plan_ladders(FREE, known, {parse_bitting(FREE, "1 1 1 1 1 1 1 1"): weight})


def test_the_plan_s_own_bittings_agree_with_what_is_known():
    known = parse_bitting(HERON, "2 1 ? 3 ? 2 1 3")
    plan = plan_ladders(HERON, known)
    assert plan.ladders
    for ladder in plan.ladders:
        cuts = parse_bitting(HERON, ladder[0]).edges[0]
        assert all(k is None or k == c for k, c in zip(known.edges[0], cuts, strict=True))
