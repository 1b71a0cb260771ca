"""Strokes: the moves of a program on the blade, each short enough that x grows or falls all along it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.outline import Point
from bittern.engines.cutting.errors import SweepError
from bittern.engines.cutting.motion import Frame, Motion, Move, Place

Floats = NDArray[np.float64]

CHORD_ERROR_MM: Final = 0.0002
"""An arc that is none on the blade's face becomes chords, which differ from it by at most this."""
SAME_RADIUS_MM: Final = 0.001
"""Rounding of a program's words to 0.001 mm; radii that differ by more make a spiral."""
MOST_STROKES: Final = 100_000
"""A sweep of so many takes a mill fifteen seconds."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A part of a move: straight, or on a circle about ``centre`` from ``angle`` by ``turn`` (radian).

    ``start`` and ``end`` are x, h, n on the blade in mm; along an arc n changes in proportion to the angle.
    ``move`` is the move's number in the motion.
    """

    move: int
    start: Place
    end: Place
    centre: Point | None = None
    radius_mm: float = 0.0
    angle: float = 0.0
    turn: float = 0.0

    @property
    def length_mm(self) -> float:
        """Return the length of the way."""
        if self.centre is None:
            return math.dist(self.start, self.end)
        return math.hypot(self.turn * self.radius_mm, self.end[2] - self.start[2])

    def get_place(self, share: float) -> Place:
        """Return x, h, n after ``share`` (0 to 1) of the way."""
        if share <= 0:
            return self.start
        if share >= 1:
            return self.end
        x, h, n = (a + (b - a) * share for a, b in zip(self.start, self.end, strict=True))
        if self.centre is None:
            return (x, h, n)
        angle = self.angle + self.turn * share
        return (
            self.centre[0] + self.radius_mm * math.cos(angle),
            self.centre[1] + self.radius_mm * math.sin(angle),
            n,
        )

    def part(self, low: float, high: float) -> Stroke:
        """Return the stroke from one share of its way to another."""
        return Stroke(
            self.move,
            self.get_place(low),
            self.get_place(high),
            self.centre,
            self.radius_mm,
            self.angle + self.turn * low,
            self.turn * (high - low),
        )


def list_strokes(motion: Motion) -> list[Stroke]:
    """Return every move of a program as strokes in order.

    Raises
    ------
    SweepError
        There would be too many.

    Notes
    -----
    An arc in the plane of x and h stays an arc; one in another plane, or one whose radii disagree by more
    than rounding, becomes chords within ``CHORD_ERROR_MM`` of it.
    """
    strokes: list[Stroke] = []
    for number, move in enumerate(motion.moves):
        for stroke in _split_move(motion.frame, move, number):
            strokes.extend(_split_monotone(stroke))
        if len(strokes) > MOST_STROKES:
            raise SweepError(
                f"a program of more than {MOST_STROKES:,} pieces", "a shorter one", where=f"line {move.line}"
            )
    return strokes


def split_at_levels(strokes: Sequence[Stroke], levels_mm: Sequence[float]) -> list[Stroke]:
    """Return the strokes with those that go down or up cut at each of ``levels_mm`` (of n).

    The lower end of each is added as a stroke of no length, so that the place where it stands counts.
    """
    parts: list[Stroke] = []
    for stroke in strokes:
        n0, n1 = stroke.start[2], stroke.end[2]
        if n0 == n1:
            parts.append(stroke)
            continue
        shares = sorted((level - n0) / (n1 - n0) for level in levels_mm)
        stops = [0.0, *(share for share in shares if 0 < share < 1), 1.0]
        parts += [stroke.part(low, high) for low, high in pairwise(stops)]
        lowest = stroke.start if n0 < n1 else stroke.end
        parts.append(Stroke(stroke.move, lowest, lowest))
    return parts


def _split_move(frame: Frame, move: Move, number: int) -> Iterator[Stroke]:
    start, end = frame.to_blade(move.start), frame.to_blade(move.end)
    if move.centre is None:
        yield Stroke(number, start, end)
        return
    first, last = math.dist(move.start[:2], move.centre), math.dist(move.end[:2], move.centre)
    begin = math.atan2(move.start[1] - move.centre[1], move.start[0] - move.centre[0])
    finish = math.atan2(move.end[1] - move.centre[1], move.end[0] - move.centre[0])
    turn = (begin - finish if move.clockwise else finish - begin) % (2 * math.pi)
    if turn < 1e-9 or math.dist(move.start[:2], move.end[:2]) < 1e-9:
        turn = 2 * math.pi
    turn = -turn if move.clockwise else turn
    if frame.axes[2] == 2 and abs(first - last) <= SAME_RADIUS_MM:
        x, h, _ = frame.to_blade((*move.centre, 0.0))
        mirrored = (frame.axes[0] > frame.axes[1]) != (frame.signs[0] * frame.signs[1] < 0)
        angle = math.atan2(start[1] - h, start[0] - x)
        radius = (first + last) / 2
        yield Stroke(number, start, end, (x, h), radius, angle, -turn if mirrored else turn)
        return
    widest = 2 * math.acos(max(-1.0, 1 - CHORD_ERROR_MM / max(first, last, CHORD_ERROR_MM)))
    count = math.ceil(abs(turn) / widest)
    if count > MOST_STROKES:
        raise SweepError(
            f"an arc of radius {first:g} mm", "arcs on the blade's face", where=f"line {move.line}"
        )
    places = [start]
    for step in range(1, count):
        share = step / count
        radius, angle = first + (last - first) * share, begin + turn * share
        z = move.start[2] + (move.end[2] - move.start[2]) * share
        x, y = move.centre[0] + radius * math.cos(angle), move.centre[1] + radius * math.sin(angle)
        places.append(frame.to_blade((x, y, z)))
    for one, other in pairwise([*places, end]):
        yield Stroke(number, one, other)


def _split_monotone(stroke: Stroke) -> Iterator[Stroke]:
    """Yield the parts between the leftmost and rightmost places of an arc's circle."""
    if stroke.centre is None:
        yield stroke
        return
    low, high = sorted((stroke.angle, stroke.angle + stroke.turn))
    halves = range(math.floor(low / math.pi) + 1, math.ceil(high / math.pi))
    shares = sorted((half * math.pi - stroke.angle) / stroke.turn for half in halves)
    stops = [0.0, *(share for share in shares if 1e-12 < share < 1 - 1e-12), 1.0]
    for one, other in pairwise(stops):
        yield stroke.part(one, other)


@dataclass(frozen=True, slots=True)
class StrokeTable:
    """Strokes as columns of numbers, from left to right each; lines have ``radius_mm`` 0.

    ``side`` is 1 for the upper half of a circle and -1 for the lower.
    """

    left_x: Floats
    left_h: Floats
    right_x: Floats
    right_h: Floats
    centre_x: Floats
    centre_h: Floats
    radius_mm: Floats
    side: Floats

    def __len__(self) -> int:
        return len(self.left_x)

    def take(self, rows: NDArray[np.intp] | NDArray[np.bool_] | slice) -> StrokeTable:
        """Return some of the strokes, or one for each of ``rows``."""
        return StrokeTable(
            self.left_x[rows],
            self.left_h[rows],
            self.right_x[rows],
            self.right_h[rows],
            self.centre_x[rows],
            self.centre_h[rows],
            self.radius_mm[rows],
            self.side[rows],
        )


def tabulate(strokes: Sequence[Stroke]) -> StrokeTable:
    """Return strokes as a table."""
    rows = np.array([_flatten(stroke) for stroke in strokes], dtype=np.float64).reshape(-1, 8)
    return StrokeTable(*(np.ascontiguousarray(rows[:, column]) for column in range(8)))


def _flatten(stroke: Stroke) -> tuple[float, ...]:
    left, right = sorted((stroke.start[:2], stroke.end[:2]))
    if stroke.centre is None:
        return (*left, *right, 0.0, 0.0, 0.0, 1.0)
    side = 1.0 if math.sin(stroke.angle + stroke.turn / 2) >= 0 else -1.0
    return (*left, *right, *stroke.centre, stroke.radius_mm, side)
