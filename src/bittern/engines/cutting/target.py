"""What a blade should become: the ideal outline, and where it is asked for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.outline import get_height_mm, get_outline
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.strokes import Floats


@dataclass(frozen=True, slots=True)
class Target:
    """The ideal outline of one edge.

    Attributes
    ----------
    standard
        The blade's.
    bends_mm
        The outline's vertices, rows of x and h.
    roots_x_mm, depths_mm
        Of the cuts, in the order of the standard's positions.
    top_mm, bottom_mm
        Of the blank, along h.

    On a track the ideal is the groove's centre line.
    """

    standard: BladeStandard
    bends_mm: Floats
    roots_x_mm: Floats
    depths_mm: Floats
    top_mm: float
    bottom_mm: float

    def get_ideal_mm(self, x_mm: Floats) -> Floats:
        """Return the ideal height at each of ``x_mm``."""
        return np.interp(x_mm, self.bends_mm[:, 0], self.bends_mm[:, 1])

    @property
    def depth_mm(self) -> float:
        """Return how deep along n a mill must go: through, or a groove's depth less the tolerance."""
        if self.standard.groove_depth_mm is None:
            return self.standard.thickness_mm
        return self.standard.groove_depth_mm - self.standard.tolerance_mm

    @property
    def from_bow(self) -> bool:
        """Whether x grows away from the bow."""
        return self.standard.datum == "shoulder"


def get_target(standard: BladeStandard, bitting: Bitting, edge: int) -> Target:
    """Return the target of one edge.

    Raises
    ------
    UnknownCutError
        A cut of that edge is unknown.
    """
    top = get_edge_height_mm(standard)
    places = standard.positions_mm
    return Target(
        standard,
        np.array(get_outline(standard, bitting, edge=edge)),
        np.array(places),
        np.array([get_height_mm(standard, bitting, x, edge=edge) for x in places]),
        top,
        0.0 if standard.kind == "edge" and standard.sides == "single" else -top,
    )
