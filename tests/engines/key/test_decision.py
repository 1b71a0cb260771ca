"""Worked examples of decision analysis, through the functions that choose questions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key.decision import (
    Costs,
    best_expected,
    chance_of_passing,
    value_of_certainty,
    value_of_sample,
)
from bittern.engines.key.errors import DecisionError
from bittern.engines.key.index import Floats

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
    assert best_expected(utility, chance) == (0, pytest.approx(100.0))
    assert value_of_certainty(utility, chance) == pytest.approx(142.5)
    joint = likelihood * chance
    assert (joint[:, 0] / joint.sum(axis=1)).tolist() == pytest.approx([1 / 7, 0.5])
    assert value_of_sample(utility, chance, likelihood) == pytest.approx(53.0)


@st.composite
def problems(draw: st.DrawFn) -> tuple[Floats, Floats, Floats]:
    actions, states, answers = (draw(st.integers(1, 4)) for _ in range(3))
    numbers = st.floats(0.01, 1.0)

    def columns(rows: int, count: int) -> Floats:
        table = np.array(draw(st.lists(numbers, min_size=rows * count, max_size=rows * count)))
        table = table.reshape(rows, count)
        return table / table.sum(axis=0)

    payoffs = st.lists(st.floats(-100, 100), min_size=actions * states, max_size=actions * states)
    return (
        np.array(draw(payoffs)).reshape(actions, states),
        columns(states, 1).ravel(),
        columns(answers, states),
    )


@settings(deadline=None)
@given(problems())
def test_an_answer_is_worth_something_between_nothing_and_certainty(
    problem: tuple[Floats, Floats, Floats],
) -> None:
    utility, chance, likelihood = problem
    value = value_of_sample(utility, chance, likelihood)
    assert 0.0 <= value <= value_of_certainty(utility, chance) + 1e-9


@settings(deadline=None)
@given(problems())
def test_an_answer_that_is_always_the_same_is_worth_nothing(problem: tuple[Floats, Floats, Floats]) -> None:
    utility, chance, likelihood = problem
    blind = np.repeat(likelihood[:, :1], len(chance), axis=1)
    assert value_of_sample(utility, chance, blind) == pytest.approx(0.0, abs=1e-9)


def test_an_answer_that_names_the_state_is_worth_certainty() -> None:
    chance = np.array([0.2, 0.5, 0.3])
    utility = np.array([[0.0, -9.0, -9.0], [-9.0, 0.0, -9.0], [-5.0, -5.0, 0.0]])
    assert value_of_sample(utility, chance, np.eye(3)) == pytest.approx(value_of_certainty(utility, chance))


@pytest.mark.parametrize(
    ("chance", "likelihood"),
    [
        (np.array([0.5, 0.6]), np.eye(2)),
        (np.array([0.5, 0.5]), np.array([[0.5, 0.5], [0.4, 0.5]])),
        (np.array([0.5, 0.5]), np.eye(3)),
        (np.array([0.5, 0.5]), np.array([[1.5, 0.5], [-0.5, 0.5]])),
    ],
)
def test_tables_that_do_not_fit_are_refused(chance: Floats, likelihood: Floats) -> None:
    with pytest.raises(DecisionError):
        value_of_sample(np.eye(2), chance, likelihood)


def test_chance_of_passing_counts_the_answers_that_lift_a_state_over_the_bar() -> None:
    chance = np.array([0.5, 0.5])
    likelihood = np.array([[0.9, 0.05], [0.1, 0.95]])
    # Posteriors: .45/.475 = .947 for the first answer, .475/.525 = .905 for the second.
    assert chance_of_passing(chance, likelihood, np.ones(2), 0.9) == pytest.approx(1.0)
    assert chance_of_passing(chance, likelihood, np.ones(2), 0.93) == pytest.approx(0.475)
    assert chance_of_passing(chance, likelihood, np.array([0.0, 1.0]), 0.9) == pytest.approx(0.525)


def test_a_wrong_order_costs_return_delay_and_second_visit() -> None:
    assert Costs(wrong_order=1.0, delay=2.0, second_visit=4.0).wrong == pytest.approx(7.0)
    assert Costs(per_minute=2.0, minutes={"chip": 3.0}).of_question("chip") == pytest.approx(6.0)


@pytest.mark.parametrize(
    "costs", [{"delay": -1.0}, {"per_minute": float("nan")}, {"minutes": {"smell": 1.0}}]
)
def test_costs_that_make_no_sense_are_refused(costs: dict[str, object]) -> None:
    with pytest.raises(DecisionError):
        Costs(**costs)  # type: ignore[arg-type]
