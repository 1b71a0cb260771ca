"""The blade's thickness in slabs between the levels at which an end mill works; a wheel has one slab."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.strokes import Stroke, split_at_levels

SKIN_MM: Final = 0.0015
"""A mill this far above the lower face is through: four decimals of an inch round by 0.0013 mm."""
MOST_SLABS: Final = 64
_SAME_MM: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Slabs:
    """Strokes, and for each how many slabs, counted from the upper face, it clears and how many it enters.

    A stroke that ramps enters one more than it clears.
    """

    strokes: list[Stroke]
    clears: NDArray[np.int64]
    hits: NDArray[np.int64]
    count: int


def cut_into_slabs(strokes: Sequence[Stroke], cutter: Cutter, thickness_mm: float) -> Slabs:
    """Return the strokes, cut where they pass from one slab of ``thickness_mm`` in all into another.

    Notes
    -----
    The boundaries are the levels at which strokes begin and end, so that each slab is of one shape all
    through. With more than 64 of them the slabs are of equal thickness, and a stroke that ends within one
    enters it without clearing it.
    """
    if cutter.kind == "wheel":
        ones = np.ones(len(strokes), dtype=np.int64)
        return Slabs(list(strokes), ones, ones, 1)
    levels = _list_levels(strokes, thickness_mm)
    parts = split_at_levels(strokes, levels)
    highest = np.array([max(part.start[2], part.end[2]) for part in parts])
    lowest = np.array([min(part.start[2], part.end[2]) for part in parts])
    upper, lower = np.array(levels[:-1]), np.array(levels[1:])
    lower[-1] += SKIN_MM
    clears = (highest[:, None] <= lower[None, :] + _SAME_MM).sum(axis=1)
    hits = (lowest[:, None] < upper[None, :] - _SAME_MM).sum(axis=1)
    return Slabs(parts, clears, hits, len(levels) - 1)


def _list_levels(strokes: Sequence[Stroke], thickness_mm: float) -> list[float]:
    ends = {round(place[2], 6) for stroke in strokes for place in (stroke.start, stroke.end)}
    inside = sorted((n for n in ends if -thickness_mm + SKIN_MM < n < -_SAME_MM), reverse=True)
    if len(inside) >= MOST_SLABS:
        return [-thickness_mm * number / MOST_SLABS for number in range(MOST_SLABS + 1)]
    return [0.0, *inside, -thickness_mm]
