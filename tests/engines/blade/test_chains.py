"""The fewest chains: against matching on all comparisons, and on families whose width is published."""

from __future__ import annotations

from itertools import pairwise, product
from math import comb

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.blade import chains as subject
from bittern.engines.blade.chains import cover_by_chains

point_sets = st.integers(1, 4).flatmap(
    lambda dimensions: st.sets(st.tuples(*[st.integers(0, 3)] * dimensions), min_size=1, max_size=40).map(
        lambda found: np.array(sorted(found), dtype=np.int8)
    )
)


def is_below(a: np.ndarray, b: np.ndarray) -> bool:
    return bool((a <= b).all())


def match(points: np.ndarray) -> int:
    """Return the fewest chains by maximum matching (Fulkerson 1956) on every comparison, by networkx."""
    graph = nx.Graph()
    upper = [("from", i) for i in range(len(points))]
    graph.add_nodes_from(upper)
    graph.add_nodes_from(("to", i) for i in range(len(points)))
    graph.add_edges_from(
        (("from", i), ("to", j))
        for i, j in product(range(len(points)), repeat=2)
        if i != j and is_below(points[i], points[j])
    )
    return len(points) - len(nx.bipartite.hopcroft_karp_matching(graph, upper)) // 2


def check(points: np.ndarray) -> int:
    """Return the number of chains after checking that the cover is one and that its proof holds."""
    cover = cover_by_chains(points)
    assert cover is not None
    assert sorted(i for chain in cover.chains for i in chain) == list(range(len(points)))
    for chain in cover.chains:
        assert all(is_below(points[a], points[b]) for a, b in pairwise(chain))
    for a, b in product(cover.antichain, repeat=2):
        assert a == b or not is_below(points[a], points[b])
    # Dilworth 1950: as many of which no two can be compared, so no cover has fewer chains.
    assert len(cover.antichain) == len(cover.chains)
    return len(cover.chains)


@settings(max_examples=150, deadline=None)
@given(point_sets)
def test_it_is_the_optimum_that_matching_finds(points):
    assert check(points) == match(points)


@pytest.mark.parametrize(("size", "width"), [(2, 2), (3, 3), (4, 6), (5, 10)])
def test_subsets_ordered_by_inclusion(size, width):
    # Sperner's theorem; Applied Combinatorics, theorems 6.17 and 6.18: C(n, n/2 rounded down).
    assert comb(size, size // 2) == width
    assert check(np.array(list(product(range(2), repeat=size)), dtype=np.int8)) == width


@pytest.mark.parametrize(
    ("powers", "width"), [((2, 1), 2), ((1, 1, 1), 3), ((2, 2), 3), ((2, 1, 1), 4), ((1,) * 4, 6)]
)
def test_divisors_by_their_powers_of_primes(powers, width):
    # Divisors of 12, 30, 36, 60 and 210 ordered by divisibility; widths computed by Hopcroft-Karp.
    points = np.array(list(product(*(range(power + 1) for power in powers))), dtype=np.int8)
    assert check(points) == width == match(points)


def test_points_far_apart_are_joined_through_the_grid_between():
    assert check(np.array([[0, 0, 0], [3, 3, 3]], dtype=np.int8)) == 1
    assert check(np.array([[0, 3], [3, 0]], dtype=np.int8)) == 2


def test_a_thousand_points_of_six_cuts():
    draw = np.random.default_rng(4)
    every = np.array(list(product(range(4), repeat=6)), dtype=np.int8)
    assert check(every[np.sort(draw.choice(len(every), 1000, replace=False))]) > 100


def test_a_grid_that_is_too_large_is_said_not_tried(monkeypatch):
    monkeypatch.setattr(subject, "MOST_GRID", 15)
    assert cover_by_chains(np.array([[0, 0], [3, 3]], dtype=np.int8)) is None
    assert cover_by_chains(np.array([[0, 0], [4, 2]], dtype=np.int8)) is not None


def test_no_points_need_no_chain():
    cover = cover_by_chains(np.zeros((0, 3), dtype=np.int8))
    assert cover is not None
    assert (cover.chains, cover.antichain) == ((), ())
