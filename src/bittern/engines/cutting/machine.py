"""A cutting machine as its profile describes it: axes, travel, spindle, motion and the words it reads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bittern.engines.cutting.motion import Place

AXES: Final = "XYZ"
LEAST_CLEAR_MM: Final = 0.5


@dataclass(frozen=True, slots=True)
class Machine:
    """Axes, limits and words of a machine; without a profile a plain mill with three axes.

    Attributes
    ----------
    axes, signs
        For the blade's x, h and n the machine axis (0, 1, 2 for X, Y, Z) and its sense (1 or -1).
    origin_mm
        Machine coordinates of x = 0, h = 0, n = 0.
    travel_mm
        Lowest and highest coordinate of X, Y and Z; None where the machine stops by itself.
    slowest_rpm, fastest_rpm
        Of the spindle.
    feed_mm_min, rapid_mm_min, acceleration_mm_s2
        The fastest cutting feed, the speed of rapid moves, and how quickly either is reached.
    clear_mm
        How far from the metal rapid moves keep; at least 0.5.
    decimals
        Places of a length, 3 or more (RS-274/NGC as in the LinuxCNC documentation, "Best practices").
    arcs, percent, coolant, line_numbers
        Whether arcs are written as G2 and G3, ``%`` about the program, M8 and M9, and N words.
    """

    id: str = "three-axis"
    title: str = ""
    axes: tuple[int, int, int] = (0, 1, 2)
    signs: tuple[int, int, int] = (1, 1, 1)
    origin_mm: Place = (0.0, 0.0, 0.0)
    travel_mm: tuple[tuple[float, float] | None, ...] = (None, None, None)
    slowest_rpm: float = 50.0
    fastest_rpm: float = 24000.0
    feed_mm_min: float = 1500.0
    rapid_mm_min: float = 3000.0
    acceleration_mm_s2: float = 300.0
    clear_mm: float = 1.0
    decimals: int = 3
    arcs: bool = True
    percent: bool = False
    coolant: bool = False
    line_numbers: bool = False
