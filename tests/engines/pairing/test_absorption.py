"""Absorbing chains against published worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from bittern.engines.pairing.absorption import absorb


def walk_home(right: float) -> tuple[np.ndarray, np.ndarray]:
    """Return moves and leaving of the drunkard's walk on four blocks: three corners between two ends."""
    left = 1 - right
    moves = np.array([[0, right, 0], [left, 0, right], [0, left, 0]])
    leaving = np.array([[left, 0], [0, 0], [0, right]])
    return moves, leaving


def test_the_even_walk_home_is_that_of_the_book() -> None:
    # Grinstead & Snell, Introduction to Probability, examples 11.13 to 11.15: N, t and B.
    result = absorb(*walk_home(1 / 2))
    assert_allclose(result.visits, [[3 / 2, 1, 1 / 2], [1, 2, 1], [1 / 2, 1, 3 / 2]], rtol=1e-14)
    assert_allclose(result.time, [3, 4, 3], rtol=1e-14)
    assert_allclose(result.ends, [[3 / 4, 1 / 4], [1 / 2, 1 / 2], [1 / 4, 3 / 4]], rtol=1e-14)
    # Variance of the number of steps: calculated from the same N by (2N - I) t - t^2.
    assert_allclose(result.variance, [8, 8, 8], rtol=1e-13)


def test_the_walk_that_leans_home_is_that_of_the_exercise() -> None:
    # Grinstead & Snell, exercise 11.2.8: two steps in three lead right.
    result = absorb(*walk_home(2 / 3))
    visits = [[7 / 5, 6 / 5, 4 / 5], [3 / 5, 9 / 5, 6 / 5], [1 / 5, 3 / 5, 7 / 5]]
    assert_allclose(result.visits, visits, rtol=1e-13)
    assert_allclose(result.time, [17 / 5, 18 / 5, 11 / 5], rtol=1e-13)
    assert_allclose(result.ends, [[7 / 15, 8 / 15], [1 / 5, 4 / 5], [1 / 15, 14 / 15]], rtol=1e-13)


def test_stays_add_their_spread_to_that_of_the_walk() -> None:
    # A geometric number K of stays with mean 3 and variance 2: E = 3 E[K], Var = 2 E[K] + 9 Var[K].
    result = absorb(np.array([[0.75]]), np.array([[0.25]]), np.array([3.0]), np.array([2.0]))
    assert_allclose(result.time, [12.0], rtol=1e-13)
    assert_allclose(result.variance, [2 * 4 + 9 * 12], rtol=1e-13)


def test_a_walk_without_an_end_is_refused() -> None:
    with pytest.raises(np.linalg.LinAlgError):
        absorb(np.array([[0.0, 1.0], [1.0, 0.0]]), np.zeros((2, 1)))
