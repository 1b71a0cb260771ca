"""Published worked examples of decision analysis, through the functions that choose questions.

Each stands beside its source. What was read there is said; what is from memory was worked out again.
"""

from __future__ import annotations

import numpy as np
import pytest

from bittern.engines.key.index import Floats
from bittern.engines.key.lookahead import Worth, plan_two
from tests.engines.key.acts import Utilities, best_expected, value_of_certainty, value_of_sample

# Raiffa 1968, pp. 34-36 (table read at docsbay.net): joint chances, rows dry, wet, soaking; columns the
# test's no structure, open, closed. Drilling costs 70 and pays 0, 120, 270 (thousands); the test costs 10.
WILDCATTER = np.array([[0.30, 0.15, 0.05], [0.09, 0.12, 0.09], [0.02, 0.08, 0.10]])
DRILL = np.array([[-70.0, 50.0, 200.0], [0.0, 0.0, 0.0]])


def test_wildcatter_without_test_drills_for_20() -> None:
    action, value = best_expected(DRILL, WILDCATTER.sum(axis=1))
    assert action == 0
    assert value == pytest.approx(20.0)


def test_wildcatter_perfect_information_is_worth_35() -> None:
    assert value_of_certainty(DRILL, WILDCATTER.sum(axis=1)) == pytest.approx(35.0)


def test_wildcatter_drills_after_open_or_closed_structure_only() -> None:
    after = [best_expected(DRILL, column / column.sum()) for column in WILDCATTER.T]
    drilling = [float(DRILL[0] @ column / column.sum()) for column in WILDCATTER.T]
    assert [action for action, _ in after] == [1, 0, 0]
    assert drilling == pytest.approx([-30.49, 32.86, 87.5], abs=0.005)


def test_wildcatter_test_is_worth_12_5_and_2_5_after_its_cost() -> None:
    chance = WILDCATTER.sum(axis=1)
    likelihood = (WILDCATTER / chance[:, None]).T
    assert value_of_sample(DRILL, chance, likelihood) == pytest.approx(12.5)
    assert value_of_sample(DRILL, chance, likelihood) - 10.0 == pytest.approx(2.5)


def oil_well() -> tuple[Floats, Floats]:
    # SAS/OR documentation, procedure DTREE (outputs read; inputs from memory, recomputed): oil pays 0, 700,
    # 1200 by .5, .3, .2; the well costs 150, 300, 500 by .2, .6, .2 (thousands). A state is a pair of both.
    oil, cost = np.array([0.0, 700.0, 1200.0]), np.array([150.0, 300.0, 500.0])
    chance = np.outer([0.5, 0.3, 0.2], [0.2, 0.6, 0.2]).ravel()
    drill = (oil[:, None] - cost[None, :]).ravel()
    return np.array([drill, np.zeros(9)]), chance


@pytest.mark.parametrize(("known", "value"), [("oil", 295.0), ("cost", 150.0)])
def test_knowing_the_oil_or_the_cost_of_a_well(known: str, value: float) -> None:
    utility, chance = oil_well()
    place = np.arange(9)
    part = place // 3 if known == "oil" else place % 3
    likelihood = (part[None, :] == np.arange(3)[:, None]).astype(float)
    assert best_expected(utility, chance)[1] == pytest.approx(140.0)
    assert 140.0 + value_of_sample(utility, chance, likelihood) == pytest.approx(value)


def test_prototype_of_the_survey_before_drilling() -> None:
    # Hillier & Lieberman, Introduction to Operations Research, chapter on decision analysis (posteriors 1/7
    # and .5 printed at docstoc 17813422; the survey's value of 53 from memory, recomputed).
    utility = np.array([[700.0, -100.0], [90.0, 90.0]])
    chance = np.array([0.25, 0.75])
    likelihood = np.array([[0.4, 0.8], [0.6, 0.2]])
    action, value = best_expected(utility, chance)
    assert action == 0
    assert value == pytest.approx(100.0)
    assert value_of_certainty(utility, chance) == pytest.approx(142.5)
    joint = likelihood * chance
    assert (joint[:, 0] / joint.sum(axis=1)).tolist() == pytest.approx([1 / 7, 0.5])
    assert value_of_sample(utility, chance, likelihood) == pytest.approx(53.0)


def plan_all(utility: Floats, chance: Floats, tables: list[Floats], costs: list[float]) -> list[Worth]:
    """Return the worth of questions whose answers are independent in each state."""

    def pair(i: int, j: int) -> Floats:
        return np.asarray(tables[i][:, None, :] * tables[j][None, :, :])

    return plan_two(chance, tables, costs, pair, Utilities(utility), 0.0)


def test_wildcatter_by_the_plan_of_questions() -> None:
    # Raiffa's test as the only question: worth 12.5, and 2.5 more than its cost of 10.
    chance = WILDCATTER.sum(axis=1)
    (test,) = plan_all(DRILL, chance, [(WILDCATTER / chance[:, None]).T], [10.0])
    assert (test.alone, test.plan, test.adds) == pytest.approx((12.5, 12.5, 12.5))
    assert test.saving(10.0) - 10.0 == pytest.approx(2.5)


def test_wildcatter_with_the_truth_for_sale_after_the_test() -> None:
    # The same table with a second question that names the oil, at 15 (ours; worked by hand). After no
    # structure: .41 with .09 and .02 of wet and soaking: drilling then gains .09 x 50 + .02 x 200 = 8.5 and
    # costs .41 x 15 = 6.15, so it is asked. Open: knowing saves .15 x 70 = 10.5 for .35 x 15 = 5.25, asked.
    # Closed: .05 x 70 = 3.5 for .24 x 15 = 3.6, not asked. In all 2.35 + (11.5 + 5.25) + 21 = 40.1, less 20.
    chance = WILDCATTER.sum(axis=1)
    test, truth = plan_all(DRILL, chance, [(WILDCATTER / chance[:, None]).T, np.eye(3)], [10.0, 15.0])
    assert test.plan == pytest.approx(20.1)
    assert (truth.alone, truth.plan) == pytest.approx((35.0, 35.0))


def test_knowing_the_oil_the_cost_or_both_of_a_well() -> None:
    # Inputs and outputs as above. Both, the second one free: (700 - cost) and (1200 - cost) are always
    # positive, so what is known of the cost adds nothing once the oil is known, and the oil adds all of 155
    # after the cost.
    utility, chance = oil_well()
    place = np.arange(9)
    tables = [(part[None, :] == np.arange(3)[:, None]).astype(float) for part in (place // 3, place % 3)]
    oil, cost = plan_all(utility, chance, tables, [0.0, 0.0])
    assert (oil.alone, cost.alone) == pytest.approx((155.0, 10.0))
    assert (oil.plan, cost.plan) == pytest.approx((155.0, 155.0))
    assert cost.adds == pytest.approx(0.0)


def test_the_survey_of_the_prototype_example_pays_as_a_plan() -> None:
    # Hillier & Lieberman as above: the survey costs 30 and is worth 53 (from memory, recomputed).
    utility = np.array([[700.0, -100.0], [90.0, 90.0]])
    likelihood = np.array([[0.4, 0.8], [0.6, 0.2]])
    (survey,) = plan_all(utility, np.array([0.25, 0.75]), [likelihood], [30.0])
    assert survey.plan == pytest.approx(53.0)
    assert survey.saving(30.0) - 30.0 == pytest.approx(23.0)
