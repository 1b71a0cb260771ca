"""What a cutter's form removes along a stroke: at each x one stretch of heights, in closed form."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.strokes import Floats, StrokeTable

CHUNK: Final = 1_000_000
"""Pairs of stroke and place worked on at once: about 100 MB."""
UPRIGHT_MM: Final = 1e-9
"""Strokes that go along x by less are upright: only their ends count."""


class Form(Protocol):
    """A cutter seen along n (an end mill) or along the blade's thickness (a wheel)."""

    def find_reach_mm(self, strokes: StrokeTable, top_mm: float) -> tuple[Floats, Floats]:
        """Return the least and the largest x at which each stroke can take metal below ``top_mm``."""
        ...

    def measure(self, strokes: StrokeTable, x_mm: Floats) -> tuple[Floats, Floats]:
        """Return the lowest and the highest height that stroke ``i`` removes at ``x_mm[i]``.

        Where it removes nothing they are infinite and the wrong way round.
        """
        ...

    def get_lowest(self, across_mm: Floats) -> Floats:
        """Return how far above its point the form begins, at a distance along x; infinite beyond it."""
        ...

    def grow(self, by_mm: float) -> Form:
        """Return the form larger by so much on every side, about the same point."""
        ...


@dataclass(frozen=True, slots=True)
class DiscForm:
    """An end mill: a disc about its middle.

    Notes
    -----
    A disc whose middle goes along a stroke removes, at one x, a stretch of heights without a gap: the
    stretches of its places follow each other without a jump, as x does not turn back along a stroke. The
    ends of this stretch lie on the discs at the stroke's ends, on the parallels of a line, or on the circles
    about an arc's centre whose radii are the arc's and the disc's, added or subtracted.
    """

    radius_mm: float

    def find_reach_mm(self, strokes: StrokeTable, top_mm: float) -> tuple[Floats, Floats]:
        """Return the disc's own ends."""
        return strokes.left_x - self.radius_mm, strokes.right_x + self.radius_mm

    def grow(self, by_mm: float) -> DiscForm:
        """Return a larger disc."""
        return DiscForm(self.radius_mm + by_mm)

    def get_lowest(self, across_mm: Floats) -> Floats:
        """Return the lower half of the circle, from its middle's height."""
        under = self.radius_mm**2 - across_mm**2
        return np.where(under >= 0, -np.sqrt(np.maximum(0.0, under)), np.inf)

    def measure(self, strokes: StrokeTable, x_mm: Floats) -> tuple[Floats, Floats]:
        """Return the stretch of heights in closed form."""
        low, high = np.full(len(x_mm), np.inf), np.full(len(x_mm), -np.inf)
        for end_x, end_h in ((strokes.left_x, strokes.left_h), (strokes.right_x, strokes.right_h)):
            across = self.radius_mm**2 - (x_mm - end_x) ** 2
            inside = across >= 0
            half = np.sqrt(np.maximum(0.0, across))
            low = np.where(inside, np.minimum(low, end_h - half), low)
            high = np.where(inside, np.maximum(high, end_h + half), high)
        arcs = np.flatnonzero(strokes.radius_mm > 0)
        lines = np.flatnonzero((strokes.radius_mm == 0) & (strokes.right_x - strokes.left_x > UPRIGHT_MM))
        self._add_parallels(strokes.take(lines), x_mm[lines], lines, low, high)
        self._add_circles(strokes.take(arcs), x_mm[arcs], arcs, low, high)
        return low, high

    def _add_parallels(
        self, lines: StrokeTable, x_mm: Floats, rows: NDArray[np.intp], low: Floats, high: Floats
    ) -> None:
        dx, dh = lines.right_x - lines.left_x, lines.right_h - lines.left_h
        length = np.hypot(dx, dh)
        right, up = dx / length, dh / length
        middle = lines.left_h + (x_mm - lines.left_x) * (dh / dx)
        rise = self.radius_mm / right
        for sign, into in ((-1, low), (1, high)):
            shift = -sign * self.radius_mm * up
            inside = (x_mm >= lines.left_x + shift) & (x_mm <= lines.right_x + shift)
            height = middle + sign * rise
            into[rows] = np.where(inside, _outer(sign, into[rows], height), into[rows])

    def _add_circles(
        self, arcs: StrokeTable, x_mm: Floats, rows: NDArray[np.intp], low: Floats, high: Floats
    ) -> None:
        from_x = (arcs.left_x - arcs.centre_x) / arcs.radius_mm
        to_x = (arcs.right_x - arcs.centre_x) / arcs.radius_mm
        across = x_mm - arcs.centre_x
        for sign, into in ((-1, low), (1, high)):
            # Over an upper arc the disc's top lies on the larger circle and its bottom on the smaller one.
            radius = arcs.radius_mm + sign * arcs.side * self.radius_mm
            inside = (radius > 0) & (across >= radius * from_x) & (across <= radius * to_x)
            height = arcs.centre_h + arcs.side * np.sqrt(np.maximum(0.0, radius**2 - across**2))
            into[rows] = np.where(inside, _outer(sign, into[rows], height), into[rows])


@dataclass(frozen=True, slots=True)
class WheelForm:
    """A V with a flat, open upward without end; what is programmed is the middle of the flat.

    Notes
    -----
    Along a line the lowest height at one x lies where the line ends or where an end of the flat passes x;
    along the upper half of a circle too, as the height there is concave; along the lower half also where
    it is level or as steep as a flank. All of these are tried.
    """

    half_flat_mm: float
    slope: float
    under_mm: float = 0.0
    """How far the flat lies below the point: 0 but for a form that was grown."""

    def find_reach_mm(self, strokes: StrokeTable, top_mm: float) -> tuple[Floats, Floats]:
        """Return where the flanks pass ``top_mm``; nothing (the ends swapped) for strokes above it."""
        lowest = np.minimum(strokes.left_h, strokes.right_h)
        under = (
            (strokes.side < 0) & (strokes.left_x < strokes.centre_x) & (strokes.right_x > strokes.centre_x)
        )
        lowest = np.where(under, strokes.centre_h - strokes.radius_mm, lowest)
        lowest = lowest - self.under_mm
        reach = self.half_flat_mm + (top_mm - lowest) / self.slope
        reach = np.where(lowest < top_mm, reach, -np.inf)
        return strokes.left_x - reach, strokes.right_x + reach

    def grow(self, by_mm: float) -> WheelForm:
        """Return the form with its flat and its flanks moved out."""
        secant = math.hypot(1.0, self.slope)
        return WheelForm(self.half_flat_mm + by_mm * (secant - 1) / self.slope, self.slope, by_mm)

    def get_lowest(self, across_mm: Floats) -> Floats:
        """Return the V from its point's height."""
        return np.maximum(0.0, np.abs(across_mm) - self.half_flat_mm) * self.slope - self.under_mm

    def measure(self, strokes: StrokeTable, x_mm: Floats) -> tuple[Floats, Floats]:
        """Return the lowest height in closed form; the highest is infinite."""
        low = np.minimum(
            strokes.left_h + self.get_lowest(x_mm - strokes.left_x),
            strokes.right_h + self.get_lowest(x_mm - strokes.right_x),
        )
        places = [x_mm - self.half_flat_mm, x_mm + self.half_flat_mm]
        if np.any(strokes.side < 0):
            steep = strokes.radius_mm * self.slope / math.hypot(1.0, self.slope)
            places += [strokes.centre_x, strokes.centre_x - steep, strokes.centre_x + steep]
        width = strokes.right_x - strokes.left_x
        fall = np.divide(
            strokes.right_h - strokes.left_h, width, out=np.zeros_like(width), where=width > UPRIGHT_MM
        )
        for wanted in places:
            place = np.clip(wanted, strokes.left_x, strokes.right_x)
            line = strokes.left_h + (place - strokes.left_x) * fall
            across = strokes.radius_mm**2 - (place - strokes.centre_x) ** 2
            arc = strokes.centre_h + strokes.side * np.sqrt(np.maximum(0.0, across))
            height = np.where(strokes.radius_mm > 0, arc, line)
            height = np.where(width > UPRIGHT_MM, height, np.inf)
            low = np.minimum(low, height + self.get_lowest(x_mm - place))
        return low, np.full(len(x_mm), np.inf)


def _outer(sign: int, one: Floats, other: Floats) -> Floats:
    """Return the lower of both for sign -1, the higher for 1."""
    return np.minimum(one, other) if sign < 0 else np.maximum(one, other)


def get_form(cutter: Cutter) -> Form:
    """Return the form of a sound cutter."""
    if cutter.kind == "wheel":
        angle = math.radians(cutter.angle_deg or 0.0)
        return WheelForm((cutter.flat_mm or 0.0) / 2, 1 / math.tan(angle / 2))
    return DiscForm(cutter.diameter_mm / 2)


def count_places(form: Form, strokes: StrokeTable, columns_mm: Floats, top_mm: float) -> int:
    """Return at how many places, over all strokes, a form would be measured."""
    left, right = form.find_reach_mm(strokes, top_mm)
    counts = np.searchsorted(columns_mm, right, side="right") - np.searchsorted(columns_mm, left)
    return int(np.maximum(0, counts).sum())


@dataclass(frozen=True, slots=True)
class Bite:
    """What one stroke removes: its number, the columns it touches, the lowest and highest height there."""

    stroke: int
    columns: slice
    low_mm: Floats
    high_mm: Floats


def list_bites(form: Form, strokes: StrokeTable, columns_mm: Floats, top_mm: float) -> Iterator[Bite]:
    """Yield in order what each stroke that touches some of ``columns_mm`` (x, growing) removes there."""
    left, right = form.find_reach_mm(strokes, top_mm)
    begin = np.searchsorted(columns_mm, left, side="left")
    end = np.searchsorted(columns_mm, right, side="right")
    counts = np.maximum(0, end - begin)
    ends = np.cumsum(counts)
    first = 0
    while first < len(counts):
        before = int(ends[first] - counts[first])
        last = max(first + 1, int(np.searchsorted(ends, before + CHUNK, side="right")))
        rows = np.repeat(np.arange(first, last), counts[first:last])
        starts = ends[first:last] - counts[first:last] - before
        at = np.arange(len(rows)) - starts[rows - first] + begin[rows]
        low, high = form.measure(strokes.take(rows), columns_mm[at])
        for row in range(first, last):
            if counts[row]:
                part = slice(int(starts[row - first]), int(starts[row - first] + counts[row]))
                yield Bite(row, slice(int(begin[row]), int(end[row])), low[part], high[part])
        first = last


def get_lowest_cut(form: Form, strokes: StrokeTable, x_mm: Floats, top_mm: float) -> Floats:
    """Return the lowest height removed at each of ``x_mm`` (growing); infinite where nothing is."""
    lowest = np.full(len(x_mm), np.inf)
    for bite in list_bites(form, strokes, x_mm, top_mm):
        np.minimum(lowest[bite.columns], bite.low_mm, out=lowest[bite.columns])
    return lowest
