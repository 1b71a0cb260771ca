"""A second, plain reading of a program: what a cutter leaves, by small steps and exact hulls.

It shares nothing with the planner nor with the program reader: words by a regular expression, arcs by many
chords, the wheel's form by the exact minimum over each straight move.
"""

from __future__ import annotations

import math
import re
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bittern.engines.cutting.cutter import Cutter

Floats = NDArray[np.float64]


def list_places(text: str, step_mm: float = 0.005) -> list[tuple[str, NDArray[np.float64]]]:
    """Return each move's word and its places, rows of X, Y and Z; arcs as chords of at most ``step_mm``."""
    at = {"X": math.nan, "Y": math.nan, "Z": math.nan}
    moves = []
    for line in text.splitlines():
        words = dict(re.findall(r"([A-Z])([-+]?[\d.]+)", re.sub(r"\(.*?\)", "", line)))
        if not set(words) & set("XYZ"):
            continue
        start = dict(at)
        at.update({axis: float(words[axis]) for axis in "XYZ" if axis in words})
        ends = np.array([[*start.values()], [*at.values()]])
        if words["G"] in ("2", "3"):
            ends = _walk_arc(ends, float(words["I"]), float(words["J"]), words["G"] == "2", step_mm)
        moves.append((f"G{words['G']}", ends))
    return moves


def _walk_arc(ends: Floats, i: float, j: float, clockwise: bool, step_mm: float) -> Floats:
    centre = ends[0, :2] + (i, j)
    radius = math.hypot(i, j)
    first, last = (math.atan2(*(end[:2] - centre)[::-1]) for end in ends)
    turn = (last - first) % (2 * math.pi)
    turn = turn - 2 * math.pi if clockwise else turn
    angles = first + turn * np.linspace(0, 1, max(2, math.ceil(abs(turn) * radius / step_mm) + 1))
    places = np.column_stack([centre[0] + radius * np.cos(angles), centre[1] + radius * np.sin(angles)])
    places = np.column_stack([places, np.full(len(angles), ends[0, 2])])
    places[0], places[-1] = ends
    return places


def carve(text: str, cutter: Cutter, x_mm: Floats, uncut_mm: float, thickness_mm: float) -> Floats:
    """Return the height that is left at each x, of an upper edge with the axes as they are by default."""
    left = np.full(len(x_mm), uncut_mm)
    for _, places in list_places(text):
        for (x0, h0, n0), (x1, h1, n1) in pairwise(places):
            if math.isnan(x0 + h0 + n0):
                continue
            if cutter.kind == "wheel":
                low = _get_wheel_heights(cutter, x_mm, x0, h0, x1, h1)
            elif max(n0, n1) > -thickness_mm:
                continue
            else:
                low = _get_disc_heights(cutter.diameter_mm / 2, x_mm, x0, h0, x1, h1)
            left = np.minimum(left, low)
    return left


def _get_wheel_heights(cutter: Cutter, x: Floats, x0: float, h0: float, x1: float, h1: float) -> Floats:
    assert cutter.flat_mm is not None
    assert cutter.angle_deg is not None
    half, slope = cutter.flat_mm / 2, 1 / math.tan(math.radians(cutter.angle_deg) / 2)
    shares = [np.zeros_like(x), np.ones_like(x)]
    if x1 != x0:
        # Linear between the places where x passes the flat's two ends.
        shares += [np.clip((x + side - x0) / (x1 - x0), 0, 1) for side in (-half, half)]
    low = np.full(len(x), math.inf)
    for t in shares:
        across = np.maximum(0.0, abs(x - x0 - t * (x1 - x0)) - half)
        low = np.minimum(low, h0 + t * (h1 - h0) + slope * across)
    return low


def _get_disc_heights(radius: float, x: Floats, x0: float, h0: float, x1: float, h1: float) -> Floats:
    length = math.hypot(x1 - x0, h1 - h0)
    low = np.full(len(x), math.inf)
    for t in np.linspace(0, 1, max(2, math.ceil(length / 0.01) + 1)):
        middle_x, middle_h = x0 + t * (x1 - x0), h0 + t * (h1 - h0)
        near = slice(*np.searchsorted(x, [middle_x - radius, middle_x + radius]))
        across = np.sqrt(np.maximum(0.0, radius**2 - (x[near] - middle_x) ** 2))
        low[near] = np.minimum(low[near], middle_h - across)
    return low
