"""Absorbing Markov chains: how often a state is visited, where the walk ends, and after what time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Absorption:
    """What follows from the moves of an absorbing chain with n transient and m absorbing states.

    Attributes
    ----------
    visits
        Shape (n, n): expected visits to state j of a walk that starts in i, the fundamental matrix.
    ends
        Shape (n, m): chance to end in absorbing state j from i.
    time, variance
        Shape (n,): mean and variance of the time until the end from each state, in the units of the stays
        given.
    """

    visits: FloatArray
    ends: FloatArray
    time: FloatArray
    variance: FloatArray


def absorb(
    moves: FloatArray,
    leaving: FloatArray,
    stay_mean: FloatArray | None = None,
    stay_variance: FloatArray | None = None,
) -> Absorption:
    """Return visits, ends and times of an absorbing chain.

    Parameters
    ----------
    moves
        Shape (n, n): chance of a move from transient state i to transient state j.
    leaving
        Shape (n, m): chance of a move from i to absorbing state j; rows of both together sum to 1.
    stay_mean, stay_variance
        Shape (n,): mean and variance of the stay at each visit, independent of everything else; 1 and 0 when
        left out, so that times are counted in moves.

    Raises
    ------
    numpy.linalg.LinAlgError
        Some state never comes to an end.

    Notes
    -----
    Kemeny & Snell, Finite Markov Chains (1960), chapter III: N = (I - Q)^-1, B = N R, t = N m. The second
    moment of the time solves (I - Q) s = v + m^2 + 2 m Q t with elementwise products, by conditioning on the
    first move: the stay and what follows it are independent.

    Examples
    --------
    >>> result = absorb(np.array([[0.5]]), np.array([[0.5]]))
    >>> result.visits.tolist(), result.time.tolist(), result.variance.tolist()
    ([[2.0]], [2.0], [2.0])
    """
    count = len(moves)
    mean = np.ones(count) if stay_mean is None else stay_mean
    variance = np.zeros(count) if stay_variance is None else stay_variance
    visits: FloatArray = np.asarray(np.linalg.inv(np.eye(count) - moves), dtype=np.float64)
    time = visits @ mean
    square = visits @ (variance + mean**2 + 2.0 * mean * (moves @ time))
    spread: FloatArray = np.maximum(square - time**2, 0.0)
    return Absorption(visits, visits @ leaving, time, spread)
