"""The value of one answer, and what mistakes cost: see also the worked examples and two questions ahead."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key.decision import Costs, chance_of_passing
from bittern.engines.key.errors import DecisionError
from bittern.engines.key.index import Floats
from bittern.engines.key.lookahead import plan_two
from tests.engines.key.acts import Utilities, value_of_certainty


@st.composite
def problems(draw: st.DrawFn) -> tuple[Floats, Floats, Floats]:
    actions, states, answers = (draw(st.integers(least, 4)) for least in (1, 2, 1))
    numbers = st.floats(0.01, 1.0)

    def columns(rows: int, count: int) -> Floats:
        table = np.array(draw(st.lists(numbers, min_size=rows * count, max_size=rows * count)))
        table = table.reshape(rows, count)
        return np.asarray(table / table.sum(axis=0))

    payoffs = st.lists(st.floats(-100, 100), min_size=actions * states, max_size=actions * states)
    return (
        np.array(draw(payoffs)).reshape(actions, states),
        columns(states, 1).ravel(),
        columns(answers, states),
    )


def value_of_answer(utility: Floats, chance: Floats, likelihood: Floats) -> float:
    """Return what the only question is worth."""

    def no_pair(i: int, j: int) -> Floats:
        raise AssertionError(f"asked for {i}, {j}")

    (worth,) = plan_two(chance, [likelihood], [0.0], no_pair, Utilities(utility), 0.0)
    assert worth.plan == worth.alone
    return worth.alone


@settings(deadline=None)
@given(problems())
def test_an_answer_is_worth_something_between_nothing_and_certainty(
    problem: tuple[Floats, Floats, Floats],
) -> None:
    utility, chance, likelihood = problem
    value = value_of_answer(utility, chance, likelihood)
    assert 0.0 <= value <= value_of_certainty(utility, chance) + 1e-9


@settings(deadline=None)
@given(problems())
def test_an_answer_that_is_always_the_same_is_worth_nothing(problem: tuple[Floats, Floats, Floats]) -> None:
    utility, chance, likelihood = problem
    blind = np.repeat(likelihood[:, :1], len(chance), axis=1)
    assert value_of_answer(utility, chance, blind) == pytest.approx(0.0, abs=1e-9)


def test_an_answer_that_names_the_state_is_worth_certainty() -> None:
    chance = np.array([0.2, 0.5, 0.3])
    utility = np.array([[0.0, -9.0, -9.0], [-9.0, 0.0, -9.0], [-5.0, -5.0, 0.0]])
    assert value_of_answer(utility, chance, np.eye(3)) == pytest.approx(value_of_certainty(utility, chance))


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


def test_a_question_that_needs_the_key_here_costs_its_visit_too() -> None:
    costs = Costs(per_minute=2.0, minutes={"chip": 3.0, "start": 1.0}, visit={"chip": 40.0})
    assert costs.of_question("chip") == pytest.approx(46.0)
    assert costs.of_question("start") == pytest.approx(2.0)


@pytest.mark.parametrize(
    "costs",
    [
        {"delay": -1.0},
        {"per_minute": float("nan")},
        {"minutes": {"smell": 1.0}},
        {"visit": {"smell": 1.0}},
        {"visit": {"chip": -1.0}},
    ],
)
def test_costs_that_make_no_sense_are_refused(costs: dict[str, object]) -> None:
    with pytest.raises(DecisionError):
        Costs(**costs)  # type: ignore[arg-type]
