"""Outlines as SVG: lines and arcs, true to scale, nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Final

from bittern.engines.cutting.contours import Curve
from bittern.formats.drawing import BRASS, INK, QUIET, Drawing, Point, number

MARGIN: Final = 3.0
INKS: Final = {"blade": INK, "groove": BRASS, "centre-line": QUIET}


def draw_contours(curves: Sequence[Curve], *, title: str = "Outline of a cut blade") -> str:
    """Return curves as an SVG document in which a millimetre is a millimetre, x to the right and h upward."""
    ends = [place for curve in curves for place in (curve.start, curve.end)]
    left, right = min(x for x, _ in ends), max(x for x, _ in ends)
    low, high = min(h for _, h in ends), max(h for _, h in ends)

    def at(place: Point) -> Point:
        return MARGIN + place[0] - left, MARGIN + high - place[1]

    drawing = Drawing()
    for part, group in groupby(curves, key=lambda curve: curve.part):
        path, before = [], None
        for curve in group:
            if before != curve.start:
                path.append(f"M{_say(at(curve.start))}")
            path.append(_trace(curve, at(curve.end)))
            before = curve.end
        drawing.shape(" ".join(path), fill="none", width=0.1, ink=INKS[part], name=part)
    return drawing.render(
        right - left + 2 * MARGIN,
        high - low + 2 * MARGIN,
        title=title,
        description="Outline in millimetres, true to scale.",
    )


def _trace(curve: Curve, end: Point) -> str:
    if curve.centre is None:
        return f"L{_say(end)}"
    # The page's y grows downward: what turns left on the blade turns right here, and so it does for the flag.
    sweep = 0 if curve.turns_left else 1
    radius = number(curve.radius_mm)
    return f"A{radius} {radius} 0 0 {sweep} {_say(end)}"


def _say(place: Point) -> str:
    return f"{number(place[0])} {number(place[1])}"
