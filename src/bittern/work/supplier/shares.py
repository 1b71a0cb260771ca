"""Shares of new fitments: what the pack's own leave room for, and equal parts where a list says none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.int64]
Floats = NDArray[np.float64]

LEAST_SHARE = 1e-4
"""A share that has to be cut below this has no room: the vehicle's articles are all there already."""
STEP = 1e-6
"""Shares made here are rounded down to it, so that they never pass the whole by rounding."""
_BLOCK = 20_000


@dataclass(frozen=True, slots=True)
class Rows:
    """Fitments as numbers: ``cell`` is make, model and start as one; share NaN where none is said."""

    cell: Numbers
    year_from: Numbers
    year_to: Numbers
    share: Floats

    def pick(self, rows: NDArray[np.bool_] | NDArray[np.intp]) -> Rows:
        """Return these rows alone."""
        return Rows(self.cell[rows], self.year_from[rows], self.year_to[rows], self.share[rows])


def give_shares(new: Rows, ours: Rows, rest: float) -> Floats:
    """Return the share of each new row; 0 where there is no room for it.

    Notes
    -----
    Shares are parts of the vehicles of one make, model, year and start, so they are added year by year.

    1. What the pack has stays as it is.
    2. Shares that the list says are taken as they are. If they pass the whole in any year of a vehicle, all
       those of the vehicle are cut by one factor until the fullest year is just whole.
    3. Rows without a share divide equally what then is left of ``1 - rest``, or half of what is left of the
       whole where that is more, year by year; each gets the least of its years.
    4. What finds no room by this is tried again beside what did, until nothing more comes in: the same list a
       second time then changes nothing.
    """
    made = _give_once(new, ours, rest)
    out = np.flatnonzero(made <= 0)
    while len(out):
        there = made > 0
        beside = Rows(
            np.concatenate([ours.cell, new.cell[there]]),
            np.concatenate([ours.year_from, new.year_from[there]]),
            np.concatenate([ours.year_to, new.year_to[there]]),
            np.concatenate([ours.share, made[there]]),
        )
        more = _give_once(new.pick(out), beside, rest)
        if not (more > 0).any():
            break
        made[out] = more
        out = out[more <= 0]
    return made


def _give_once(new: Rows, ours: Rows, rest: float) -> Floats:
    made = np.zeros(len(new.cell))
    cells, of_row = np.unique(new.cell, return_inverse=True)
    of_ours = np.searchsorted(cells, ours.cell)
    of_ours[of_ours == len(cells)] = 0
    known = np.flatnonzero(cells[of_ours] == ours.cell) if len(cells) else np.zeros(0, dtype=np.intp)
    of_row = of_row.reshape(-1)
    order = np.argsort(of_row, kind="stable")
    known = known[np.argsort(of_ours[known], kind="stable")]
    for begin in range(0, len(cells), _BLOCK):
        end = begin + _BLOCK
        mine = order[slice(*np.searchsorted(of_row[order], (begin, end)))]
        theirs = known[slice(*np.searchsorted(of_ours[known], (begin, end)))]
        size = min(_BLOCK, len(cells) - begin)
        made[mine] = _give_block(
            new.pick(mine), of_row[mine] - begin, ours.pick(theirs), of_ours[theirs] - begin, size, rest
        )
    return made


def _give_block(
    new: Rows, cell: NDArray[np.intp], ours: Rows, cell_of_ours: NDArray[np.intp], cells: int, rest: float
) -> Floats:
    first = int(min(new.year_from.min(), ours.year_from.min(initial=9999)))
    span = int(max(new.year_to.max(), ours.year_to.max(initial=0))) - first + 1
    size = cells * span
    years, of_year, starts = _spread(new, cell, first, span)
    taken = np.zeros(size)
    if len(ours.cell):
        our_years, of_our_year, _ = _spread(ours, cell_of_ours, first, span)
        taken += np.bincount(our_years, weights=ours.share[of_our_year], minlength=size)
    said = ~np.isnan(new.share)
    given = np.where(said, new.share, 0.0)
    wanted = np.bincount(years, weights=given[of_year], minlength=size)
    room = np.maximum(0.0, 1.0 - taken)
    ratio = np.divide(room, wanted, out=np.full(size, np.inf), where=wanted > 0)
    factor = np.minimum(1.0, ratio.reshape(cells, span).min(axis=1))
    # A whole that is passed by rounding alone is not passed.
    factor[factor > 1 - 1e-9] = 1.0
    cut = given * factor[cell]
    shares = np.where(factor[cell] < 1.0, _round_down(cut), given)
    shares[said & (factor[cell] < 1.0) & (cut < LEAST_SHARE)] = 0.0
    taken += np.bincount(years, weights=np.where(said, cut, 0.0)[of_year], minlength=size)
    waiting = np.bincount(years, weights=(~said).astype(np.float64)[of_year], minlength=size)
    left = np.maximum(1.0 - rest - taken, 0.5 * (1.0 - taken))
    equal = np.divide(left, waiting, out=np.full(size, np.inf), where=waiting > 0)
    least = np.minimum.reduceat(equal[years], starts)
    parts = _round_down(np.maximum(0.0, least))
    parts[parts < LEAST_SHARE] = 0.0
    return np.where(said, shares, parts)


def _spread(
    rows: Rows, cell: NDArray[np.intp], first: int, span: int
) -> tuple[Numbers, NDArray[np.intp], NDArray[np.intp]]:
    """Return each row's years as places, the row of each, and where each row's years begin."""
    lengths = (rows.year_to - rows.year_from + 1).astype(np.intp)
    starts = np.cumsum(lengths) - lengths
    of_year = np.repeat(np.arange(len(lengths)), lengths)
    within = np.arange(int(lengths.sum())) - starts[of_year]
    places = cell[of_year] * span + (rows.year_from[of_year] - first) + within
    return places, of_year, starts


def _round_down(share: Floats) -> Floats:
    # The small addition keeps what is already a multiple where it is.
    return np.asarray(np.round(np.floor(share / STEP + 1e-6) * STEP, 6), dtype=np.float64)
