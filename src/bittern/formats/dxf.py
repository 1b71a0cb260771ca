"""Outlines as DXF, release 12 (AC1009): the plain text form that every drawing program reads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from bittern.core.errors import InputError
from bittern.engines.cutting.contours import Curve

LAYERS: Final = {"blade": 7, "groove": 3, "centre-line": 1}
"""The parts of an outline and the colour number of each one's layer."""
LONGEST_TITLE: Final = 200


def write_dxf(curves: Sequence[Curve], *, title: str = "") -> str:
    """Return curves as a DXF drawing in millimetres, x to the right and h upward.

    Raises
    ------
    InputError
        A title of more than 200 characters.

    Notes
    -----
    Only LINE and ARC entities, a layer for each part. Release 12 says nothing of units: the comment does.
    Source: Autodesk, DXF Reference (group codes 0, 8, 10, 11, 40, 50, 51, 62; from memory, read back in the
    tests by an independent library).
    """
    if len(title) > LONGEST_TITLE:
        raise InputError(f"{len(title)} characters", f"at most {LONGEST_TITLE}", where="title")
    plain = "".join(letter if " " <= letter <= "~" else "_" for letter in title)
    pairs = [(999, f"Unit: millimetre. {plain}".strip()), *_list_head(), *_list_layers()]
    pairs += [(0, "SECTION"), (2, "ENTITIES")]
    for curve in curves:
        pairs += _write_curve(curve)
    pairs += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{value}\n" for code, value in pairs)


Pair = tuple[int, object]


def _list_head() -> Iterable[Pair]:
    return ((0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009"), (0, "ENDSEC"))


def _list_layers() -> Iterator[Pair]:
    yield from ((0, "SECTION"), (2, "TABLES"), (0, "TABLE"), (2, "LAYER"), (70, len(LAYERS)))
    for name, colour in LAYERS.items():
        yield from ((0, "LAYER"), (2, name.upper()), (70, 0), (62, colour), (6, "CONTINUOUS"))
    yield from ((0, "ENDTAB"), (0, "ENDSEC"))


def _write_curve(curve: Curve) -> Iterator[Pair]:
    layer = (8, curve.part.upper())
    if curve.centre is None:
        yield from ((0, "LINE"), layer)
        yield from _write_place(0, curve.start)
        yield from _write_place(1, curve.end)
        return
    # Arcs go counter-clockwise.
    start, end = (curve.start, curve.end) if curve.turns_left else (curve.end, curve.start)
    yield from ((0, "ARC"), layer)
    yield from _write_place(0, curve.centre)
    yield (40, _say(curve.radius_mm))
    for code, (x, h) in ((50, start), (51, end)):
        yield (code, _say(math.degrees(math.atan2(h - curve.centre[1], x - curve.centre[0])) % 360))


def _write_place(number: int, place: tuple[float, float]) -> Iterator[Pair]:
    yield (10 + number, _say(place[0]))
    yield (20 + number, _say(place[1]))
    yield (30 + number, "0.0")


def _say(value: float) -> str:
    text = f"{value:.6f}"
    return text.removeprefix("-") if not text.strip("-0.") else text
