"""How a blank lies in the machine for one set-up: SVG to look at, not to measure."""

from __future__ import annotations

import math
from typing import Final

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.outline import get_blade_polygon
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.machine import AXES, Machine
from bittern.formats.drawing import BRASS, INK, METAL, PAPER, QUIET, Drawing, Point, close_path

BOW_MM: Final = 9.0
CLAMP_MM: Final = 6.0
SIDE_MM: Final = 4.0
ABOVE_MM: Final = 12.0
BELOW_MM: Final = 13.0
TEXT_MM: Final = 2.6
AXES_MM: Final = 10.0


def draw_set_up(
    standard: BladeStandard, bitting: Bitting, cutter: Cutter, machine: Machine, *, edge: int = 0
) -> str:
    """Return the blank in its clamp, x growing to the right, with datum, axes and the cutter over a cut.

    Parameters
    ----------
    edge
        On a split blade the edge that is up: 0 for A, 1 for B (the key turned over about its long axis).
    """
    drawing = Drawing()
    top = get_edge_height_mm(standard)
    bottom = 0.0 if standard.sides == "single" else -top
    length, bow_left = standard.length_mm, standard.datum == "shoulder"
    turned = -1.0 if standard.sides == "split" and edge else 1.0
    # Where the tip is on the left, the axes and the datum's words need the room before it.
    left = SIDE_MM + (BOW_MM + CLAMP_MM if bow_left else AXES_MM)

    def at(x: float, h: float) -> Point:
        return left + x, ABOVE_MM + top - turned * h

    corners = [at(0, bottom), at(length, bottom), at(length, top), at(0, top)]
    drawing.shape(close_path(corners), fill=METAL, width=0.15, ink=QUIET, name="blank")
    if standard.kind == "edge":
        polygon = [at(x, h) for x, h in get_blade_polygon(standard, bitting)]
        drawing.line([*polygon, polygon[0]], width=0.3)
    bow = 0.0 if bow_left else length
    _draw_clamp(drawing, left + bow, ABOVE_MM, top - bottom, bow_left=bow_left)
    _draw_datum(drawing, left, ABOVE_MM + top - bottom, standard.datum)
    _draw_cutter(drawing, standard, cutter, left)
    _draw_axes(drawing, machine, left + (length + 3.0 if bow_left else -3.0), ABOVE_MM + top / 2, bow_left)
    width = length + 2 * SIDE_MM + BOW_MM + CLAMP_MM + AXES_MM
    height = ABOVE_MM + top - bottom + BELOW_MM
    up = f"edge {'AB'[edge]} up" if standard.sides == "split" else "cut edge up"
    if standard.kind == "track":
        up = "the face to be milled up"
    said = (
        f"The blank clamped by its bow on the {'left' if bow_left else 'right'}, {up};"
        f" x = 0 at the {standard.datum}."
    )
    return drawing.render(width, height, title="Set-up", description=said)


def _draw_clamp(drawing: Drawing, x: float, y: float, tall: float, *, bow_left: bool) -> None:
    """Draw the bow and, round it, the jaws: nothing that cuts may come here."""
    away = -1 if bow_left else 1
    bow = [(x, y - 1), (x + away * BOW_MM, y - 1), (x + away * BOW_MM, y + tall + 1), (x, y + tall + 1)]
    drawing.shape(close_path(bow), fill=METAL, width=0.3, name="bow")
    near, far = x + away * 2.5, x + away * (BOW_MM + CLAMP_MM)
    jaws = [(near, y - 3), (far, y - 3), (far, y + tall + 3), (near, y + tall + 3)]
    drawing.shape(close_path(jaws), fill=QUIET, name="clamp")
    drawing.text(((near + far) / 2, y + tall / 2 + 1), "clamp", size=TEXT_MM, ink=PAPER)


def _draw_datum(drawing: Drawing, x: float, y: float, datum: str) -> None:
    drawing.line([(x, y - 1), (x, y + 5)], width=0.25, ink=BRASS, dash="1.2 0.8")
    drawing.text((x, y + 8.5), f"x = 0, the {datum}", size=TEXT_MM, ink=BRASS, bold=True)


def _draw_cutter(drawing: Drawing, standard: BladeStandard, cutter: Cutter, left: float) -> None:
    """Draw the cutter over the middle cut, drawn back from the metal."""
    index = len(standard.positions_mm) // 2
    x, y = left + standard.positions_mm[index], ABOVE_MM - 2.0
    if cutter.kind == "wheel":
        assert cutter.flat_mm is not None
        assert cutter.angle_deg is not None
        half, tall = cutter.flat_mm / 2, 6.0
        wide = half + tall * math.tan(math.radians(cutter.angle_deg / 2))
        path = [(x - half, y), (x - wide, y - tall), (x + wide, y - tall), (x + half, y)]
        drawing.shape(close_path(path), fill=PAPER, width=0.3, name="cutter")
    else:
        radius = cutter.diameter_mm / 2
        drawing.circle((x, y - radius), radius + 0.15, fill=INK)
        drawing.circle((x, y - radius), radius - 0.15, fill=PAPER)
    beside = 8.0 if cutter.kind == "wheel" else cutter.diameter_mm / 2 + 1.0
    drawing.text((x + beside, y - 4.0), cutter.id, size=TEXT_MM, anchor="start")


def _draw_axes(drawing: Drawing, machine: Machine, x: float, y: float, bow_left: bool) -> None:
    """Draw the way in which the machine's axes grow."""
    names = [
        ("+" if sign > 0 else "-") + AXES[axis]
        for axis, sign in zip(machine.axes, machine.signs, strict=True)
    ]
    x0 = x if bow_left else x - 5.0
    drawing.line([(x0 + 4.2, y), (x0, y), (x0, y - 5.2)], width=0.2)
    drawing.shape(close_path([(x0 + 5.0, y), (x0 + 3.8, y - 0.5), (x0 + 3.8, y + 0.5)]), fill=INK)
    drawing.shape(close_path([(x0, y - 6.0), (x0 - 0.5, y - 4.8), (x0 + 0.5, y - 4.8)]), fill=INK)
    drawing.text((x0 + 2.5, y + 3.2), names[0], size=TEXT_MM)
    drawing.text((x0 + 1.0, y - 6.6), names[1], size=TEXT_MM)
