"""How far the outline left lies from the ideal one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from bittern.engines.cutting.metal import Island, Metal
from bittern.engines.cutting.strokes import Floats
from bittern.engines.cutting.target import Target

MOST_PEAKS: Final = 24
CLOSER: Final = 33
ROUNDS: Final = 2
"""Twice 33 places between the neighbours of a column: 2 * 0.01 mm / 16**2, below 1e-4 mm along x."""
GOUGE_LIMIT_MM: Final = 0.01
ROOT_SHARE: Final = 0.5
"""Formats: within = root error at most half the tolerance and gouge at most 0.01 mm."""
_SAME_MM: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Errors:
    """The outline left against the ideal, in mm; the words are those of formats.md.

    ``left_mm`` and ``ideal_mm`` are heights at ``x_mm``; ``gouge_x_mm`` and ``uncut_x_mm`` say where the
    largest gouge and the most metal left are. For a track these two are the groove's centre line (NaN where
    there is no groove), and ``walls_mm`` its lower and upper wall; ``depth_mm`` is how deep it is at most.
    """

    root_error_mm: float
    worst_error_mm: float
    gouge_mm: float
    gouge_x_mm: float
    uncut_mm: float
    uncut_x_mm: float
    roots_mm: Floats
    x_mm: Floats
    left_mm: Floats
    ideal_mm: Floats
    walls_mm: tuple[Floats, Floats] | None = None
    depth_mm: float | None = None

    def is_within(self, tolerance_mm: float) -> bool:
        """Return whether roots and gouge keep their limits."""
        return (
            self.root_error_mm <= tolerance_mm * ROOT_SHARE + _SAME_MM
            and self.gouge_mm <= GOUGE_LIMIT_MM + _SAME_MM
        )


def measure_errors(metal: Metal, target: Target, islands: Sequence[Island]) -> Errors:
    """Return the errors of the outline that ``metal`` has after its last stroke.

    Notes
    -----
    At the columns and at the roots the heights are exact; the largest errors are sought between the columns
    ever closer. Metal that stands above a cut and hangs on to the blade counts as outline; what is taken only
    part of the thickness deep counts as gouge.
    """
    x = metal.columns_mm

    def get_left(x_mm: Floats) -> Floats:
        left = metal.get_left_mm(x_mm)
        for island in islands:
            if island.attached:
                top = np.interp(x_mm, x[island.columns], island.top_mm, left=-np.inf, right=-np.inf)
                left = np.maximum(left, top)
        return left

    def get_above(x_mm: Floats) -> Floats:
        return get_left(x_mm) - target.get_ideal_mm(x_mm)

    def get_below(x_mm: Floats) -> Floats:
        return target.get_ideal_mm(x_mm) - metal.get_deepest_mm(x_mm)

    left, ideal = get_left(x), target.get_ideal_mm(x)
    uncut, uncut_x = find_largest(get_above, x, left - ideal)
    gouge, gouge_x = find_largest(get_below, x, get_below(x))
    order = np.argsort(target.roots_x_mm)
    roots = np.empty(len(order))
    roots[order] = get_left(target.roots_x_mm[order])
    return Errors(
        float(abs(roots - target.depths_mm).max()),
        max(uncut, gouge, 0.0),
        max(gouge, 0.0),
        gouge_x,
        max(uncut, 0.0),
        uncut_x,
        roots,
        x,
        left,
        ideal,
    )


def find_largest(get_value: Callable[[Floats], Floats], x_mm: Floats, values: Floats) -> tuple[float, float]:
    """Return the largest value and its x, sought between the columns about the highest of them."""
    padded = np.concatenate([[-np.inf], values, [-np.inf]])
    peaks = np.flatnonzero((values >= padded[:-2]) & (values >= padded[2:]))
    peaks = peaks[np.argsort(values[peaks])[-MOST_PEAKS:]]
    low, high = x_mm[np.maximum(peaks - 1, 0)], x_mm[np.minimum(peaks + 1, len(x_mm) - 1)]
    best = int(np.argmax(values))
    largest, at = float(values[best]), float(x_mm[best])
    for _ in range(ROUNDS):
        places = np.unique(np.linspace(low, high, CLOSER))
        found = get_value(places)
        best = int(np.argmax(found))
        if found[best] > largest:
            largest, at = float(found[best]), float(places[best])
        width = float((high - low).max())
        low, high = np.array([at - width / (CLOSER - 1)]), np.array([at + width / (CLOSER - 1)])
        low, high = np.clip(low, x_mm[0], x_mm[-1]), np.clip(high, x_mm[0], x_mm[-1])
    return largest, at
