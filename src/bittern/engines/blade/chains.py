"""The fewest chains that cover a set of points of a grid, and the antichain that proves it.

A blank can be cut deeper but never shallower, so what one blank can become, one after the other, is a chain
of the component-wise order. By Dilworth's theorem (R. P. Dilworth, "A decomposition theorem for partially
ordered sets", Annals of Mathematics 51, 1950) the fewest chains that cover a set are as many as the largest
set of points of which no two can be compared.

The comparisons are never written out: one point lies above another exactly if unit steps through the grid
lead there, so a flow through the grid, which has a handful of arcs a point, decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Integers = NDArray[np.int64]

MOST_GRID = 1_500_000
"""Points of the grid up to which a plan is made: about 1 GB and half a minute."""


@dataclass(frozen=True, slots=True)
class ChainCover:
    """Chains of places in the given points, each from shallow to deep, and the antichain that proves them."""

    chains: tuple[tuple[int, ...], ...]
    antichain: tuple[int, ...]


def cover_by_chains(points: NDArray[np.int8]) -> ChainCover | None:
    """Return the fewest chains of the component-wise order that cover ``points``, each point once.

    Parameters
    ----------
    points
        Shape (points, dimensions), whole numbers, no point twice.

    Returns
    -------
    ChainCover or None
        As many chains as the antichain has points. None where the smallest box about the points has more
        than :data:`MOST_GRID` points of the grid.

    Notes
    -----
    Every point lets one unit go, and may take one unit up: a unit that goes from p and is taken up by q makes
    q the next after p. Units travel through any points of the grid, allowed or not. The largest flow F leaves
    n - F chains. Of the points from which units can still be sent but where none can arrive (by the minimum
    cut) no two can be compared: there are n - F of them.

    Examples
    --------
    >>> square = np.array([[0, 0], [0, 1], [1, 0], [1, 1]], dtype=np.int8)
    >>> cover = cover_by_chains(square)
    >>> len(cover.chains), sorted(cover.antichain)
    (2, [1, 2])
    """
    if not len(points):
        return ChainCover((), ())
    low = points.min(axis=0).astype(np.int64)
    shape = points.max(axis=0).astype(np.int64) - low + 1
    wide = np.flatnonzero(shape > 1)
    if not len(wide):
        return ChainCover(((0,),), (0,))
    size = int(np.prod(shape[wide], dtype=np.float64))
    if size > MOST_GRID:
        return None
    shape, local = shape[wide], (points.astype(np.int64) - low)[:, wide]
    place = np.ravel_multi_index(tuple(local.T), tuple(shape))
    return _solve(place, shape, size)


def _solve(place: Integers, shape: Integers, size: int) -> ChainCover:
    # A solver is loaded only where ladders are planned.
    from ortools.graph.python import max_flow

    tail, head = _unit_steps(shape, size)
    count, source, sink = len(place), 2 * size, 2 * size + 1
    grid = np.arange(size)
    # Node i is where units arrive at point i of the grid, node size + i where they leave it.
    tails = np.concatenate([np.full(count, source), place, grid, tail + size])
    heads = np.concatenate([place + size, np.full(count, sink), grid + size, head])
    room = np.concatenate([np.ones(2 * count), np.full(size + len(tail), count)]).astype(np.int64)
    solver = max_flow.SimpleMaxFlow()
    arcs = solver.add_arcs_with_capacity(tails.astype(np.int32), heads.astype(np.int32), room)
    status = solver.solve(source, sink)
    if status != solver.OPTIMAL:
        raise RuntimeError(f"the flow through the depth grid ended with {status}")
    flow = np.asarray(solver.flows(arcs), dtype=np.int64)
    reached = np.zeros(2 * size + 2, dtype=bool)
    reached[np.asarray(solver.get_source_side_min_cut(), dtype=np.int64)] = True
    antichain = np.flatnonzero(reached[place + size] & ~reached[place])
    steps = flow[2 * count + size :]
    chains = _follow(place, size, flow[:count], flow[count : 2 * count], (tail, head, steps))
    return ChainCover(chains, tuple(int(i) for i in antichain))


def _unit_steps(shape: Integers, size: int) -> tuple[Integers, Integers]:
    """Return all pairs of grid places of which the second is one step deeper in one dimension."""
    grid = np.arange(size).reshape(tuple(shape))
    tails, heads = [], []
    for axis in range(len(shape)):
        tails.append(np.take(grid, np.arange(shape[axis] - 1), axis=axis).ravel())
        heads.append(np.take(grid, np.arange(1, shape[axis]), axis=axis).ravel())
    return np.concatenate(tails), np.concatenate(heads)


def _follow(
    place: Integers, size: int, let_go: Integers, taken: Integers, flow: tuple[Integers, Integers, Integers]
) -> tuple[tuple[int, ...], ...]:
    """Return the chains that a flow means: units are followed from point to point, in row-major order.

    A step always raises the row-major place, so when a place is visited all that arrives has arrived.
    """
    tail, head, steps = flow
    used = np.flatnonzero(steps)
    order = used[np.argsort(tail[used], kind="stable")]
    ahead: dict[int, list[tuple[int, int]]] = {}
    for arc in order:
        ahead.setdefault(int(tail[arc]), []).append((int(head[arc]), int(steps[arc])))
    point_at = {int(at): i for i, at in enumerate(place)}
    visited = sorted({*ahead, *(int(head[arc]) for arc in used)})
    arrived: dict[int, list[int]] = {}
    following: dict[int, int] = {}
    for at in visited:
        units = arrived.pop(at, [])
        point = point_at.get(at)
        if point is not None and taken[point]:
            following[units.pop()] = point
        if point is not None and let_go[point]:
            units.append(point)
        for goal, number in ahead.get(at, ()):
            arrived.setdefault(goal, []).extend(units[:number])
            del units[:number]
    chains = []
    for first in sorted(set(range(len(place))) - set(following.values())):
        chain = [first]
        while chain[-1] in following:
            chain.append(following[chain[-1]])
        chains.append(tuple(chain))
    return tuple(chains)
