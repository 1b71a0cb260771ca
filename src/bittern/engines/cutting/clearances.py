"""How far a path keeps from what it must not touch, and how much a pass takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Clearances:
    """Distances in mm that a path keeps; all are common practice for small cuts in thin blanks.

    Attributes
    ----------
    clear_mm
        Between metal and rapid moves. A blank lies a few tenths off in its clamp.
    safe_mm
        Between metal and the first and last position: a hand changes the key there.
    through_mm
        A mill's end goes deeper than the blade is thick by this, so that no burr of the lower edge stays.
    rest_mm
        What roughing leaves for the finishing pass; it is measured square to the outline for a mill, along h
        for a wheel.
    shoulder_mm
        A mill stays away from the shoulder's plane by this where the outline lets it.
    """

    clear_mm: float = 1.0
    safe_mm: float = 5.0
    through_mm: float = 0.2
    rest_mm: float = 0.1
    shoulder_mm: float = 0.1


@dataclass(frozen=True, slots=True)
class Depths:
    """How much a roughing pass takes, in mm.

    ``pass_mm`` is a wheel's depth of cut along h, or a mill's along its axis; ``side_mm`` is how far a mill
    moves sideways from pass to pass.
    """

    pass_mm: float
    side_mm: float


def list_levels(zero: float, lowest: float, pass_mm: float) -> list[float]:
    """Return the heights of passes, from the uncut edge's own down to the lowest, evenly apart."""
    count = max(1, math.ceil((zero - lowest) / pass_mm - ROUNDING))
    return [zero - (zero - lowest) * number / count for number in range(count + 1)]
