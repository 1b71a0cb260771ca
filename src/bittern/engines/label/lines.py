"""Lines of print on a picture, and which of them stand together."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot

Point = tuple[float, float]
Quad = tuple[Point, Point, Point, Point]
"""Corners in pixels of the picture: top left, top right, bottom right, bottom left of the writing."""

# Long dashes look the same as a hyphen on a label; and only the hyphen is a character of its codes.
_DASHES = str.maketrans(dict.fromkeys("‐‑‒–—−﹣－_", "-"))


@dataclass(frozen=True, slots=True)
class Line:
    """One line of print as it was read.

    Attributes
    ----------
    text
        In capitals, with plain hyphens and single spaces.
    confidence
        The reader's own score, 0 to 1. It is no probability: wrong readings with over 0.95 exist.
    box
        Where it stands.
    """

    text: str
    confidence: float
    box: Quad

    @property
    def height(self) -> float:
        """Mean length of the box's two short sides, in pixels."""
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = self.box
        return (hypot(ax - dx, ay - dy) + hypot(bx - cx, by - cy)) / 2

    @property
    def middle(self) -> Point:
        """The box's centre."""
        return (sum(x for x, _ in self.box) / 4, sum(y for _, y in self.box) / 4)


def plain_text(text: str) -> str:
    """Return ``text`` as labels are compared: capitals, plain hyphens, single spaces.

    >>> plain_text(" fcc id： 9zz–k1 ")
    'FCC ID: 9ZZ-K1'
    """
    return " ".join(unicodedata.normalize("NFKC", text).translate(_DASHES).upper().split())


def find_direction(lines: Sequence[Line]) -> Point:
    """Return the unit vector along which most of the print runs, weighed by length; (1, 0) without print."""
    x = sum(line.box[1][0] - line.box[0][0] for line in lines)
    y = sum(line.box[1][1] - line.box[0][1] for line in lines)
    length = hypot(x, y)
    return (x / length, y / length) if length > 0 else (1.0, 0.0)


def sort_lines(lines: Sequence[Line]) -> tuple[Line, ...]:
    """Return the lines in reading order along their own direction: rows from the top, each from its start.

    Parameters
    ----------
    lines
        In any order, on a picture turned by any angle.

    Notes
    -----
    Lines whose middles differ by less than half a line's height across the direction are one row.
    """
    ux, uy = find_direction(lines)

    def across(line: Line) -> float:
        x, y = line.middle
        return y * ux - x * uy

    def along(line: Line) -> float:
        x, y = line.middle
        return x * ux + y * uy

    ordered = sorted(lines, key=across)
    rows: list[list[Line]] = [ordered[:1]] if ordered else []
    for before, line in pairwise(ordered):
        if across(line) - across(before) < 0.5 * min(line.height, before.height):
            rows[-1].append(line)
        else:
            rows.append([line])
    return tuple(line for row in rows for line in sorted(row, key=along))


def join_boxes(boxes: Sequence[Quad]) -> Quad:
    """Return the upright box around several; the box itself where there is one."""
    if len(boxes) == 1:
        return boxes[0]
    xs = [x for box in boxes for x, _ in box]
    ys = [y for box in boxes for _, y in box]
    return ((min(xs), min(ys)), (max(xs), min(ys)), (max(xs), max(ys)), (min(xs), max(ys)))
