"""How long a path takes, with the time that speeding up and slowing down cost."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Duration:
    """Length in mm and time in s of a path, and how much of either is at a cutting feed."""

    length_mm: float
    time_s: float
    cutting_mm: float
    cutting_s: float


def get_move_time_s(length_mm: float, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Return how long a move from rest to rest takes.

    Notes
    -----
    A trapezoid of speed over time, ``s / v + v / a``; where the way is too short to reach the speed
    (``s < v**2 / a``) a triangle, ``2 sqrt(s / a)``. Plane kinematics.

    Examples
    --------
    >>> get_move_time_s(10.0, 5.0, 10.0), get_move_time_s(2.5, 10.0, 10.0)
    (2.5, 1.0)
    """
    if length_mm <= 0:
        return 0.0
    if length_mm < speed_mm_s**2 / acceleration_mm_s2:
        return 2 * math.sqrt(length_mm / acceleration_mm_s2)
    return length_mm / speed_mm_s + speed_mm_s / acceleration_mm_s2


def get_duration(moves: Iterable[tuple[float, float, bool]], acceleration_mm_s2: float) -> Duration:
    """Return the duration of moves given as length in mm, speed in mm/min and whether they cut.

    Notes
    -----
    Every move begins and ends at rest: an upper bound for a machine that looks ahead and rounds nothing.
    """
    length = time = cutting = cutting_time = 0.0
    for length_mm, speed_mm_min, cuts in moves:
        needed = get_move_time_s(length_mm, speed_mm_min / 60, acceleration_mm_s2)
        length, time = length + length_mm, time + needed
        if cuts:
            cutting, cutting_time = cutting + length_mm, cutting_time + needed
    return Duration(length, time, cutting, cutting_time)
