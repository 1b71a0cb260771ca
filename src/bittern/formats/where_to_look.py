"""Pictures for a customer of where to look: plain ink lines, as SVG for a page and as PNG for a messenger."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from math import atan2, cos, degrees, pi, sin
from pathlib import Path

from bittern.formats.drawing import BRASS, FONT, INK, METAL, PAPER, QUIET, Drawing, close_path, number

WIDTH_MM, HEIGHT_MM = 90.0, 60.0
# A third of a telephone's screen is enough for it, and no messenger makes it smaller.
PNG_PPI = 300.0
# The lettering that the PNG's renderer brings along itself; a page takes what the reader has.
PNG_FONT = "DejaVu Sans Mono"
LINE, FINE = 0.6, 0.3


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture's title and what is to be seen on it, for those who do not see it."""

    title: str
    words: str


PICTURES: dict[str, Picture] = {
    "fcc_id": Picture(
        "Where the label of a remote is",
        "Left: the back of a remote with its label. Right: a remote with its battery cover off and the label"
        " under the battery.",
    ),
    "button_count": Picture(
        "Counting the buttons of a remote",
        "A remote from the front, from the back and from its edge; every button has a number, five in all.",
    ),
    "buttons": Picture(
        "Naming the buttons of a remote",
        "A remote from the front, from the back and from its edge; a line leads from every button to an empty"
        " place for its name.",
    ),
    "start": Picture(
        "How an engine is started",
        "Left: a lock beside the steering wheel with a key in it. Right: a round button beside the steering"
        " wheel with a finger on it.",
    ),
    "blade": Picture(
        "Photographing a key's blade",
        "Left: a key flat on paper beside a ruler. Right: a telephone held level, straight above the key.",
    ),
}


def draw_where(kind: str) -> str:
    """Return the picture for a question of ``kind`` as an SVG document of 90 x 60 mm.

    >>> draw_where("start").startswith("<svg")
    True
    """
    page = Drawing()
    _DRAWN[kind](page)
    picture = PICTURES[kind]
    return page.render(WIDTH_MM, HEIGHT_MM, title=picture.title, description=picture.words)


@cache
def render_where(kind: str, caption: str) -> bytes:
    """Return the picture with ``caption`` under it as PNG; the same words give the same bytes."""
    import typst

    inputs = {
        "svg": draw_where(kind).replace(FONT, PNG_FONT),
        "words": json.dumps({"caption": caption, "about": PICTURES[kind].words}),
    }
    png = typst.compile(
        Path(__file__).with_name("where_to_look.typ").read_bytes(),
        format="png",
        ppi=PNG_PPI,
        ignore_system_fonts=True,
        sys_inputs=inputs,
    )
    assert isinstance(png, bytes)
    return png


def _draw_label(page: Drawing) -> None:
    _draw_case(page, 8, 9, 26, 46)
    _letter(page, (21, 18), "back")
    _draw_plate(page, 11, 26)
    _arrow(page, (40.5, 39), (32, 34.4))
    _draw_case(page, 51, 9, 26, 46)
    # The battery has been lifted out of its round seat.
    page.shape(_ring(64, 24, 9.2), fill=PAPER, width=FINE, ink=QUIET)
    page.shape(_ring(84.2, 24, 4.6), fill=METAL, width=LINE)
    _letter(page, (84.2, 25.2), "+")
    page.line([(74, 24), (78.6, 24)], width=FINE, ink=QUIET, dash="1 1")
    _draw_plate(page, 54, 35.5)
    page.line([(55, 51.5), (73, 51.5)], width=FINE, ink=QUIET)
    _arrow(page, (43, 48), (52.8, 43.4))
    _letter(page, (42.5, 28), "or", size=4)


def _draw_count(page: Drawing) -> None:
    for place, (x, y) in enumerate(_draw_sides(page), start=1):
        _letter(page, (x, y + 1.3), str(place), size=3.6, ink=BRASS, bold=True)


def _draw_names(page: Drawing) -> None:
    # From each button to a line of its own, as one would write a name beside it.
    ends = ((29.5, 17), (29.5, 28), (29.5, 39), (59, 22), (86, 26))
    for (x, y), (end_x, end_y) in zip(_draw_sides(page), ends, strict=True):
        page.circle((x, y), 0.7, fill=BRASS)
        page.line([(x, y), (end_x - 6, end_y)], width=FINE, ink=BRASS)
        page.line([(end_x - 6, end_y), (end_x + 3, end_y)], width=LINE, ink=BRASS)


def _draw_sides(page: Drawing) -> tuple[tuple[float, float], ...]:
    """Draw front, back and edge of one remote; return the middle of each button."""
    front = ((15.0, 19.0), (15.0, 30.0), (15.0, 41.0))
    back, edge = (46.0, 24.0), (75.0, 30.0)
    _draw_case(page, 5, 8, 20, 44)
    for x, y in front:
        page.shape(_box(x - 5, y - 4, 10, 8, 3), fill=METAL, width=LINE)
    _letter(page, (15, 58), "front")
    _draw_case(page, 36, 8, 20, 44)
    page.shape(_ring(*back, 4.5), fill=METAL, width=LINE)
    page.line([(41, 44), (51, 44)], width=FINE, ink=QUIET)
    _letter(page, (46, 58), "back")
    page.shape(_box(70, 8, 10, 44, 3.5), fill=PAPER, width=LINE)
    page.line([(75, 9), (75, 25)], width=FINE, ink=QUIET)
    page.line([(75, 35), (75, 51)], width=FINE, ink=QUIET)
    page.shape(_box(edge[0] - 3, edge[1] - 5, 6, 10, 2), fill=METAL, width=LINE)
    _letter(page, (75, 58), "edge")
    return (*front, back, edge)


def _draw_start(page: Drawing) -> None:
    for left in (2.0, 47.0):
        _draw_wheel(page, left + 16, 26)
    # The lock with its key, seen from the seat: the key's bow stands out of it.
    page.shape(_ring(37, 34, 4.6), fill=METAL, width=LINE)
    page.shape(_box(35.2, 33.2, 3.6, 8, 0.8), fill=PAPER, width=LINE)
    page.shape(_box(33, 40, 8, 10, 3.4), fill=METAL, width=LINE)
    page.shape(_ring(37, 46.4, 1.3), fill=PAPER, width=FINE)
    page.line(_arc((37, 34), 7, -80, 20), width=LINE, ink=BRASS)
    _head(page, (37 + 7 * cos(pi * 20 / 180), 34 + 7 * sin(pi * 20 / 180)), 110)
    _letter(page, (21, 57.5), "a key that turns")
    page.shape(_ring(82, 34, 5), fill=METAL, width=LINE)
    page.shape(_ring(82, 34, 3.4), fill=PAPER, width=FINE, ink=QUIET)
    page.shape(_box(80, 36.5, 4, 15, 2), fill=PAPER, width=LINE)
    page.line([(81, 39.6), (83, 39.6)], width=FINE, ink=QUIET)
    page.shape(_ring(82, 34, 6.6), fill="none", width=LINE, ink=BRASS)
    _letter(page, (69, 57.5), "a button")
    _letter(page, (45, 12), "or", size=4)


def _draw_blade(page: Drawing) -> None:
    page.shape(_box(3, 6, 52, 44, 0.8), fill="#ffffff", width=FINE, ink=QUIET)
    steel = [(20, 22), (44, 22), (49, 25), (44, 29), (41, 27.4), (38, 29), (35, 26.4), (32, 28.4)]
    steel += [(29, 26.8), (26, 29), (20, 29)]
    page.shape(close_path(steel), fill=METAL, width=LINE)
    page.shape(_box(7, 17, 13.5, 17, 5), fill=METAL, width=LINE)
    page.shape(_ring(11.5, 25.5, 2), fill="#ffffff", width=LINE)
    page.shape(_box(7, 38.5, 44, 8, 0.4), fill=PAPER, width=LINE)
    for tick in range(41):
        tall = 4.0 if tick % 10 == 0 else 2.8 if tick % 5 == 0 else 1.8
        page.line([(9 + tick, 38.5), (9 + tick, 38.5 + tall)], width=0.2)
    for mark in range(5):
        _letter(page, (9 + 10 * mark, 45.6), str(mark), size=2.6)
    _letter(page, (29, 57.5), "flat, with a ruler")
    page.line([(61, 46), (87, 46)], width=LINE)
    page.line([(65, 44.6), (79, 44.6)], width=1.4, ink=QUIET)
    page.shape(_box(63, 12, 22, 3.2, 1.2), fill=METAL, width=LINE)
    page.circle((72, 15.8), 0.9)
    for x in (65, 79):
        page.line([(72, 17.4), (x, 43)], width=FINE, ink=QUIET, dash="1.4 1.4")
    page.line([(72, 24), (72, 40)], width=LINE, ink=BRASS)
    _head(page, (72, 40), 90)
    _letter(page, (74, 57.5), "straight above")


def _draw_case(page: Drawing, x: float, y: float, width: float, height: float) -> None:
    """Draw a remote's outline with the eye for its ring."""
    page.shape(_box(x, y, width, height, 7), fill=PAPER, width=LINE)
    page.shape(_ring(x + width / 2, y + 3.2, 1.4), fill=PAPER, width=LINE)


def _draw_plate(page: Drawing, x: float, y: float) -> None:
    """Draw a label on which the place after "FCC ID" is marked."""
    page.shape(_box(x, y, 20, 13, 1), fill="#ffffff", width=FINE)
    page.text((x + 1.6, y + 4.6), "FCC ID:", size=2.9, anchor="start", bold=True)
    page.shape(_box(x + 1.4, y + 6, 17.2, 4.6, 0.8), fill=PAPER, width=LINE, ink=BRASS)
    for place in range(7):
        left = x + 2.6 + 2.2 * place
        page.line([(left, y + 9.4), (left + 1.4, y + 9.4)], width=FINE)


def _draw_wheel(page: Drawing, x: float, y: float) -> None:
    """Draw a steering wheel as the driver sees it."""
    page.shape(_ring(x, y, 15), fill=PAPER, width=LINE)
    page.shape(_ring(x, y, 12.6), fill=PAPER, width=FINE)
    page.shape(_box(x - 5, y - 3.5, 10, 8, 3), fill=PAPER, width=LINE)
    page.line([(x - 12.6, y), (x - 5, y)], width=LINE)
    page.line([(x + 5, y), (x + 12.6, y)], width=LINE)
    page.line([(x, y + 4.5), (x, y + 12.6)], width=LINE)


def _arrow(page: Drawing, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.line([start, end], width=LINE, ink=BRASS)
    _head(page, end, degrees(atan2(end[1] - start[1], end[0] - start[0])))


def _head(page: Drawing, tip: tuple[float, float], towards_deg: float) -> None:
    """Draw an arrow's head."""
    corners = [tip]
    for turn in (155, -155):
        angle = pi * (towards_deg + turn) / 180
        corners.append((tip[0] + 2.6 * cos(angle), tip[1] + 2.6 * sin(angle)))
    page.shape(close_path(corners), fill=BRASS, width=FINE, ink=BRASS)


def _letter(
    page: Drawing,
    at: tuple[float, float],
    text: str,
    *,
    size: float = 3.2,
    ink: str = INK,
    bold: bool = False,
) -> None:
    page.text(at, text, size=size, ink=ink, bold=bold)


def _arc(
    centre: tuple[float, float], radius: float, start_deg: float, end_deg: float
) -> Sequence[tuple[float, float]]:
    steps = 24
    angles = (pi * (start_deg + (end_deg - start_deg) * step / steps) / 180 for step in range(steps + 1))
    return [(centre[0] + radius * cos(angle), centre[1] + radius * sin(angle)) for angle in angles]


def _ring(x: float, y: float, radius: float) -> str:
    """Return path data of a circle."""
    left, right, r, level = (number(value) for value in (x - radius, x + radius, radius, y))
    return f"M{left} {level} A{r} {r} 0 1 1 {right} {level} A{r} {r} 0 1 1 {left} {level} Z"


def _box(x: float, y: float, width: float, height: float, radius: float) -> str:
    """Return path data of a rectangle with round corners."""
    x0, x1, x2, x3 = (number(value) for value in (x, x + radius, x + width - radius, x + width))
    y0, y1, y2, y3 = (number(value) for value in (y, y + radius, y + height - radius, y + height))
    turn = f"A{number(radius)} {number(radius)} 0 0 1"
    return (
        f"M{x1} {y0} H{x2} {turn} {x3} {y1} V{y2} {turn} {x2} {y3}"
        f" H{x1} {turn} {x0} {y2} V{y1} {turn} {x1} {y0} Z"
    )


_DRAWN: dict[str, Callable[[Drawing], None]] = {
    "fcc_id": _draw_label,
    "button_count": _draw_count,
    "buttons": _draw_names,
    "start": _draw_start,
    "blade": _draw_blade,
}
