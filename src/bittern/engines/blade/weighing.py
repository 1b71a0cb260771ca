"""How likely each bitting is that agrees with the known cuts: by a code table, a doubtful reading, or both.

A reading of a worn key gives chances, and gives every bitting some. Ladders over all of them would be
hopeless for the sake of the last hundredth, so the least likely are left out, and how much that is is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import UNKNOWN, Bitting, parse_bitting
from bittern.engines.blade.code_table import CodeTable
from bittern.engines.blade.errors import BittingError, LadderError
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.remaining import enumerate_remaining, sum_remaining, to_bitting
from bittern.engines.blade.standard import BladeStandard

Floats = NDArray[np.float64]

MOST_LEFT_OUT = 0.01
"""Chance of all bittings that are left out together: one key in a hundred is not found."""
# No depth is ever ruled out by a reading alone: a burr or a chip can make any height (common practice).
_LEAST_CHANCE = 1e-6


@dataclass(frozen=True, slots=True)
class Weighing:
    """Bittings that are worth trying, with their weights, and the chance that the right one is among them."""

    weights: dict[Bitting, float]
    covered: float


def weigh_remaining(
    standard: BladeStandard,
    known: Bitting,
    *,
    table: CodeTable | None = None,
    reading: Measurement | None = None,
) -> Weighing | None:
    """Return the weights that a table and a reading give to what is left; None where they do not narrow it.

    Parameters
    ----------
    standard, known
        Known cuts are certain, whatever the reading says of them; None is an unknown cut.
    table
        Only its bittings remain.
    reading
        Chances of each cut, of the best bitting and of its runners-up.

    Returns
    -------
    Weighing or None
        None without table and reading, and where a reading leaves too many bittings to be written out.

    Raises
    ------
    LadderError
        Table or reading are of another standard.

    Notes
    -----
    A reading states the joint chance of its best bitting and of the runners-up. What is left over is shared
    among all others the rules allow, each in proportion to the product of its cuts' chances: cuts read from
    one key share their wear, so the product alone would be too sure of the others.
    """
    for other in (table, reading):
        if other is not None and other.standard != standard.id:
            raise LadderError(f"a table or reading of {other.standard}", f"one of {standard.id}")
    wanted = _flatten(known)
    in_table = table.weights if table else None
    if reading is None:
        if in_table is None:
            return None
        return Weighing({one: weight for one, weight in in_table.items() if _agrees(one, wanted)}, 1.0)
    chances = _list_chances(standard, reading)
    listed = _list_joint(standard, reading)
    if in_table is not None:
        rows = [one for one in in_table if _agrees(one, wanted)]
        worth = _share(standard, rows, chances, listed, reading)
        worth *= np.array([in_table[one] for one in rows])
        return _keep_likely(rows, worth, float(worth.sum()))
    options = [{*_list_options(chances[place])} if cut is None else {cut} for place, cut in enumerate(wanted)]
    for bitting in listed:
        if _agrees(bitting, wanted):
            for option, cut in zip(options, _depths(_flatten(bitting)), strict=True):
                option.add(cut)
    found = enumerate_remaining(standard, known, [sorted(option) for option in options])
    if found is None:
        return None
    rows = [to_bitting(standard, row) for row in found]
    worth = _share(standard, rows, chances, listed, reading)
    rest, scale = _find_rest(standard, chances, listed, reading)
    total = rest * (sum_remaining(standard, known, chances) - _sum_listed(listed, chances, wanted)) / scale
    total += sum(chance for bitting, chance in listed.items() if _agrees(bitting, wanted))
    return _keep_likely(rows, worth, total)


def _share(
    standard: BladeStandard,
    rows: Sequence[Bitting],
    chances: Floats,
    listed: dict[Bitting, float],
    reading: Measurement,
) -> Floats:
    """Return the chance of each row: as listed, or its part of what is left over."""
    rest, scale = _find_rest(standard, chances, listed, reading)
    return np.array([listed.get(row, rest * _multiply(row, chances) / scale) for row in rows])


def _find_rest(
    standard: BladeStandard, chances: Floats, listed: dict[Bitting, float], reading: Measurement
) -> tuple[float, float]:
    """Return the chance that none of the listed is right, and the sum of products that shares it."""
    stated = reading.probability + sum(chance for _, chance, _ in reading.runners_up)
    nothing = (None,) * len(standard.positions_mm)
    free = Bitting((nothing,) * (len(chances) // len(standard.positions_mm)))
    scale = sum_remaining(standard, free, chances) - _sum_listed(listed, chances, _flatten(free))
    return max(0.0, 1.0 - stated - reading.p_none), max(scale, _LEAST_CHANCE ** len(chances))


def _sum_listed(listed: dict[Bitting, float], chances: Floats, wanted: Sequence[int | None]) -> float:
    return sum(_multiply(bitting, chances) for bitting in listed if _agrees(bitting, wanted))


def _keep_likely(rows: Sequence[Bitting], worth: Floats, total: float) -> Weighing:
    """Return the likeliest rows that together leave out no more than :data:`MOST_LEFT_OUT` of ``total``."""
    order = np.argsort(-worth, kind="stable")
    reached = np.cumsum(worth[order])
    enough = int(np.searchsorted(reached, (1.0 - MOST_LEFT_OUT) * total)) + 1
    kept = [int(i) for i in order[:enough] if worth[i] > 0.0]
    covered = float(worth[kept].sum() / total) if kept and total > 0.0 else 0.0
    return Weighing({rows[i]: float(worth[i]) for i in kept}, min(1.0, covered))


def _list_chances(standard: BladeStandard, reading: Measurement) -> Floats:
    """Return the chance of each depth at each cut, shape (cuts, depths); a cut without a reading is even."""
    chances = np.full((len(reading.cuts), len(standard.labels)), _LEAST_CHANCE)
    for place, cut in enumerate(reading.cuts):
        if cut.label == UNKNOWN or not cut.by_label:
            chances[place] = 1.0
        else:
            for depth, label in enumerate(standard.labels):
                chances[place, depth] = max(_LEAST_CHANCE, cut.by_label.get(label, 0.0))
    return np.asarray(chances / chances.sum(axis=1, keepdims=True), dtype=np.float64)


def _list_joint(standard: BladeStandard, reading: Measurement) -> dict[Bitting, float]:
    """Return the whole bittings of this standard whose joint chance the reading states."""
    stated = [(reading.bitting, reading.probability, reading.allowed), *reading.runners_up]
    found: dict[Bitting, float] = {}
    for text, chance, allowed in stated:
        if not allowed or ":" in text:
            continue
        try:
            bitting = parse_bitting(standard, text)
        except BittingError:
            continue
        if bitting.complete:
            found[bitting] = chance
    return found


def _list_options(chances: Floats) -> tuple[int, ...]:
    """Return the depths of one cut without those that hold least, a tenth of what may be left out in all."""
    order = np.argsort(chances, kind="stable")
    dropped = int(np.searchsorted(np.cumsum(chances[order]), MOST_LEFT_OUT / 10))
    return tuple(sorted(int(i) for i in order[dropped:]))


def _multiply(bitting: Bitting, chances: Floats) -> float:
    row = _depths(_flatten(bitting))
    return float(np.prod(chances[np.arange(len(row)), row]))


def _agrees(bitting: Bitting, wanted: Sequence[int | None]) -> bool:
    return all(want is None or want == cut for want, cut in zip(wanted, _flatten(bitting), strict=True))


def _flatten(bitting: Bitting) -> tuple[int | None, ...]:
    return tuple(cut for cuts in bitting.edges for cut in cuts)


def _depths(row: Sequence[int | None]) -> list[int]:
    return [cut for cut in row if cut is not None]
