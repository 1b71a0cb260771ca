"""A cutter's path on the blade, step by step, before it becomes a program."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from bittern.engines.blade.outline import Point

RAPID: Final = "rapid"
ROUGH: Final = "rough"
PLUNGE: Final = "plunge"
FINISH: Final = "finish"
CUTTING: Final = (ROUGH, PLUNGE, FINISH)

SAME_MM: Final = 1e-9

Stretch = tuple[Point, Point, Point | None]
"""Start, end, and the centre of an arc; both points are x and h in mm."""


@dataclass(frozen=True, slots=True)
class Step:
    """A move of the cutter's point to x, h, n on the blade, in mm.

    ``kind`` is rapid, or the feed. An arc has its centre in x and h, and its sense seen from the upper face.
    """

    kind: str
    x_mm: float
    h_mm: float
    n_mm: float
    centre: Point | None = None
    clockwise: bool = False

    def get_length_mm(self, before: Step) -> float:
        """Return the length of the way from the step before, in mm."""
        if self.centre is None:
            return math.dist((before.x_mm, before.h_mm, before.n_mm), (self.x_mm, self.h_mm, self.n_mm))
        return abs(self.get_turn_rad(before)) * math.hypot(
            before.x_mm - self.centre[0], before.h_mm - self.centre[1]
        )

    def get_turn_rad(self, before: Step) -> float:
        """Return the angle of an arc, positive counter-clockwise."""
        if self.centre is None:
            return 0.0
        first = math.atan2(before.h_mm - self.centre[1], before.x_mm - self.centre[0])
        last = math.atan2(self.h_mm - self.centre[1], self.x_mm - self.centre[0])
        turn = (last - first) % (2 * math.pi)
        return turn - 2 * math.pi if self.clockwise else turn

    def mirror(self, about_mm: float) -> Step:
        """Return the step seen the other way along the blade: x becomes ``about_mm - x``."""
        centre = None if self.centre is None else (about_mm - self.centre[0], self.centre[1])
        return replace(self, x_mm=about_mm - self.x_mm, centre=centre, clockwise=not self.clockwise)


@dataclass(slots=True)
class Way:
    """Steps being laid down, each from where the last one ended."""

    steps: list[Step] = field(default_factory=list)

    def go(
        self, kind: str, x_mm: float | None = None, h_mm: float | None = None, n_mm: float | None = None
    ) -> None:
        """Add a straight move; what is not given stays. A move to where the cutter stands is left out."""
        last = self.steps[-1] if self.steps else Step(kind, 0.0, 0.0, 0.0)
        step = Step(
            kind,
            last.x_mm if x_mm is None else x_mm,
            last.h_mm if h_mm is None else h_mm,
            last.n_mm if n_mm is None else n_mm,
        )
        if not self.steps or step.get_length_mm(last) > SAME_MM:
            self.steps.append(step)

    def follow(self, kind: str, stretches: Iterable[Stretch], *, upper: bool, backwards: bool) -> None:
        """Add lines and arcs, given from left to right, that way or back.

        ``upper`` arcs are those over their centre.
        """
        n_mm = self.steps[-1].n_mm
        for start, end, centre in reversed(list(stretches)) if backwards else stretches:
            x, h = start if backwards else end
            if centre is None:
                self.go(kind, x, h)
            else:
                self.steps.append(Step(kind, x, h, n_mm, centre, upper != backwards))
