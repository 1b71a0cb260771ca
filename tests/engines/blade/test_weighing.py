"""What a table and a reading leave: against every bitting weighed by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.blade.bitting import format_bitting, parse_bitting
from bittern.engines.blade.code_table import CodeTable
from bittern.engines.blade.errors import LadderError
from bittern.engines.blade.ladder import plan_ladders
from bittern.engines.blade.measurement import CutEstimate, Measurement
from bittern.engines.blade.weighing import MOST_LEFT_OUT, weigh_remaining
from tests.engines.blade.test_chains import match
from tests.engines.blade.test_remaining import known_cuts, try_all
from tests.strategies.blades import HERON

FREE = replace(HERON, macs=3, max_run=None, min_distinct=None)
NOTHING = parse_bitting(HERON, " ".join("?" * 8))


def read(standard, chances, best="", p_best=0.0, runners=(), p_none=0.0):
    """Return a reading with these chances of each cut, a mapping from label to chance each."""
    cuts = tuple(
        CutEstimate(str(i), max(of, key=of.get) if of else "?", max(of.values(), default=0), 7, 0.1, 0, of)
        for i, of in enumerate(chances, 1)
    )
    return Measurement(standard.id, best or "? " * 8, p_best, cuts, tuple(runners), True, (), p_none=p_none)


SURE = {"1": 0.0, "2": 1.0, "3": 0.0, "4": 0.0}
DOUBT = {"1": 0.0, "2": 0.7, "3": 0.3, "4": 0.0}


def test_neither_table_nor_reading_weighs_nothing():
    assert weigh_remaining(HERON, NOTHING) is None


def test_a_doubtful_cut_leaves_its_two_depths_in_proportion():
    reading = read(FREE, [SURE] * 7 + [DOUBT])
    found = weigh_remaining(FREE, NOTHING, reading=reading)
    assert {format_bitting(FREE, b): w for b, w in found.weights.items()} == {
        "2 2 2 2 2 2 2 2": pytest.approx(0.7, abs=1e-4),
        "2 2 2 2 2 2 2 3": pytest.approx(0.3, abs=1e-4),
    }
    assert found.covered == pytest.approx(1.0, abs=1e-4)


def test_the_joint_chances_that_a_reading_states_are_taken_as_they_stand():
    best, next_one = "2 2 2 2 2 2 3 3", "2 2 2 2 2 2 2 2"
    reading = read(
        FREE, [SURE] * 6 + [DOUBT] * 2, best, 0.6, [(next_one, 0.3, True), ("other: 1", 0.02, True)]
    )
    found = weigh_remaining(FREE, NOTHING, reading=reading)
    weights = {format_bitting(FREE, b): w for b, w in found.weights.items()}
    assert (weights[best], weights[next_one]) == (0.6, 0.3)
    # What is left over goes in equal parts to 2 3 and 3 2, whose products are equal.
    assert weights["2 2 2 2 2 2 2 3"] == pytest.approx(0.04, abs=1e-4)
    assert weights["2 2 2 2 2 2 3 2"] == pytest.approx(0.04, abs=1e-4)


def test_a_known_cut_is_certain_whatever_the_reading_says():
    reading = read(FREE, [SURE] * 8)
    found = weigh_remaining(FREE, parse_bitting(FREE, "4 ? ? ? ? ? ? ?"), reading=reading)
    assert [format_bitting(FREE, b) for b in found.weights] == ["4 2 2 2 2 2 2 2"]


@settings(max_examples=40, deadline=None)
@given(known_cuts(), st.randoms(use_true_random=False))
def test_the_likeliest_are_kept_and_no_more_than_said_is_left_out(case, draw):
    standard, known = case
    left = try_all(standard, known)
    count = sum(len(cuts) for cuts in known.edges)
    chances = []
    for _ in range(count):
        raw = [draw.random() ** 3 + 1e-3 for _ in standard.labels]
        chances.append({label: one / sum(raw) for label, one in zip(standard.labels, raw, strict=True)})
    reading = read(standard, chances, best="none of these")
    found = weigh_remaining(standard, known, reading=reading)
    products = {}
    for bitting in left:
        cuts = [cut for edge in bitting.edges for cut in edge]
        products[bitting] = np.prod([chances[i][standard.labels[cut]] for i, cut in enumerate(cuts)])
    total = sum(products.values())
    if not left:
        assert found.weights == {}
        return
    assert set(found.weights) <= set(left)
    kept = sum(products[bitting] for bitting in found.weights)
    assert found.covered == pytest.approx(kept / total, abs=1e-6)
    assert found.covered >= 1 - MOST_LEFT_OUT - 1e-3 * count
    # In proportion to the products; none left out is likelier than one that was kept, but for a depth whose
    # cut alone is below a thousandth.
    ratio = [weight / products[bitting] for bitting, weight in found.weights.items()]
    assert max(ratio) == pytest.approx(min(ratio), rel=1e-6)
    least = min(products[bitting] for bitting in found.weights)
    outside = [products[bitting] for bitting in left if bitting not in found.weights]
    assert max(outside, default=0.0) <= least + 1e-12 or max(outside) <= 1e-3 * total


@settings(max_examples=60, deadline=None)
@given(known_cuts(), st.data())
def test_ladders_of_a_table_are_the_optimum_with_its_proof(case, data):
    standard, known = case
    left = try_all(standard, known)
    if not left:
        return
    chosen = data.draw(st.lists(st.sampled_from(left), min_size=1, max_size=40, unique=True))
    weights = {bitting: data.draw(st.integers(1, 9)) / 3 for bitting in chosen}
    table = CodeTable(standard.id, weights, len(weights))
    weighing = weigh_remaining(standard, known, table=table)
    assert weighing.weights == weights
    plan = plan_ladders(standard, known, weighing.weights)
    rows = np.array([sum(bitting.edges, ()) for bitting in chosen], dtype=np.int8)
    assert plan.blanks == match(rows) == len(plan.proof) == len(plan.ladders)
    proof = [sum(parse_bitting(standard, text).edges, ()) for text in plan.proof]
    for i, a in enumerate(proof):
        for b in proof[i + 1 :]:
            assert any(x < y for x, y in zip(a, b, strict=True))
            assert any(x > y for x, y in zip(a, b, strict=True))


def test_a_table_and_a_reading_together_leave_what_both_allow():
    table = CodeTable(
        FREE.id,
        {
            parse_bitting(FREE, "2 2 2 2 2 2 2 2"): 1.0,
            parse_bitting(FREE, "2 2 2 2 2 2 2 3"): 3.0,
            parse_bitting(FREE, "4 4 4 4 4 4 4 4"): 9.0,
        },
        3,
    )
    found = weigh_remaining(FREE, NOTHING, table=table, reading=read(FREE, [SURE] * 7 + [DOUBT]))
    assert {format_bitting(FREE, b) for b in found.weights} == {"2 2 2 2 2 2 2 2", "2 2 2 2 2 2 2 3"}
    first, second = sorted(found.weights.values())
    assert second / first == pytest.approx(3 * 0.3 / 0.7)


def test_a_table_or_reading_of_another_standard_is_refused():
    with pytest.raises(LadderError):
        weigh_remaining(HERON, NOTHING, table=CodeTable("rail-10", {}, 0))


def test_the_cut_that_saves_most_blanks_comes_first():
    # Cuts 1 and 2 pull apart, cut 3 climbs with cut 1: knowing 1 or 2 ends it, knowing 3 does as much.
    texts = ("1 3 1", "2 2 1", "3 1 2", "3 1 3")
    weights = {parse_bitting(FREE, f"{text} 1 1 1 1 1"): 1.0 for text in texts}
    plan = plan_ladders(FREE, NOTHING, weights)
    by_cut = {one.cut: one for one in plan.helps}
    assert set(by_cut) == {"1", "2", "3"}
    assert plan.blanks == 3
    # By hand: cut 1 is 1, 2, 3 or 3, and each leaves one ladder; cut 3 is 1 for two that no blank joins.
    assert by_cut["1"].expected_blanks == pytest.approx(1.0)
    assert by_cut["3"].expected_blanks == pytest.approx((2 * 2 + 1 + 1) / 4)
    assert by_cut["1"].expected_remaining == pytest.approx((1 + 1 + 2 + 2) / 4)
    assert plan.helps[0].cut in ("1", "2")
