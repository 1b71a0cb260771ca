"""A graph in layers: which node in which row, in what order, at what place, so that few lines cross.

The four steps of Sugiyama, Tagawa & Toda, Methods for visual understanding of hierarchical system structures
(IEEE Trans. SMC 11, 1981): turn lines that lead back, rank, order, place.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

Item = Hashable


@dataclass(frozen=True, slots=True)
class Extent:
    """How far something reaches to the left and to the right of its place."""

    left: float
    right: float


def find_back_links(links: Mapping[str, Sequence[str]], start: str) -> set[tuple[str, str]]:
    """Return the links that close a loop when the graph is walked depth first from ``start``."""
    back: set[tuple[str, str]] = set()
    seen: set[str] = set()
    for root in [start, *links]:
        if root in seen or root not in links:
            continue
        open_nodes = {root}
        seen.add(root)
        walk = [(root, iter(links[root]))]
        while walk:
            node, targets = walk[-1]
            for target in targets:
                if target in open_nodes:
                    back.add((node, target))
                elif target not in seen:
                    seen.add(target)
                    open_nodes.add(target)
                    walk.append((target, iter(links[target])))
                    break
            else:
                open_nodes.discard(node)
                walk.pop()
    return back


def rank_nodes(links: Mapping[str, Sequence[str]]) -> dict[str, int]:
    """Return each node's row, one below the lowest of those that lead to it.

    Parameters
    ----------
    links
        A graph without loops.

    Examples
    --------
    >>> rank_nodes({"a": ["b", "c"], "b": ["c"], "c": []})
    {'a': 0, 'b': 1, 'c': 2}
    """
    arriving = dict.fromkeys(links, 0)
    for targets in links.values():
        for target in targets:
            arriving[target] += 1
    rank = dict.fromkeys(links, 0)
    ready = [node for node, count in arriving.items() if count == 0]
    while ready:
        node = ready.pop(0)
        for target in links[node]:
            rank[target] = max(rank[target], rank[node] + 1)
            arriving[target] -= 1
            if arriving[target] == 0:
                ready.append(target)
    return rank


def order_rows(
    rows: Sequence[Sequence[Item]], links: Sequence[tuple[Item, Item]], sweeps: int = 12
) -> list[list[Item]]:
    """Return the rows with their items ordered so that few links cross.

    Parameters
    ----------
    rows
        Items from top to bottom; every link leads from one row to the next.
    links
        Pairs of items.
    sweeps
        How often to go down and up; the best order seen is returned.

    Notes
    -----
    Barycentres: each item goes to the mean place of its neighbours. Good, not provably best: that is NP-hard.
    """
    above: dict[Item, list[Item]] = {item: [] for row in rows for item in row}
    below: dict[Item, list[Item]] = {item: [] for row in rows for item in row}
    for upper, lower in links:
        below[upper].append(lower)
        above[lower].append(upper)
    current = [list(row) for row in rows]
    best, fewest = [list(row) for row in current], count_crossings(current, below)
    for sweep in range(sweeps):
        neighbours, numbers = (
            (above, range(1, len(rows))) if sweep % 2 == 0 else (below, range(len(rows) - 2, -1, -1))
        )
        for number in numbers:
            beside = current[number - 1] if sweep % 2 == 0 else current[number + 1]
            place = {item: float(index) for index, item in enumerate(beside)}
            own = {item: float(index) for index, item in enumerate(current[number])}
            keys: dict[Item, tuple[float, float]] = {}
            for item in current[number]:
                places = [place[other] for other in neighbours[item]]
                keys[item] = (sum(places) / len(places) if places else own[item], own[item])
            current[number].sort(key=keys.__getitem__)
        crossings = count_crossings(current, below)
        if crossings < fewest:
            best, fewest = [list(row) for row in current], crossings
    return best


def count_crossings(rows: Sequence[Sequence[Item]], below: Mapping[Item, Sequence[Item]]) -> int:
    """Return how many pairs of links cross when drawn straight between neighbouring rows."""
    crossings = 0
    for upper, lower in pairwise(rows):
        place = {item: index for index, item in enumerate(lower)}
        passed: list[int] = []
        for item in upper:
            ends = sorted(place[other] for other in below[item])
            crossings += sum(len(passed) - bisect_left(passed, end + 1) for end in ends)
            for end in ends:
                insort(passed, end)
    return crossings


def place_rows(
    rows: Sequence[Sequence[Item]],
    links: Sequence[tuple[Item, Item]],
    extents: Mapping[Item, Extent],
    gap: float,
    sweeps: int = 16,
) -> dict[Item, float]:
    """Return where each item stands in its row, near its neighbours and clear of the items beside it."""
    near: dict[Item, list[Item]] = {item: [] for row in rows for item in row}
    for upper, lower in links:
        near[upper].append(lower)
        near[lower].append(upper)
    places: dict[Item, float] = {}
    for row in rows:
        reach = 0.0
        for item in row:
            places[item] = reach + extents[item].left
            reach = places[item] + extents[item].right + gap
    for sweep in range(sweeps):
        for row in rows if sweep % 2 == 0 else reversed(rows):
            wanted = [
                sum(places[other] for other in near[item]) / len(near[item]) if near[item] else places[item]
                for item in row
            ]
            apart = [extents[left].right + gap + extents[right].left for left, right in pairwise(row)]
            places.update(zip(row, spread_out(wanted, apart), strict=True))
    return places


def spread_out(wanted: Sequence[float], apart: Sequence[float]) -> list[float]:
    """Return the places nearest to ``wanted`` (least squares) that keep the distances ``apart``, in order.

    Notes
    -----
    With the distances taken off, the places must not decrease: isotonic regression, solved by pooling
    neighbours that violate it.

    Examples
    --------
    >>> spread_out([0.0, 0.0, 10.0], [4.0, 4.0])
    [-2.0, 2.0, 10.0]
    """
    offsets = [0.0]
    for distance in apart:
        offsets.append(offsets[-1] + distance)
    pools: list[tuple[float, int]] = []
    for place, offset in zip(wanted, offsets, strict=True):
        mean, size = place - offset, 1
        while pools and pools[-1][0] > mean:
            other, count = pools.pop()
            mean = (mean * size + other * count) / (size + count)
            size += count
        pools.append((mean, size))
    level = [mean for mean, size in pools for _ in range(size)]
    return [mean + offset for mean, offset in zip(level, offsets, strict=True)]
