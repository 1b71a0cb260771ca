"""Ladders exchanged for fewer cuttings: against every plan of as many blanks, where all can be tried."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.blade import exchange as subject
from bittern.engines.blade.chains import cover_by_chains
from bittern.engines.blade.exchange import order_ladders, shorten_ladders


def count_cuttings(chains, chance) -> float:
    """Return the mean number of cuttings, worked down the list as a person does."""
    made, total = 0, 0.0
    for chain in chains:
        for i in chain:
            made += 1
            total += made * chance[i]
    return total


def try_every_plan(rows, chance, blanks) -> float:
    """Return the least mean over all plans of so many ladders."""
    order = sorted(range(len(rows)), key=lambda i: rows[i].sum())
    chains: list[list[int]] = []
    best = float("inf")

    def place(number: int) -> None:
        nonlocal best
        if number == len(order):
            if len(chains) == blanks:
                best = min(best, count_cuttings(order_ladders([tuple(c) for c in chains], chance), chance))
            return
        i = order[number]
        for chain in chains:
            if (rows[chain[-1]] <= rows[i]).all():
                chain.append(i)
                place(number + 1)
                chain.pop()
        if len(chains) < blanks:
            chains.append([i])
            place(number + 1)
            chains.pop()

    place(0)
    return best


def draw_case(draw, most):
    """Return points of a grid of three cuts, and chances far from equal."""
    every = np.array(list(product(range(4), repeat=3)), dtype=np.int8)
    count = int(draw.integers(3, most + 1))
    rows = every[np.sort(draw.choice(len(every), count, replace=False))]
    chance = draw.dirichlet(np.full(count, 0.5)) + 1e-9
    return rows, chance / chance.sum()


def test_the_order_is_the_best_of_the_same_ladders():
    chance = np.array([0.1, 0.2, 0.3, 0.4])
    assert order_ladders([(0, 1), (2,), (3,)], chance) == [(3,), (2,), (0, 1)]


def test_hardly_any_small_plan_has_a_better_one():
    draw = np.random.default_rng(1956)
    gaps = []
    for _ in range(150):
        rows, chance = draw_case(draw, 8)
        cover = cover_by_chains(rows)
        plan = shorten_ladders(rows, chance, cover.chains)
        least = try_every_plan(rows, chance, len(cover.chains))
        gaps.append(count_cuttings(plan, chance) / least - 1)
    assert min(gaps) > -1e-9
    assert np.mean(np.array(gaps) < 1e-9) >= 0.98
    assert max(gaps) < 0.1


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_it_stays_a_cover_by_as_many_ladders_and_never_costs_more(seed):
    rows, chance = draw_case(np.random.default_rng(seed), 24)
    before = cover_by_chains(rows).chains
    plan = shorten_ladders(rows, chance, before)
    assert len(plan) == len(before)
    assert sorted(i for chain in plan for i in chain) == list(range(len(rows)))
    for chain in plan:
        assert chain
        assert all((rows[a] <= rows[b]).all() for a, b in pairwise(chain))
    ordered = count_cuttings(order_ladders(before, chance), chance)
    assert count_cuttings(plan, chance) <= ordered + 1e-9
    # The cost that exchanges are judged by is the one a person pays.
    assert subject._cost(plan, chance.tolist()) == pytest.approx(count_cuttings(plan, chance))


def test_the_same_question_has_the_same_answer():
    rows, chance = draw_case(np.random.default_rng(3), 24)
    chains = cover_by_chains(rows).chains
    assert shorten_ladders(rows, chance, chains) == shorten_ladders(rows, chance, chains)


def test_equal_chances_leave_the_ladders_as_they_are():
    rows, _ = draw_case(np.random.default_rng(5), 24)
    chance = np.full(len(rows), 1 / len(rows))
    chains = cover_by_chains(rows).chains
    assert sorted(shorten_ladders(rows, chance, chains)) == sorted(chains)


def test_the_effort_is_bounded(monkeypatch):
    monkeypatch.setattr(subject, "_MOST_TRIED", 5)
    rows, chance = draw_case(np.random.default_rng(7), 24)
    chains = cover_by_chains(rows).chains
    assert sorted(i for chain in shorten_ladders(rows, chance, chains) for i in chain) == list(
        range(len(rows))
    )
