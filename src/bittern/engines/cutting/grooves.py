"""The path that mills a track: a slot along the centre line, then along the walls, layer by layer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from bittern.engines.blade.outline import Point
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.clearances import Clearances, Depths, list_levels
from bittern.engines.cutting.compensation import compensate_disc
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.steps import FINISH, RAPID, ROUGH, Stretch, Way

SAME_MM: Final = 1e-6
"""A mill narrower than its groove by less is as wide."""


def mill_groove(
    way: Way,
    centre_line: Sequence[Point],
    standard: BladeStandard,
    cutter: Cutter,
    depths: Depths,
    clearances: Clearances,
    *,
    lower_first: bool,
) -> None:
    """Lay the path that mills the groove about ``centre_line``, which begins at the shoulder.

    ``lower_first``: toward the tip along the lower wall and back along the upper one, else the other way.

    Notes
    -----
    The groove is everything within half its width of the centre line (the Minkowski sum with a disc), so a
    mill of its width follows the line itself. A narrower one follows the two parallels at half the
    difference, after as many parallels nearer to the line as its sideways step asks for: every disc with its
    middle within that difference of the line lies in the groove, and those at the border touch all of its
    walls.
    The mill comes in at the tip and turns before the shoulder; there the groove ends in its radius.
    """
    radius = cutter.diameter_mm / 2
    aside = (standard.groove_width_mm or 0.0) / 2 - radius
    outside = standard.length_mm + radius + clearances.clear_mm
    start = _get_turning_mm(standard, radius, clearances)
    walls = _Walls([*centre_line, (outside + radius, centre_line[-1][1])], start, outside)
    loops = [(ROUGH, offset) for offset in _list_offsets(aside, depths.side_mm, clearances.rest_mm)]
    if aside > SAME_MM:
        loops.append((FINISH, aside))
    middle = walls.follow(0.0, 1)
    entry = middle[-1][1][1]
    way.go(RAPID, outside, entry, clearances.safe_mm)
    layers = list_levels(0.0, -(standard.groove_depth_mm or 0.0), depths.pass_mm)[1:]
    for layer in layers:
        way.go(RAPID, outside, entry)
        way.go(RAPID, n_mm=layer)
        way.follow(ROUGH, middle, upper=True, backwards=True)
        for kind, offset in loops:
            if kind == FINISH and layer != layers[-1]:
                continue
            sides = (-1, 1) if lower_first else (1, -1)
            out, back = (walls.follow(offset, side) for side in sides)
            way.go(kind, h_mm=out[0][0][1])
            way.follow(kind, out, upper=sides[0] > 0, backwards=False)
            # Out here there is no metal, and the crossing is quick.
            way.go(RAPID, h_mm=back[-1][1][1])
            way.follow(kind, back, upper=sides[1] > 0, backwards=True)
        way.go(RAPID, n_mm=clearances.safe_mm if layer == layers[-1] else clearances.clear_mm)


class _Walls:
    """Parallels of a centre line between the turning place and the place outside the tip."""

    def __init__(self, line: Sequence[Point], start_mm: float, end_mm: float) -> None:
        self.line, self.start_mm, self.end_mm = line, start_mm, end_mm
        self.under = [(x, -h) for x, h in line]

    def follow(self, offset_mm: float, side: int) -> list[Stretch]:
        """Return the parallel above (side 1) or below (-1), from the shoulder to the tip."""
        whole = compensate_disc(self.line if side > 0 else self.under, offset_mm)
        parallel = whole.clip(self.start_mm, self.end_mm)
        return parallel.list_stretches() if side > 0 else parallel.turn_over()


def _get_turning_mm(standard: BladeStandard, radius: float, clearances: Clearances) -> float:
    """Return the least x from the shoulder to which the mill's middle goes."""
    places = standard.positions_mm
    nearest = min(places) if standard.datum == "shoulder" else standard.length_mm - max(places)
    return max(radius, min(radius + clearances.shoulder_mm, nearest))


def _list_offsets(aside: float, side_mm: float, rest_mm: float) -> list[float]:
    """Return how far from the centre line the roughing loops run."""
    widest = aside - rest_mm
    count = math.ceil(widest / side_mm - SAME_MM) if widest > SAME_MM else 0
    return [widest * number / count for number in range(1, count + 1)]
