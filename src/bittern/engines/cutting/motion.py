"""A cutting program as motion: moves in machine coordinates, and the frame that ties them to the blade."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

Place = tuple[float, float, float]
"""Machine X, Y, Z in mm."""

POINTS: Final = ("flat-middle", "end-centre")
"""What is programmed: the middle of a wheel's flat, or the middle of an end mill's lower end."""


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the blade's axes lie in the machine (formats.md, "A cutting program's frame").

    ``axes`` gives for x, h and n the machine axis (0, 1, 2 for X, Y, Z), ``signs`` its sense (1 or -1);
    ``origin`` are the machine coordinates of x = 0, h = 0, n = 0.
    """

    axes: tuple[int, int, int]
    signs: tuple[int, int, int]
    origin: Place
    point: str

    def to_blade(self, place: Place) -> Place:
        """Return x, h, n of a place in machine coordinates."""
        x, h, n = (
            sign * (place[axis] - self.origin[axis]) for axis, sign in zip(self.axes, self.signs, strict=True)
        )
        return (x, h, n)

    def to_machine(self, x_mm: float, h_mm: float, n_mm: float) -> Place:
        """Return machine coordinates of a place on the blade."""
        place = list(self.origin)
        for axis, sign, value in zip(self.axes, self.signs, (x_mm, h_mm, n_mm), strict=True):
            place[axis] += sign * value
        return (place[0], place[1], place[2])


@dataclass(frozen=True, slots=True)
class Move:
    """One move of the programmed point.

    Attributes
    ----------
    line
        Number of the program's line, from 1.
    rapid
        G0; else at ``feed_mm_min``.
    start, end
        Machine coordinates.
    centre
        Of an arc in the X-Y plane; None for a straight move.
    clockwise
        Sense of an arc (G2), seen from +Z.
    feed_mm_min
        None for a rapid move.
    turning
        Whether the spindle turns.
    """

    line: int
    rapid: bool
    start: Place
    end: Place
    centre: tuple[float, float] | None = None
    clockwise: bool = False
    feed_mm_min: float | None = None
    turning: bool = False


@dataclass(frozen=True, slots=True)
class Motion:
    """A whole program read: its frame, its moves, and whether it ended as it should (M30 or M2).

    ``spindle`` is False when the program has no word for the spindle: it is switched on by hand.
    ``known_from`` are the lines in which X, Y and Z were given first; 0 for one that needs not be given.
    """

    frame: Frame
    moves: tuple[Move, ...]
    ended: bool
    spindle: bool = True
    known_from: tuple[int, int, int] = (0, 0, 0)
