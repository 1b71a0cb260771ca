"""The outlines of a cut blade as exact lines and arcs, for drawings that other programs read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.outline import Point, get_blade_polygon, get_outline
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.compensation import compensate_disc


@dataclass(frozen=True, slots=True)
class Curve:
    """A line from ``start`` to ``end``, or the arc between them about ``centre`` of less than half a turn.

    ``part`` is ``blade``, ``groove`` or ``centre-line``.
    """

    part: str
    start: Point
    end: Point
    centre: Point | None = None

    @property
    def radius_mm(self) -> float:
        """Return the radius; 0 for a line."""
        return 0.0 if self.centre is None else math.dist(self.start, self.centre)

    @property
    def turns_left(self) -> bool:
        """Return whether an arc goes counter-clockwise from start to end."""
        if self.centre is None:
            return False
        (x0, h0), (x1, h1), (x, h) = self.start, self.end, self.centre
        return (x0 - x) * (h1 - h) - (h0 - h) * (x1 - x) > 0


def list_curves(standard: BladeStandard, bitting: Bitting) -> list[Curve]:
    """Return the outline of the cut blade, counter-clockwise, and of a track its groove.

    Raises
    ------
    UnknownCutError
        Any cut is unknown.

    Notes
    -----
    The blade from its datum to its far end, without its bow; lengths in mm, h as in formats.md. The walls are
    exact: parallels of the centre line, joined by arcs on the outside of its bends.
    """
    corners = get_blade_polygon(standard, bitting)
    curves = [Curve("blade", one, other) for one, other in pairwise([*corners, corners[0]])]
    if standard.kind != "track":
        return curves
    line, half = get_outline(standard, bitting), (standard.groove_width_mm or 0.0) / 2
    below = [(x, -h) for x, h in line]
    walls = [*compensate_disc(line, half).list_stretches(), *compensate_disc(below, half).turn_over()]
    curves += [Curve("groove", *stretch) for stretch in walls]
    return curves + [Curve("centre-line", one, other) for one, other in pairwise(line)]
