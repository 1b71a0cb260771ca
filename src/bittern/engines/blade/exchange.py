"""Ladders made better for the same number of blanks: parts exchanged so that fewer cuttings are expected.

Ladders are used in the best order: most chance a cutting first (W. E. Smith, "Various optimizers for
single-stage production", Naval Research Logistics Quarterly 3, 1956). With chance ``W`` and length ``L`` of
each, the mean number of cuttings is the sum of the means within the ladders and, for each two, the smaller of
``L1 * W2`` and ``L2 * W1``.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Chain = tuple[int, ...]

MOST_EXCHANGED = 300
"""Exchanges are tried on plans of up to so many bittings; above, only the order of the ladders is chosen."""
# Parts of up to so many cuttings are exchanged, beside whole ends: long ones hardly ever fit elsewhere.
_LONGEST_PART = 3
_MOST_WITH_PARTS = 80
# A plan is shaken so many times and improved again, to leave an optimum that is only local.
_SHAKES = 40
_SEED = 1956
# Exchanges weighed in all: some seconds.
_MOST_TRIED = 60_000


def shorten_ladders(rows: NDArray[np.int8], chance: Floats, chains: Sequence[Chain]) -> list[Chain]:
    """Return as many ladders over the same bittings, in the best order, with fewer cuttings expected.

    Parameters
    ----------
    rows
        Shape (bittings, cuts), depth numbers.
    chance
        Shape (bittings,), of each that it is the right one.
    chains
        Places in ``rows``, each ladder from shallow to deep.

    Notes
    -----
    A descent by exchanges of parts between two ladders, begun again some times from a plan that was shaken at
    random (with a fixed seed): it ends where no exchange helps, which need not be the best of all plans.
    """
    plan = list(chains)
    if len(rows) > MOST_EXCHANGED or np.allclose(chance, chance[0]):
        # With equal chances the mean is half of all cuttings plus one half, whatever the order.
        return order_ladders(plan, chance)
    below: NDArray[np.bool_] = np.asarray((rows[:, None, :] <= rows[None, :, :]).all(axis=2))
    fits, weights = below.tolist(), chance.tolist()
    effort = [_MOST_TRIED]
    best = _descend(plan, weights, fits, effort)
    least = _cost(best, weights)
    if len(best) > 1:
        draw = np.random.default_rng(_SEED)
        for _ in range(_SHAKES):
            if effort[0] <= 0:
                break
            other = _descend(_shake(best, fits, draw), weights, fits, effort)
            cost = _cost(other, weights)
            if cost < least - 1e-12:
                best, least = other, cost
    return order_ladders(best, chance)


def order_ladders(chains: Sequence[Chain], chance: Floats) -> list[Chain]:
    """Return the ladders in the best order."""
    return sorted(chains, key=lambda chain: (-float(chance[list(chain)].sum()) / len(chain), chain))


def _descend(
    plan: Sequence[Chain], weights: Sequence[float], fits: list[list[bool]], effort: list[int]
) -> list[Chain]:
    """Return the plan once no exchange helps, or the effort is spent."""
    chains = list(plan)
    parts = _LONGEST_PART if sum(len(chain) for chain in chains) <= _MOST_WITH_PARTS else 1
    pairs = deque(combinations(range(len(chains)), 2))
    figures = [_measure(chain, weights) for chain in chains]
    best, still = _add_up(figures), 0
    while still < len(pairs) and effort[0] > 0:
        a, b = pairs[0]
        rest = [one for i, one in enumerate(figures) if i not in (a, b)]
        for one, other in _list_exchanges(chains[a], chains[b], fits, parts):
            effort[0] -= 1
            new_a, new_b = _measure(one, weights), _measure(other, weights)
            cost = _add_up([*rest, new_a, new_b])
            if cost < best - 1e-12:
                chains[a], chains[b], figures[a], figures[b] = one, other, new_a, new_b
                best, still = cost, 0
                break
        else:
            pairs.rotate(-1)
            still += 1
    return chains


def _list_exchanges(a: Chain, b: Chain, fits: list[list[bool]], parts: int) -> Iterator[tuple[Chain, Chain]]:
    """Yield every pair of chains that comes from exchanging a part of ``a`` for one of ``b``."""
    for i, j in _list_parts(len(a), parts):
        for k, m in _list_parts(len(b), parts):
            if (i == j and k == m) or (j - i == len(a) and k == m) or (m - k == len(b) and i == j):
                # Nothing moves, or a ladder would be left empty.
                continue
            if _joins(a, i, j, b, k, m, fits) and _joins(b, k, m, a, i, j, fits):
                yield a[:i] + b[k:m] + a[j:], b[:k] + a[i:j] + b[m:]


def _list_parts(length: int, parts: int) -> Iterator[tuple[int, int]]:
    """Yield where parts begin and end: short ones, empty ones too, and whole ends."""
    for first in range(length + 1):
        for last in range(first, min(length, first + parts) + 1):
            yield first, last
        if length - first > parts:
            yield first, length


def _joins(a: Chain, i: int, j: int, b: Chain, k: int, m: int, fits: list[list[bool]]) -> bool:
    """Tell whether ``a`` with ``b[k:m]`` in place of ``a[i:j]`` still climbs."""
    if k == m:
        # Without a part a ladder always climbs.
        return True
    return (i == 0 or fits[a[i - 1]][b[k]]) and (j == len(a) or fits[b[m - 1]][a[j]])


def _shake(chains: Sequence[Chain], fits: list[list[bool]], draw: np.random.Generator) -> list[Chain]:
    """Return the plan after some exchanges at random."""
    shaken = list(chains)
    for _ in range(int(draw.integers(2, 5))):
        a, b = (int(i) for i in draw.choice(len(shaken), 2, replace=False))
        found = list(_list_exchanges(shaken[a], shaken[b], fits, 2))
        if found:
            shaken[a], shaken[b] = found[int(draw.integers(len(found)))]
    return shaken


def _cost(chains: Sequence[Chain], weights: Sequence[float]) -> float:
    return _add_up([_measure(chain, weights) for chain in chains])


def _measure(chain: Chain, weights: Sequence[float]) -> tuple[float, int, float]:
    """Return chance, length, and the sum of place times chance of one ladder."""
    chance = within = 0.0
    for place, i in enumerate(chain, 1):
        chance += weights[i]
        within += place * weights[i]
    return chance, len(chain), within


def _add_up(figures: Sequence[tuple[float, int, float]]) -> float:
    """Return the mean number of cuttings with the ladders in the best order."""
    made, total = 0, 0.0
    for chance, length, within in sorted(figures, key=lambda one: -one[0] / one[1]):
        total += within + made * chance
        made += length
    return total
