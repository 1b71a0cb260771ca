"""How long the fewest blanks take to find, as a ratio to matching on all comparisons of the same bittings.

Two plain ways beside it, both exact: maximum matching by Hopcroft and Karp in networkx, and a maximum flow in
OR-Tools, on the graph that has an arc for each pair of bittings of which one can be cut from the other. Both
have to write that graph out; its making is part of their time, as the grid's is of ours.
"""

from __future__ import annotations

import resource
import time
from itertools import product

import networkx as nx
import numpy as np
from numpy.typing import NDArray
from ortools.graph.python import max_flow

from bittern.engines.blade.chains import cover_by_chains

DEPTHS = 4
COMPARED = (4, 5, 6)
LARGEST = 8
REPEATS = 3
TARGET = 20


def make_points(cuts: int) -> NDArray[np.int8]:
    """Return every bitting of ``cuts`` cuts."""
    return np.array(list(product(range(DEPTHS), repeat=cuts)), dtype=np.int8)


def compare(points: NDArray[np.int8]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return all pairs (shallower, deeper), row by row so that memory stays small."""
    tails, heads = [], []
    for i, point in enumerate(points):
        above = np.flatnonzero((points >= point).all(axis=1))
        above = above[above != i]
        tails.append(np.full(len(above), i))
        heads.append(above)
    return np.concatenate(tails), np.concatenate(heads)


def by_matching(points: NDArray[np.int8]) -> int:
    """Return the fewest chains by matching in networkx."""
    tails, heads = compare(points)
    count = len(points)
    graph = nx.Graph()
    graph.add_nodes_from(range(2 * count))
    graph.add_edges_from(zip(tails.tolist(), (heads + count).tolist(), strict=True))
    return count - len(nx.bipartite.hopcroft_karp_matching(graph, range(count))) // 2


def by_closure_flow(points: NDArray[np.int8]) -> int:
    """Return the fewest chains by a maximum flow over all comparisons in OR-Tools."""
    tails, heads = compare(points)
    count = len(points)
    every = np.arange(count)
    solver = max_flow.SimpleMaxFlow()
    solver.add_arcs_with_capacity(
        np.concatenate([np.full(count, 2 * count), tails, every + count]).astype(np.int32),
        np.concatenate([every, heads + count, np.full(count, 2 * count + 1)]).astype(np.int32),
        np.ones(2 * count + len(tails), dtype=np.int64),
    )
    solver.solve(2 * count, 2 * count + 1)
    return count - int(solver.optimal_flow())


def by_grid(points: NDArray[np.int8]) -> int:
    """Return the fewest chains by the flow through the grid; chains and proof are made too."""
    cover = cover_by_chains(points)
    assert cover is not None
    assert len(cover.chains) == len(cover.antichain)
    return len(cover.chains)


WAYS = {
    "flow through the grid": by_grid,
    "flow over all comparisons": by_closure_flow,
    "matching (networkx)": by_matching,
}


def main() -> None:
    """Print the table."""
    print(
        f"The fewest blanks for every bitting of so many unknown cuts of {DEPTHS} depths; best of {REPEATS}."
    )
    print("The grid's time includes the chains and the antichain that proves them; the others only count.")
    print()
    print(f"{'cuts':>5}{'bittings':>10}{'blanks':>8}  {'way':<28}{'time / grid':>12}")
    ratio = 0.0
    for cuts in COMPARED:
        points = make_points(cuts)
        unit, others, counts = 0.0, [], set()
        for name, way in WAYS.items():
            seconds, count = measure(way, points)
            counts.add(count)
            unit = unit or seconds
            others += [seconds / unit] if name != "flow through the grid" else []
            print(f"{cuts:>5}{len(points):>10,}{count:>8,}  {name:<28}{seconds / unit:>12.1f}")
        assert len(counts) == 1, "the ways disagree"
        ratio = min(others)
    held = "held" if ratio >= TARGET else "MISSED"
    print(f"Target at {COMPARED[-1]} cuts: at least {TARGET} times faster than the better of the two: {held}")
    points = make_points(LARGEST)
    seconds, count = measure(by_grid, points)
    peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"{LARGEST:>5}{len(points):>10,}{count:>8,}  {'flow through the grid':<28}", end="")
    print(f"   {seconds:.1f} s here (target 10 s); peak memory of this run {peak_gb:.2f} GB (target 1 GB)")


def measure(way: object, points: NDArray[np.int8]) -> tuple[float, int]:
    """Return the least seconds of some runs, and the answer."""
    assert callable(way)
    best, answer = float("inf"), 0
    for _ in range(REPEATS):
        begun = time.perf_counter()
        answer = way(points)
        best = min(best, time.perf_counter() - begun)
    return best, answer


if __name__ == "__main__":
    main()
