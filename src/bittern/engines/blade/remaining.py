"""The bittings that are left when some cuts are known: all of them, or only how many."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import Bitting, Cuts, count_edges, name_cut
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
        Bittings that would be left on average once this cut is known, each of those left now equally likely.
    """

    cut: str
    expected_remaining: float


def count_remaining(standard: BladeStandard, known: Bitting) -> int:
    """Return how many bittings agree with the known cuts and keep every rule of the standard."""
    total = 1
    for cuts in known.edges:
        total *= sum(_count_edge(standard, cuts).values())
    return total


def enumerate_remaining(standard: BladeStandard, known: Bitting) -> Depths | None:
    """Return all bittings that agree with the known cuts and keep every rule, or None if they are too many.

    Parameters
    ----------
    standard, known
        The bitting has the standard's number of edges and cuts; None is an unknown cut.

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
    for cuts in known.edges:
        edge = _enumerate_edge(standard, cuts)
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
    """Return the unknown cuts, the one whose depth would help most to know first.

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


def _count_edge(standard: BladeStandard, cuts: Cuts) -> Counter[tuple[int, int, int]]:
    """Return how many ways lead to each (last depth, length of its run, set of depths used) of one edge."""
    longest = standard.max_run or _NO_RUN
    # The set of depths only matters where a rule looks at it.
    track_set, track_run = standard.min_distinct is not None, standard.max_run is not None
    states: Counter[tuple[int, int, int]] = Counter({(-1, 0, 0): 1})
    for cut in cuts:
        ahead: Counter[tuple[int, int, int]] = Counter()
        for (last, run, used), ways in states.items():
            for depth in range(len(standard.labels)) if cut is None else (cut,):
                if last >= 0 and abs(depth - last) > standard.macs:
                    continue
                length = run + 1 if depth == last else 1
                if length > longest:
                    continue
                ahead[depth, length if track_run else 0, used | (1 << depth) if track_set else 0] += ways
        states = ahead
    least = standard.min_distinct or 0
    return Counter(
        {state: ways for state, ways in states.items() if not track_set or state[2].bit_count() >= least}
    )


def _enumerate_edge(standard: BladeStandard, cuts: Cuts) -> Depths | None:
    depths = np.arange(len(standard.labels), dtype=np.int8)
    rows = np.zeros((1, 0), dtype=np.int8)
    run = np.zeros(1, dtype=np.int64)
    for index, cut in enumerate(cuts):
        options = depths if cut is None else np.array([cut], dtype=np.int8)
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
