"""What a cutter must keep away from: bow and clamp, and the blank at the first and the last position."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from bittern.engines.blade.outline import Point
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.forms import list_bites
from bittern.engines.cutting.metal import Metal, Struck
from bittern.engines.cutting.motion import Place
from bittern.engines.cutting.target import Target

CLEAR_MM: Final = 0.5
"""Formats: the first and the last position keep this distance from the blank."""
ROUNDING_MM: Final = 0.002
BOW_MM: Final = 40.0
"""How far the bow is looked at behind the shoulder."""
_BOW_STEP_MM: Final = 0.05
MOST_LINES: Final = 20


def find_bow_moves(metal: Metal, target: Target) -> list[Struck]:
    """Return the moves that enter the bow: behind the shoulder, within the height of the blank.

    Notes
    -----
    A mill does so only below n = 0. The bow stands out from the blade at its shoulder and the clamp holds it
    there. How high the clamp is and how far the bow stands out is not known, so only the space is looked at
    that the blank itself would fill.
    """
    behind = np.concatenate([[ROUNDING_MM], np.arange(_BOW_STEP_MM, BOW_MM, _BOW_STEP_MM)])
    columns = -behind[::-1] if target.from_bow else target.standard.length_mm + behind
    found: list[Struck] = []
    for bite in list_bites(metal.form, metal.table, columns, metal.top_mm):
        move = metal.slabs.strokes[bite.stroke].move
        if not metal.slabs.hits[bite.stroke] or (found and found[-1].move == move):
            continue
        low = np.maximum(bite.low_mm, metal.bottom_mm)
        depth = float((np.minimum(bite.high_mm, metal.top_mm) - low).max())
        if depth > ROUNDING_MM:
            found.append(Struck(move, depth))
            if len(found) >= MOST_LINES:
                break
    return found


@dataclass(frozen=True, slots=True)
class _Box:
    """The blank in the plane of x and h."""

    right: float
    bottom: float
    top: float

    def get_distance(self, point: Point) -> float:
        x, h = point
        return math.hypot(max(0.0, -x, x - self.right), max(0.0, self.bottom - h, h - self.top))

    @property
    def corners(self) -> tuple[Point, ...]:
        return ((0.0, self.bottom), (self.right, self.bottom), (self.right, self.top), (0.0, self.top))


def get_distance_mm(cutter: Cutter, place: Place, target: Target) -> float:
    """Return how far a cutter with its point at ``place`` (x, h, n) is from the blank, in mm; 0 inside it.

    Notes
    -----
    A wheel is its V, whatever n is. An end mill above the upper face keeps its n as distance too.
    """
    box = _Box(target.standard.length_mm, target.bottom_mm, target.top_mm)
    x, h, n = place
    if cutter.kind == "wheel":
        half = (cutter.flat_mm or 0.0) / 2
        return _get_wheel_distance(box, x, h, half, math.radians(cutter.angle_deg or 0.0) / 2)
    aside = max(0.0, box.get_distance((x, h)) - cutter.diameter_mm / 2)
    return math.hypot(aside, max(0.0, n))


def _get_wheel_distance(box: _Box, x: float, h: float, half: float, half_angle: float) -> float:
    """Return the distance of two convex shapes: the least between the corners of one and the other shape."""
    nearest = min(max(x, 0.0), box.right)
    if h + max(0.0, abs(nearest - x) - half) / math.tan(half_angle) < box.top:
        return 0.0
    ends = [box.get_distance((x + side, h)) for side in (-half, half)]
    if 0 <= x <= box.right:
        ends.append(h - box.top)
    right, up = math.sin(half_angle), math.cos(half_angle)
    for corner_x, corner_h in box.corners:
        across, over = abs(corner_x - x) - half, corner_h - h
        if across <= 0:
            ends.append(-over)
            continue
        along = max(0.0, across * right + over * up)
        ends.append(math.hypot(across - along * right, over - along * up))
    return min(ends)
