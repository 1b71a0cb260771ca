"""The bittings that are left when some cuts are known: all of them, or only how many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import Bitting, Cuts, count_edges, name_cut
from bittern.engines.blade.chains import cover_by_chains
from bittern.engines.blade.standard import BladeStandard

Depths = NDArray[np.int8]

MOST_ENUMERATED = 200_000
"""Bittings that are still written out one by one; more than this no plan of ladders helps anybody."""
_NO_RUN = 10**6


@dataclass(frozen=True, slots=True)
class CutHelp:
    """How much knowing one more cut would help.

    Attributes
    ----------
    cut
        The cut's name.
    expected_remaining
        Bittings that would be left on average once this cut is known.
    expected_blanks
        Blanks that ladders over those would need on average; None where that was not worked out.
    """

    cut: str
    expected_remaining: float
    expected_blanks: float | None = None


def count_remaining(standard: BladeStandard, known: Bitting) -> int:
    """Return how many bittings agree with the known cuts and keep every rule of the standard."""
    total = 1
    for cuts in known.edges:
        total *= int(sum(_count_edge(standard, cuts).values()))
    return total


def sum_remaining(standard: BladeStandard, known: Bitting, chances: NDArray[np.float64]) -> float:
    """Return the sum of products of chances over the bittings that agree with the known cuts and the rules.

    ``chances`` has the shape (edges * cuts, depths).
    """
    total, first = 1.0, 0
    for cuts in known.edges:
        total *= sum(_count_edge(standard, cuts, chances[first : first + len(cuts)]).values())
        first += len(cuts)
    return total


def enumerate_remaining(
    standard: BladeStandard, known: Bitting, options: Sequence[Sequence[int]] | None = None
) -> Depths | None:
    """Return all bittings that agree with the known cuts and keep every rule, or None if they are too many.

    Parameters
    ----------
    standard, known
        The bitting has the standard's number of edges and cuts; None is an unknown cut.
    options
        For each cut the depths that it may have; None: every one.

    Returns
    -------
    array or None
        Shape (bittings, edges * cuts), depth numbers, in lexicographic order; None above
        :data:`MOST_ENUMERATED`.

    Notes
    -----
    Built cut by cut, so that a rule that is broken early is never carried on.
    """
    edges = []
    total = 1
    first = 0
    for cuts in known.edges:
        every: Sequence[int] = range(len(standard.labels))
        allowed = options[first : first + len(cuts)] if options else [every] * len(cuts)
        first += len(cuts)
        edge = _enumerate_edge(
            standard, [every if cut is None else (cut,) for cut, every in zip(cuts, allowed, strict=True)]
        )
        if edge is None:
            return None
        edges.append(edge)
        total *= len(edge)
    if total > MOST_ENUMERATED:
        return None
    rows = edges[0]
    for edge in edges[1:]:
        left = np.repeat(rows, len(edge), axis=0)
        rows = np.hstack([left, np.tile(edge, (len(rows), 1))])
    return rows


def to_bitting(standard: BladeStandard, row: Sequence[int]) -> Bitting:
    """Return a row of :func:`enumerate_remaining` as a bitting."""
    count = len(standard.positions_mm)
    depths = [int(depth) for depth in row]
    return Bitting(tuple(tuple(depths[e * count : (e + 1) * count]) for e in range(count_edges(standard))))


def rank_unknown_cuts(standard: BladeStandard, known: Bitting) -> list[CutHelp]:
    """Return the unknown cuts, the one whose depth would help most to know first; all left equally likely.

    Notes
    -----
    A cut of depth d has share n_d / n of the bittings left, and leaves n_d of them: the mean is the sum of
    n_d squared over n.
    """
    total = count_remaining(standard, known)
    found = []
    for edge, cuts in enumerate(known.edges):
        for index, cut in enumerate(cuts):
            if cut is not None or not total:
                continue
            squares = 0
            for depth in range(len(standard.labels)):
                fixed = (*cuts[:index], depth, *cuts[index + 1 :])
                edges = (*known.edges[:edge], fixed, *known.edges[edge + 1 :])
                squares += count_remaining(standard, Bitting(edges)) ** 2
            found.append(CutHelp(name_cut(standard, edge, index), squares / total))
    return sorted(found, key=lambda one: one.expected_remaining)


def rank_cuts_of(
    standard: BladeStandard, rows: Depths, chance: NDArray[np.float64], *, blanks: bool
) -> list[CutHelp]:
    """Return the cuts that differ among ``rows``, the one whose depth would help most to know first.

    Parameters
    ----------
    rows
        Shape (bittings, edges * cuts), as :func:`enumerate_remaining` gives them.
    chance
        Shape (bittings,), of each that it is the right one.
    blanks
        Whether to work out, and rank by, the blanks that would be needed, rather than the bittings left.
    """
    found = []
    for place in range(rows.shape[1]):
        depths = [rows[:, place] == depth for depth in np.unique(rows[:, place])]
        if len(depths) < 2:
            continue
        left = sum(float(chance[same].sum()) * int(same.sum()) for same in depths)
        needed = None
        if blanks:
            covers = [(float(chance[same].sum()), cover_by_chains(rows[same])) for same in depths]
            needed = sum(share * len(cover.chains) for share, cover in covers if cover is not None)
        name = name_cut(standard, *divmod(place, len(standard.positions_mm)))
        found.append(CutHelp(name, left, needed))
    return sorted(found, key=lambda one: (one.expected_blanks or 0.0, one.expected_remaining))


def _count_edge(
    standard: BladeStandard, cuts: Cuts, chances: NDArray[np.float64] | None = None
) -> dict[tuple[int, int, int], float]:
    """Return how many ways lead to each (last depth, length of its run, set of depths used) of one edge.

    With chances, shape (cuts, depths), each way counts as the product of its own.
    """
    longest = standard.max_run or _NO_RUN
    # The set of depths only matters where a rule looks at it.
    track_set, track_run = standard.min_distinct is not None, standard.max_run is not None
    # Whole numbers as long as nothing is weighed: a count may be beyond what a float holds.
    states: dict[tuple[int, int, int], float] = {(-1, 0, 0): 1}
    for place, cut in enumerate(cuts):
        ahead: dict[tuple[int, int, int], float] = {}
        for (last, run, used), ways in states.items():
            for depth in range(len(standard.labels)) if cut is None else (cut,):
                if last >= 0 and abs(depth - last) > standard.macs:
                    continue
                length = run + 1 if depth == last else 1
                if length > longest:
                    continue
                state = (depth, length if track_run else 0, used | (1 << depth) if track_set else 0)
                more = ways if chances is None else ways * float(chances[place, depth])
                ahead[state] = ahead.get(state, 0) + more
        states = ahead
    least = standard.min_distinct or 0
    return {state: ways for state, ways in states.items() if not track_set or state[2].bit_count() >= least}


def _enumerate_edge(standard: BladeStandard, allowed: Sequence[Sequence[int]]) -> Depths | None:
    rows = np.zeros((1, 0), dtype=np.int8)
    run = np.zeros(1, dtype=np.int64)
    for index, depths in enumerate(allowed):
        options = np.array(depths, dtype=np.int8)
        if len(rows) * len(options) > 40 * MOST_ENUMERATED:
            return None
        longer = np.repeat(rows, len(options), axis=0)
        new = np.tile(options, len(rows))
        run = np.repeat(run, len(options))
        keep = np.ones(len(new), dtype=bool)
        if index:
            last = longer[:, -1]
            keep &= np.abs(new.astype(np.int16) - last) <= standard.macs
            run = np.where(new == last, run + 1, 1)
        else:
            run = np.ones(len(new), dtype=np.int64)
        if standard.max_run is not None:
            keep &= run <= standard.max_run
        rows, run = np.column_stack([longer, new])[keep], run[keep]
    if standard.min_distinct is not None:
        ordered = np.sort(rows, axis=1)
        distinct = 1 + (np.diff(ordered, axis=1) != 0).sum(axis=1)
        rows = rows[distinct >= standard.min_distinct]
    return rows if len(rows) <= MOST_ENUMERATED else None
