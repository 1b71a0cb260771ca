"""Hidden Markov chains in logarithms: best path, best paths, chances of every state.

All functions take many chains of one shape at once. A chain of ``n`` places with ``d`` states has scores of
states, shape (..., n, d), and of neighbouring pairs, shape (..., n - 1, d, d) with the earlier state first;
they need not be normalised, and ``-inf`` forbids.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Paths = NDArray[np.int8]


class Chances(NamedTuple):
    """Chance of each state at each place, shape (..., n, d), and the logarithm of the sum over all paths."""

    p_state: Floats
    log_total: Floats


def find_best_paths(states: Floats, pairs: Floats, count: int) -> tuple[Paths, Floats]:
    """Return the ``count`` best paths of each chain, best first, and their scores.

    Parameters
    ----------
    states, pairs
        Scores of shape (..., n, d) and (..., n - 1, d, d).
    count
        How many; where a chain has fewer paths, the rest score ``-inf``.

    Returns
    -------
    paths, scores
        Shape (..., count, n) and (..., count).

    Notes
    -----
    Viterbi's recursion with the ``count`` best arrivals kept at each state (list Viterbi): exact, because a
    part of one of the best paths is itself among the best up to its end.
    """
    lead, (n, d) = states.shape[:-2], states.shape[-2:]
    states = states.reshape(-1, n, d)
    chains = len(states)
    pairs = pairs.reshape(chains, n - 1, d, d)
    scores = np.full((chains, d, count), -np.inf)
    scores[:, :, 0] = states[:, 0]
    back = np.zeros((chains, n, d, count), dtype=np.int32)
    for place in range(1, n):
        # Arrivals at each state: (chain, now, before and rank).
        arrivals = pairs[:, place - 1].transpose(0, 2, 1)[:, :, :, None] + scores[:, None, :, :]
        arrivals = arrivals.reshape(chains, d, d * count)
        order = np.argsort(-arrivals, axis=2, kind="stable")[:, :, :count]
        scores = np.take_along_axis(arrivals, order, axis=2) + states[:, place, :, None]
        back[:, place] = order
    ends = scores.reshape(chains, d * count)
    order = np.argsort(-ends, axis=1, kind="stable")[:, :count]
    paths = np.zeros((chains, count, n), dtype=np.int8)
    at, rows = order, np.arange(chains)[:, None]
    for place in range(n - 1, -1, -1):
        state, rank = at // count, at % count
        paths[:, :, place] = state
        at = back[rows, place, state, rank]
    best = np.take_along_axis(ends, order, axis=1)
    return paths.reshape(*lead, count, n), best.reshape(*lead, count)


def find_chances(states: Floats, pairs: Floats) -> Chances:
    """Return the chance of each state at each place (forward and backward recursion).

    Parameters
    ----------
    states, pairs
        Logarithms of shape (..., n, d) and (..., n - 1, d, d).
    """
    n = states.shape[-2]
    forward, backward = np.array(states, dtype=np.float64), np.zeros_like(states)
    for place in range(1, n):
        forward[..., place, :] += add_logs(forward[..., place - 1, :, None] + pairs[..., place - 1, :, :], -2)
    for place in range(n - 2, -1, -1):
        after = backward[..., place + 1, :] + states[..., place + 1, :]
        backward[..., place, :] = add_logs(pairs[..., place, :, :] + after[..., None, :], -1)
    both = forward + backward
    log_total = add_logs(both[..., 0, :], -1)
    return Chances(np.exp(both - log_total[..., None, None]), log_total)


def add_logs(logs: Floats, axis: int) -> Floats:
    """Return the logarithm of a sum of numbers given by their logarithms, along an axis."""
    most = logs.max(axis=axis, keepdims=True)
    most = np.where(np.isfinite(most), most, 0.0)
    with np.errstate(divide="ignore"):
        total: Floats = np.log(np.exp(logs - most).sum(axis=axis)) + most.squeeze(axis)
    return total
