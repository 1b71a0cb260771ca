"""A moment of a program's film as SVG: what is left, what should be left, and the cutter."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise
from typing import Final

import numpy as np

from bittern.engines.cutting.replay import Moment, Replay
from bittern.engines.cutting.strokes import Floats
from bittern.formats.drawing import (
    BRASS,
    GROOVE,
    INK,
    METAL,
    QUIET,
    Drawing,
    Point,
    close_path,
    number,
)

SCALE: Final = 4.0
"""Page mm for each mm of the blade."""
MARGIN: Final = 6.0
ABOVE_MM: Final = 6.0
"""Of the blade's height that is shown over the blank, for the cutter."""
LINE: Final = 4.0


def draw_moment(replay: Replay, time_s: float, *, title: str = "Sweep of a cutting program") -> str:
    """Return the moment at ``time_s`` of a film as an SVG document, four times as large as life.

    Metal that is left is filled; where a mill has cut only part of the thickness deep it is darker; the ideal
    outline is dashed; the cutter is drawn as it stands, its point marked. The drawing has no style and no
    script: it can stand in a page as it is.
    """
    return _Scene(replay, replay.get_moment(time_s)).render(title)


class _Scene:
    """One moment being drawn."""

    def __init__(self, replay: Replay, moment: Moment) -> None:
        self.replay, self.moment = replay, moment
        self.length, self.bottom, self.top = replay.blank_mm
        self.drawing = Drawing()

    def at(self, x_mm: float, h_mm: float) -> Point:
        """Return the place on the page."""
        return MARGIN + (x_mm + 2) * SCALE, MARGIN + (self.top + ABOVE_MM - h_mm) * SCALE

    def render(self, title: str) -> str:
        """Draw everything and return the page."""
        draw, replay, moment = self.drawing, self.replay, self.moment
        corners = ((0, self.bottom), (self.length, self.bottom), (self.length, self.top), (0, self.top))
        blank = [self.at(x, h) for x, h in corners]
        if replay.track:
            draw.shape(close_path(blank), fill=METAL, name="left")
            self._fill(moment.low_mm, moment.high_mm, GROOVE, "groove")
        else:
            self._fill(np.full(len(replay.x_mm), self.bottom), moment.low_mm, METAL, "left")
            self._fill(moment.part_mm, moment.low_mm, GROOVE, "part")
        draw.line([*blank, blank[0]], width=0.15, ink=QUIET, dash="0.8 0.6")
        for ideal in (replay.ideal_mm, replay.ideal_high_mm):
            if ideal is not None:
                draw.line(self._trace(replay.x_mm, ideal), width=0.3, ink=BRASS, dash="1.6 0.8")
        self._draw_tool()
        what = "rapid move" if moment.rapid else "cutting move"
        x, h, n = moment.tool_mm
        said = f"Line {moment.line}, {moment.time_s:.1f} s of {replay.duration_s:.1f} s: {what}"
        below = self.at(0, self.bottom)[1] + 2 * LINE
        draw.text((MARGIN, below), f"{said}, at x {x:.2f}, h {h:.2f}, n {n:.2f}", anchor="start")
        width, height = MARGIN * 2 + (self.length + 6) * SCALE, below + MARGIN
        return draw.render(width, height, title=title, description=said + ".")

    def _fill(self, low: Floats, high: Floats, fill: str, name: str) -> None:
        """Fill what lies between two outlines, where the lower one is lower."""
        between = high - low > 1e-9
        for shown, group in groupby(range(len(low)), key=lambda column: bool(between[column])):
            columns = list(group)
            if not shown:
                continue
            x = self.replay.x_mm[columns]
            edge = [*self._trace(x, low[columns]), *reversed(self._trace(x, high[columns]))]
            self.drawing.shape(close_path(edge), fill=fill, name=name)

    def _trace(self, x_mm: Floats, h_mm: Floats) -> list[Point]:
        points = list(zip(x_mm.tolist(), h_mm.tolist(), strict=True))
        return [self.at(x, h) for x, h in drop_straight(points)]

    def _draw_tool(self) -> None:
        x, h, _ = self.moment.tool_mm
        draw = self.drawing
        if self.replay.tool:
            corners = [self.at(x + dx, h + dh) for dx, dh in self.replay.tool]
            draw.shape(close_path(corners), fill="none", width=0.3, name="tool")
        else:
            left, middle = self.at(x - self.replay.radius_mm, h)
            radius, across = (number(share * self.replay.radius_mm * SCALE) for share in (1, 2))
            arc = f"a{radius} {radius} 0 1 0"
            path = f"M{number(left)} {number(middle)} {arc} {across} 0 {arc} -{across} 0 Z"
            draw.shape(path, fill="none", width=0.3, name="tool")
        draw.circle(self.at(x, h), 0.5, fill=INK)


def drop_straight(points: Sequence[Point], within_mm: float = 1e-6) -> list[Point]:
    """Return a polyline without the vertices that lie on the line between their neighbours kept.

    >>> drop_straight([(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (3.0, 2.0)])
    [(0.0, 0.0), (2.0, 2.0), (3.0, 2.0)]
    """
    kept = list(points[:1])
    for point, after in pairwise(points[1:]):
        (x0, h0), (x1, h1), (x2, h2) = kept[-1], point, after
        if abs((x1 - x0) * (h2 - h0) - (x2 - x0) * (h1 - h0)) > within_mm * max(abs(x2 - x0), 1e-9):
            kept.append(point)
    return [*kept, *points[len(points) - 1 :]] if len(points) > 1 else kept
