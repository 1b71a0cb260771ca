"""A blade as it is to be cut at one rung, what goes now marked: SVG to look at, not to measure."""

from __future__ import annotations

from collections.abc import Collection

from bittern.engines.blade.bitting import Bitting, name_cut
from bittern.engines.blade.outline import get_blade_polygon
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.drawing import BRASS, INK, METAL, QUIET, Drawing, Point, close_path

SIDE_MM = 3.0
BOW_MM = 5.0
LABEL_MM = 3.2


def draw_rung(
    standard: BladeStandard, bitting: Bitting, before: Bitting | None, deeper: Collection[str]
) -> str:
    """Return the blade cut to ``bitting``, the bow on the left.

    Parameters
    ----------
    before
        What the blank in hand is cut to; None for a new one.
    deeper
        Names of the cuts that go deeper: their depths stand over them in bold, with an arrow.
    """
    drawing = Drawing()
    top = get_edge_height_mm(standard)
    bottom = 0.0 if standard.sides == "single" else -top
    length, turned = standard.length_mm, standard.datum == "tip"
    split = standard.sides == "split"
    head = 2 * LABEL_MM + 3.5

    def at(x: float, h: float) -> Point:
        # Counted from the tip, the bow is at the far end: turned, so that all bows stand on one side.
        return SIDE_MM + BOW_MM + (length - x if turned else x), head + top - h

    corners = [at(0.0, bottom), at(length, bottom), at(length, top), at(0.0, top)]
    was = [at(x, h) for x, h in get_blade_polygon(standard, before)] if before is not None else corners
    # What goes now lies between the two outlines: brass under the metal that stays.
    drawing.shape(close_path(was), fill=BRASS, width=0.15, name="cut-away")
    drawing.shape(
        close_path([at(x, h) for x, h in get_blade_polygon(standard, bitting)]),
        fill=METAL,
        width=0.3,
        name="blade",
    )
    _draw_bow(drawing, at, top, bottom, length if turned else 0.0)
    for edge, cuts in enumerate(bitting.edges):
        for index, cut in enumerate(cuts):
            assert cut is not None
            up = edge == 0
            marked = name_cut(standard, edge, index) in deeper
            x, edge_y = at(standard.positions_mm[index], top if up else bottom)
            _draw_label(drawing, x, edge_y, standard.labels[cut], up=up, marked=marked)
    width = length + 2 * SIDE_MM + BOW_MM
    height = head + top - bottom + (head if split else SIDE_MM)
    names = ", ".join(deeper)
    said = "every cut is made" if before is None else f"cuts made deeper: {names}"
    return drawing.render(width, height, title=f"The blade: {said}", description="What is cut away is brass.")


def _draw_bow(drawing: Drawing, at: object, top: float, bottom: float, x: float) -> None:
    assert callable(at)
    (left, high), (_, low) = at(x, top + 1.0), at(x, bottom - 1.0)
    path = close_path([(left, high), (left - BOW_MM, high), (left - BOW_MM, low), (left, low)])
    drawing.shape(path, fill=QUIET, name="bow")


def _draw_label(drawing: Drawing, x: float, edge_y: float, label: str, *, up: bool, marked: bool) -> None:
    """Write a depth outside the blade; one that goes deeper is bold with an arrow to the metal."""
    away = -1 if up else 1
    base = edge_y + away * 4.2 + (0.0 if up else LABEL_MM * 0.7)
    ink = INK if marked else QUIET
    size = LABEL_MM * 1.25 if marked else LABEL_MM
    drawing.text((x, base), label, size=size, bold=marked, ink=ink)
    if marked:
        near, far = edge_y + away * 0.6, edge_y + away * 3.6
        drawing.line([(x, far), (x, near + away * 0.8)], width=0.4)
        drawing.shape(
            close_path([(x, near), (x - 0.7, near + away * 1.2), (x + 0.7, near + away * 1.2)]), fill=INK
        )
