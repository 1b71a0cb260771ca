"""The path of a cutter's point along an outline: exact lines and arcs, by the form of the cutter."""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from bittern.engines.blade.outline import Point

# Below this two places are one: far under any machine's step, far above the rounding of a double.
SAME_MM = 1e-9
# Heights that differ by less were the same before they were computed in two ways.
ROUNDING_MM = 1e-12


@dataclass(frozen=True, slots=True)
class Piece:
    """A straight line or the upper arc of a circle over ``start_mm`` to ``end_mm`` of x.

    A line is ``h = h0_mm + slope * (x - start_mm)``; an arc has ``radius_mm`` above 0 and its centre.
    """

    start_mm: float
    end_mm: float
    h0_mm: float = 0.0
    slope: float = 0.0
    centre: Point = (0.0, 0.0)
    radius_mm: float = 0.0

    def get_height_mm(self, x_mm: float) -> float:
        """Return the height at ``x_mm``, in mm."""
        if not self.radius_mm:
            return self.h0_mm + self.slope * (x_mm - self.start_mm)
        across = x_mm - self.centre[0]
        return self.centre[1] + math.sqrt(max(0.0, self.radius_mm**2 - across**2))

    def lies_at(self, h_mm: float) -> bool:
        """Return whether the piece is a level line at ``h_mm``."""
        return (self.radius_mm, self.slope, self.h0_mm) == (0.0, 0.0, h_mm)

    def find_x_mm(self, h_mm: float) -> list[float]:
        """Return where the piece passes through ``h_mm``."""
        if not self.radius_mm:
            found = [self.start_mm + (h_mm - self.h0_mm) / self.slope] if self.slope else []
        else:
            over = h_mm - self.centre[1]
            if not 0 <= over <= self.radius_mm + 2 * SAME_MM:
                return []
            # A level that touches the top of the arc parts its two sides; rounding must not hide that.
            reach = math.sqrt(max(0.0, self.radius_mm**2 - over**2))
            found = [self.centre[0] - reach, self.centre[0] + reach]
        return [x for x in found if self.start_mm <= x <= self.end_mm]

    def trim(self, start_mm: float, end_mm: float) -> Piece:
        """Return the part of the piece from ``start_mm`` to ``end_mm``."""
        return replace(self, start_mm=start_mm, end_mm=end_mm, h0_mm=self.get_height_mm(start_mm))

    def lift(self, by_mm: float) -> Piece:
        """Return the piece higher by ``by_mm``."""
        return replace(self, h0_mm=self.h0_mm + by_mm, centre=(self.centre[0], self.centre[1] + by_mm))

    def mirror(self, about_mm: float) -> Piece:
        """Return the piece seen the other way along the blade: x becomes ``about_mm - x``."""
        return Piece(
            about_mm - self.end_mm,
            about_mm - self.start_mm,
            self.get_height_mm(self.end_mm),
            -self.slope,
            (about_mm - self.centre[0], self.centre[1]),
            self.radius_mm,
        )


Part = tuple[Piece, ...]
"""What the cutter's form makes of one segment of the outline: its parallel, and what is about its ends."""


@dataclass(frozen=True, slots=True)
class Profile:
    """Pieces from left to right without a gap: one height at every x."""

    pieces: tuple[Piece, ...]

    @property
    def start_mm(self) -> float:
        """Return where it begins."""
        return self.pieces[0].start_mm

    @property
    def end_mm(self) -> float:
        """Return where it ends."""
        return self.pieces[-1].end_mm

    def get_height_mm(self, x_mm: float) -> float:
        """Return the height at ``x_mm``, in mm."""
        at = bisect.bisect_right(self.pieces, x_mm, key=lambda piece: piece.start_mm) - 1
        return self.pieces[max(0, at)].get_height_mm(x_mm)

    def clip(self, start_mm: float, end_mm: float) -> Profile:
        """Return the part from ``start_mm`` to ``end_mm``."""
        parts = []
        for piece in self.pieces:
            low, high = max(start_mm, piece.start_mm), min(end_mm, piece.end_mm)
            if high - low > SAME_MM:
                parts.append(piece.trim(low, high))
        return Profile(tuple(parts))

    def mirror(self, about_mm: float) -> Profile:
        """Return the profile seen the other way along the blade."""
        return Profile(tuple(piece.mirror(about_mm) for piece in reversed(self.pieces)))

    def raise_to(self, floor_mm: float) -> Profile:
        """Return the profile with everything below ``floor_mm`` raised to it."""
        pieces: list[Piece] = []
        for piece, low, high in self._split_at(floor_mm):
            if piece.get_height_mm((low + high) / 2) >= floor_mm:
                pieces.append(piece.trim(low, high))
            elif pieces and pieces[-1].lies_at(floor_mm):
                pieces[-1] = replace(pieces[-1], end_mm=high)
            else:
                pieces.append(Piece(low, high, floor_mm))
        return Profile(tuple(pieces))

    def list_below(self, level_mm: float) -> list[Profile]:
        """Return the longest parts that lie below ``level_mm``, from left to right."""
        parts: list[list[Piece]] = []
        for piece, low, high in self._split_at(level_mm):
            if piece.get_height_mm((low + high) / 2) >= level_mm - SAME_MM:
                continue
            if parts and low - parts[-1][-1].end_mm <= SAME_MM:
                parts[-1].append(piece.trim(low, high))
            else:
                parts.append([piece.trim(low, high)])
        return [Profile(tuple(part)) for part in parts]

    def _split_at(self, level_mm: float) -> Iterator[tuple[Piece, float, float]]:
        for piece in self.pieces:
            inside = [
                x for x in piece.find_x_mm(level_mm) if piece.start_mm + SAME_MM < x < piece.end_mm - SAME_MM
            ]
            for low, high in pairwise([piece.start_mm, *inside, piece.end_mm]):
                if high - low > SAME_MM:
                    yield piece, low, high

    def turn_over(self) -> list[tuple[Point, Point, Point | None]]:
        """Return the pieces as start, end and centre, with every height negated."""
        return [
            ((x0, -h0), (x1, -h1), None if centre is None else (centre[0], -centre[1]))
            for (x0, h0), (x1, h1), centre in self.list_stretches()
        ]

    def list_stretches(self) -> list[tuple[Point, Point, Point | None]]:
        """Return the pieces as start, end and an arc's centre."""
        return [
            (
                (piece.start_mm, piece.get_height_mm(piece.start_mm)),
                (piece.end_mm, piece.get_height_mm(piece.end_mm)),
                piece.centre if piece.radius_mm else None,
            )
            for piece in self.pieces
        ]


def compensate_disc(outline: Sequence[Point], radius_mm: float) -> Profile:
    """Return where the middle of a disc runs that touches ``outline`` from above and never enters it.

    Parameters
    ----------
    outline
        ``(x_mm, h_mm)``, x strictly growing; the metal is below it.
    radius_mm
        Of the disc, 0 or more.

    Returns
    -------
    Profile
        From the outline's first x to its last: parallels of its segments, arcs about the corners that stand
        out, and where a corner is hollow the crossing of both.

    Notes
    -----
    The upper boundary of the Minkowski sum of the metal and the disc,
    ``p(X) = max over u of h(X + u) + sqrt(r**2 - u**2)``. It is the upper envelope of what the disc makes of
    each segment. Each of these is a maximum over translates of one concave function, taken in the order of x;
    two translates of a concave function cross once, the left one being higher on the left. So the envelope
    is found in one pass with a stack, in time linear in the number of vertices, whatever loops the parallels
    make. Exact but for the rounding of doubles; the crossings are solved in closed form.

    Examples
    --------
    A corner that stands out becomes an arc about it (the second is published: see the tests).

    >>> path = compensate_disc([(0.0, 1.0), (2.0, 1.0), (4.0, -1.0)], 0.5)
    >>> [(round(piece.start_mm, 3), piece.radius_mm) for piece in path.pieces]
    [(0.0, 0.0), (2.0, 0.5), (2.354, 0.0)]
    """
    if radius_mm <= 0:
        return _clip_to(outline, list(_follow(outline)))
    return _clip_to(outline, _take_upper(_list_disc_parts(outline, radius_mm)))


def compensate_form(outline: Sequence[Point], flat_mm: float) -> Profile:
    """Return where the middle of a wheel's flat runs that touches ``outline`` and never enters it.

    Parameters
    ----------
    outline
        ``(x_mm, h_mm)``, x strictly growing; no flank of it steeper than the wheel's.
    flat_mm
        Width of the wheel's flat, 0 or more.

    Notes
    -----
    ``p(X) = max of h over X - flat/2 to X + flat/2``: as the wheel's flanks are at least as steep as the
    outline's, they touch nothing that the flat does not touch first. The same envelope as of
    :func:`compensate_disc`, of lines alone.
    """
    if flat_mm <= 0:
        return _clip_to(outline, list(_follow(outline)))
    return _clip_to(outline, _take_upper(_list_flat_parts(outline, flat_mm / 2)))


def _clip_to(outline: Sequence[Point], pieces: Sequence[Piece]) -> Profile:
    return Profile(tuple(pieces)).clip(outline[0][0], outline[-1][0])


def _follow(outline: Sequence[Point]) -> Iterator[Piece]:
    for (x0, h0), (x1, h1) in pairwise(outline):
        yield Piece(x0, x1, h0, (h1 - h0) / (x1 - x0))


def _list_disc_parts(outline: Sequence[Point], radius: float) -> Iterator[Part]:
    for (x0, h0), (x1, h1) in pairwise(outline):
        slope = (h1 - h0) / (x1 - x0)
        secant = math.hypot(1.0, slope)
        aside = -slope / secant * radius
        yield (
            Piece(x0 - radius, x0 + aside, centre=(x0, h0), radius_mm=radius),
            Piece(x0 + aside, x1 + aside, h0 + radius / secant, slope),
            Piece(x1 + aside, x1 + radius, centre=(x1, h1), radius_mm=radius),
        )


def _list_flat_parts(outline: Sequence[Point], half: float) -> Iterator[Part]:
    for (x0, h0), (x1, h1) in pairwise(outline):
        slope = (h1 - h0) / (x1 - x0)
        if slope > 0:
            yield Piece(x0 - half, x1 - half, h0, slope), Piece(x1 - half, x1 + half, h1)
        elif slope < 0:
            yield Piece(x0 - half, x0 + half, h0), Piece(x0 + half, x1 + half, h0, slope)
        else:
            yield (Piece(x0 - half, x1 + half, h0),)


def _take_upper(parts: Iterable[Part]) -> list[Piece]:
    """Return the upper envelope of parts of which each, once above an earlier one, stays above it."""
    kept: list[Part] = []
    starts: list[float] = []
    for part in parts:
        crossing = part[0].start_mm
        while kept:
            crossing = _find_crossing(kept[-1], part)
            if crossing > starts[-1]:
                break
            kept.pop()
            starts.pop()
        kept.append(part)
        starts.append(crossing)
    ends = [*starts[1:], kept[-1][-1].end_mm]
    return [
        piece.trim(max(start, piece.start_mm), min(end, piece.end_mm))
        for part, start, end in zip(kept, starts, ends, strict=True)
        for piece in part
        if min(end, piece.end_mm) - max(start, piece.start_mm) > SAME_MM
    ]


def _find_crossing(left: Part, right: Part) -> float:
    """Return from where ``right`` is at least as high as ``left``."""
    low, high = right[0].start_mm, left[-1].end_mm
    bends = sorted({piece.end_mm for piece in (*left, *right) if low < piece.end_mm < high})
    for stop in (*bends, high):
        one = next(piece for piece in left if piece.end_mm >= stop)
        other = next(piece for piece in right if piece.end_mm >= stop)
        if other.get_height_mm(low) >= one.get_height_mm(low) - ROUNDING_MM:
            return low
        if other.get_height_mm(stop) > one.get_height_mm(stop) + ROUNDING_MM:
            return _solve_crossing(one, other, low, stop)
        low = stop
    return high


def _solve_crossing(left: Piece, right: Piece, low: float, high: float) -> float:
    if left.radius_mm and right.radius_mm:
        (x0, h0), (x1, h1) = left.centre, right.centre
        apart = math.hypot(x1 - x0, h1 - h0)
        rise = math.sqrt(max(0.0, left.radius_mm**2 - apart**2 / 4))
        return min(high, max(low, (x0 + x1) / 2 - rise * (h1 - h0) / apart))
    if not (left.radius_mm or right.radius_mm):
        gap = left.get_height_mm(low) - right.get_height_mm(low)
        return min(high, max(low, low + gap / (right.slope - left.slope)))
    line, arc = (right, left) if left.radius_mm else (left, right)
    # The line seen from the arc's centre: h = offset + slope x; x**2 + h**2 = r**2.
    offset = line.get_height_mm(arc.centre[0]) - arc.centre[1]
    square = 1 + line.slope**2
    root = math.sqrt(max(0.0, arc.radius_mm**2 * square - offset**2))
    places = [arc.centre[0] + (-line.slope * offset + sign * root) / square for sign in (-1, 1)]
    # A steep line meets the circle's lower half too, at an x that may lie between the same bounds.
    places = [min(high, max(low, x)) for x in places]
    return min(places, key=lambda x: abs(left.get_height_mm(x) - right.get_height_mm(x)))
