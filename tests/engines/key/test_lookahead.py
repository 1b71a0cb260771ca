"""Two questions ahead against every policy written out, and against the bounds that pruning promises."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key.errors import DecisionError
from bittern.engines.key.index import Floats
from bittern.engines.key.lookahead import Orders, Pair, Worth, keep_states, plan_two
from tests.engines.key.acts import value_of_certainty, value_of_sample


@dataclass(frozen=True)
class Problem:
    """``joint`` is the chance of all questions' answers in each state, shape (answers..., states)."""

    chance: Floats
    joint: Floats
    costs: tuple[float, ...]
    stakes: Orders

    @property
    def questions(self) -> int:
        return self.joint.ndim - 1

    def single(self, i: int) -> Floats:
        others = tuple(axis for axis in range(self.questions) if axis != i)
        return np.asarray(self.joint.sum(axis=others))

    def pair(self, i: int, j: int) -> Floats:
        assert i < j
        others = tuple(axis for axis in range(self.questions) if axis not in (i, j))
        return np.asarray(self.joint.sum(axis=others))

    def solve(self, tolerance: float = 0.0) -> list[Worth]:
        singles = [self.single(i) for i in range(self.questions)]
        return plan_two(self.chance, singles, self.costs, self.pair, self.stakes, tolerance)

    def utility(self) -> Floats:
        """Return the table of utilities that the two reductions stand for."""
        articles = len(self.chance) - 2
        table = np.full((articles + 1, articles + 2), -self.stakes.wrong)
        table[np.arange(articles), np.arange(articles)] = 0.0
        table[articles, :] = -self.stakes.needless
        table[articles, articles + 1] = 0.0
        return table


def draw_problem(
    seed: int, articles: int, answers: tuple[int, ...], *, dear: float = 1.0, sharp: float = 1.0
) -> Problem:
    draw = np.random.default_rng(seed)
    states = articles + 2
    joint = draw.dirichlet(np.full(int(np.prod(answers)), sharp), size=states).T.reshape(*answers, states)
    stakes = Orders(float(draw.uniform(20, 120)), float(draw.uniform(20, 120)))
    costs = tuple(float(cost) for cost in dear * draw.uniform(0.0, 8.0, size=len(answers)))
    return Problem(draw.dirichlet(np.ones(states)), joint, costs, stakes)


problems = st.builds(
    draw_problem,
    st.integers(0, 10**6),
    st.integers(1, 2),
    st.lists(st.integers(1, 2), min_size=1, max_size=3).map(tuple),
    dear=st.sampled_from([0.0, 0.3, 1.0, 3.0]),
    sharp=st.sampled_from([0.1, 1.0]),
)


def every_policy(problem: Problem, first: int) -> Iterator[tuple[tuple[int, int, tuple[int, ...]], ...]]:
    """Yield each policy that begins with ``first``: for each answer (act, next question, acts after it)."""
    acts = range(len(problem.chance) - 1)
    branches: list[tuple[int, int, tuple[int, ...]]] = [(act, -1, ()) for act in acts]
    for then in (q for q in range(problem.questions) if q != first):
        answers = problem.joint.shape[then]
        branches += [(-1, then, after) for after in itertools.product(acts, repeat=answers)]
    yield from itertools.product(branches, repeat=problem.joint.shape[first])


def value_of_policy(
    problem: Problem, first: int, policy: tuple[tuple[int, int, tuple[int, ...]], ...]
) -> float:
    """Return the expected utility of a policy, state by state and answer by answer."""
    utility, value = problem.utility(), 0.0
    for place in itertools.product(*(range(n) for n in problem.joint.shape)):
        *answers, state = place
        act, then, after = policy[answers[first]]
        p = problem.chance[state] * problem.joint[place]
        if then < 0:
            value += p * utility[act, state]
        else:
            value += p * (utility[after[answers[then]], state] - problem.costs[then])
    return float(value)


@settings(deadline=None, max_examples=60)
@given(problems)
def test_the_best_of_all_policies_written_out_is_found(problem: Problem) -> None:
    now = float((problem.utility() @ problem.chance).max())
    certainty = value_of_certainty(problem.utility(), problem.chance)
    for first, worth in enumerate(problem.solve()):
        best = max(value_of_policy(problem, first, policy) for policy in every_policy(problem, first)) - now
        if certainty > min(problem.costs):
            assert worth.plan == pytest.approx(best, abs=1e-9)
        else:
            # Not looked at any further: nothing can pay.
            assert worth.plan <= best + 1e-9 and best <= certainty + 1e-9


@settings(deadline=None, max_examples=200)
@given(problems)
def test_two_steps_are_worth_at_least_one_and_at_most_certainty(problem: Problem) -> None:
    certainty = value_of_certainty(problem.utility(), problem.chance)
    for i, worth in enumerate(problem.solve()):
        alone = value_of_sample(problem.utility(), problem.chance, problem.single(i))
        assert worth.alone == pytest.approx(alone, abs=1e-9)
        assert 0.0 <= worth.alone <= worth.plan <= certainty + 1e-9
        assert 0.0 <= worth.adds <= worth.plan


@settings(deadline=None, max_examples=100)
@given(problems, st.floats(0.0, 5.0))
def test_pruned_answers_cost_no_more_than_the_tolerance(problem: Problem, tolerance: float) -> None:
    for exact, pruned in zip(problem.solve(), problem.solve(tolerance), strict=True):
        assert pruned.alone == exact.alone
        assert exact.plan - tolerance - 1e-9 <= pruned.plan <= exact.plan + 1e-9


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 10**6), st.floats(0.01, 20.0))
def test_pooled_articles_cost_no_more_than_the_tolerance(seed: int, tolerance: float) -> None:
    whole = draw_problem(seed, 7, (3, 3), dear=0.2, sharp=0.3)
    order = [*np.argsort(-whole.chance[:-2]), 7, 8]
    whole = Problem(whole.chance[order], whole.joint[..., order], whole.costs, whole.stakes)
    kept = keep_states(whole.chance[:-2], whole.stakes, 40, tolerance)
    chance = np.array([*whole.chance[:kept], whole.chance[kept:-1].sum(), whole.chance[-1]])
    mixed = (whole.joint * whole.chance)[..., kept:-1].sum(axis=-1, keepdims=True) / chance[kept]
    joint = np.concatenate([whole.joint[..., :kept], mixed, whole.joint[..., -1:]], axis=-1)
    pooled = Problem(chance, joint, whole.costs, whole.stakes)
    looked = value_of_certainty(pooled.utility(), pooled.chance) > min(pooled.costs)
    for exact, less in zip(whole.solve(), pooled.solve(), strict=True):
        assert exact.alone - tolerance - 1e-9 <= less.alone <= exact.alone + 1e-9
        assert less.plan <= exact.plan + 1e-9
        assert not looked or exact.plan - tolerance - 1e-9 <= less.plan


def test_articles_are_kept_until_what_is_left_is_too_small_to_matter() -> None:
    stakes = Orders(100.0, 60.0)
    chance = np.array([0.6, 0.3, 0.0006, 0.0004])
    assert keep_states(chance, stakes, 40, tolerance=0.05) == 3
    assert keep_states(chance, stakes, 40, tolerance=0.11) == 2
    assert keep_states(chance, stakes, 2, tolerance=0.0) == 2
    assert keep_states(np.zeros(3), stakes, 40) == 1
    assert keep_states(np.zeros(0), stakes, 40) == 0


def only_together(noise: float = 0.0) -> Problem:
    """Two answers, each by itself a coin whatever the state, that name one of two articles together."""
    same = np.array([[0.5 - noise, noise], [noise, 0.5 - noise]])
    joint = np.stack([same, same[::-1], np.full((2, 2), 0.25), np.full((2, 2), 0.25)], axis=-1)
    return Problem(np.array([0.5, 0.5, 0.0, 0.0]), joint, (3.0, 4.0), Orders(110.0, 60.0))


def test_questions_that_help_only_together_are_found_two_steps_ahead() -> None:
    # Not knowing costs 55, both answers end that; after the first the second still costs its 4 (or 3).
    first, second = only_together().solve()
    assert (first.alone, second.alone) == (0.0, 0.0)
    assert first.plan == pytest.approx(55.0 - 4.0)
    assert second.plan == pytest.approx(55.0 - 3.0)
    assert first.saving(3.0) == pytest.approx(51.0)


def test_a_question_without_power_is_worth_nothing_of_its_own() -> None:
    # Its plan lives on the question behind it, whose cost of 5 is deducted; its own answer adds nothing.
    chance = np.array([0.5, 0.5, 0.0, 0.0])
    blind = np.full((2, 4), 0.5)
    sharp = np.array([[1.0, 0.0, 0.5, 0.5], [0.0, 1.0, 0.5, 0.5]])
    joint = blind[:, None, :] * sharp[None, :, :]
    first, second = Problem(chance, joint, (1.0, 5.0), Orders(110.0, 60.0)).solve()
    assert first.plan == pytest.approx(50.0) and first.adds == pytest.approx(0.0)
    assert first.saving(1.0) == pytest.approx(0.0)
    assert second.saving(5.0) == pytest.approx(55.0)


def test_answers_are_skipped_up_to_the_tolerance_and_no_further() -> None:
    # Ten answers without power, after each of which the second question gains 5: 11 allows for two of them.
    chance = np.array([0.5, 0.5, 0.0, 0.0])
    blind = np.full((10, 4), 0.1)
    sharp = np.array([[1.0, 0.0, 0.5, 0.5], [0.0, 1.0, 0.5, 0.5]])
    problem = Problem(chance, blind[:, None, :] * sharp[None, :, :], (1.0, 5.0), Orders(110.0, 60.0))
    assert problem.solve(0.0)[0].plan == pytest.approx(50.0)
    assert problem.solve(11.0)[0].plan == pytest.approx(40.0)


@settings(deadline=None, max_examples=200)
@given(problems)
def test_a_question_pays_when_and_only_when_some_plan_pays(problem: Problem) -> None:
    worths = problem.solve()
    plans = [worth.plan - cost for worth, cost in zip(worths, problem.costs, strict=True)]
    nets = [worth.saving(cost) - cost for worth, cost in zip(worths, problem.costs, strict=True)]
    # Within rounding: a plan that gains 1e-13 may be none.
    assert max(*nets, 0.0) == pytest.approx(max(*plans, 0.0), abs=1e-9)


def test_nothing_is_looked_at_where_certainty_is_worth_less_than_any_question() -> None:
    problem = draw_problem(3, 3, (4, 4), dear=100.0)
    problem = Problem(problem.chance, problem.joint, (500.0, 600.0), problem.stakes)

    def refuse(i: int, j: int) -> Floats:
        raise AssertionError(f"asked for {i}, {j}")

    singles = [problem.single(0), problem.single(1)]
    worths = plan_two(problem.chance, singles, problem.costs, refuse, problem.stakes)
    assert [one.plan for one in worths] == [one.alone for one in worths]


def test_a_pair_that_cannot_better_anything_is_not_laid_out() -> None:
    # The first question names the state: nothing is left to gain after it, nor by it after the dear third.
    chance = np.array([0.4, 0.4, 0.0, 0.2])
    names = np.eye(4)
    blind = np.full((2, 4), 0.5)
    tables = [names, blind, blind]
    asked: list[tuple[int, int]] = []

    def pair(i: int, j: int) -> Floats:
        asked.append((i, j))
        return np.asarray(tables[i][:, None, :] * tables[j][None, :, :])

    plan_two(chance, tables, (1.0, 100.0, 100.0), pair, Orders(110.0, 60.0), 0.0)
    assert asked == [(0, 1), (0, 2)]


def test_the_two_reductions_are_the_table_of_utilities() -> None:
    problem = draw_problem(11, 5, (3,))
    joint = problem.single(0) * problem.chance
    by_table = (problem.utility() @ joint.T).max(axis=0)
    assert problem.stakes.stop(joint) == pytest.approx(by_table)
    best = problem.utility().max(axis=0)
    assert problem.stakes.certain(joint) == pytest.approx(joint @ best)


def test_no_questions_and_one_question_are_cases_too() -> None:
    problem = draw_problem(5, 2, (3,))
    alone = value_of_sample(problem.utility(), problem.chance, problem.single(0))
    assert problem.solve()[0].plan == pytest.approx(alone)
    assert plan_two(problem.chance, [], (), problem.pair, problem.stakes) == []


def bad_pair(i: int, j: int) -> Floats:
    return np.ones((1, 1, 1))


@pytest.mark.parametrize(
    ("chance", "singles", "costs"),
    [
        (np.array([0.5, 0.6, 0.1]), [], ()),
        (np.array([1.0]), [], ()),
        (np.array([0.5, 0.3, 0.2]), [np.ones((1, 3))], ()),
        (np.array([0.5, 0.3, 0.2]), [np.ones((1, 2))], (1.0,)),
        (np.array([0.5, 0.3, 0.2]), [np.full((3, 3), 0.5)], (1.0,)),
        (np.array([0.5, 0.3, 0.2]), [np.ones((1, 3)), np.ones((1, 3))], (0.0, 0.0)),
    ],
)
def test_tables_that_do_not_fit_are_refused(
    chance: Floats, singles: list[Floats], costs: tuple[float, ...], pair: Pair = bad_pair
) -> None:
    with pytest.raises(DecisionError):
        plan_two(chance, singles, costs, pair, Orders(110.0, 60.0), 0.0)
