"""What was read on a picture, for the page: the picture with boxes drawn over it, and what stands in them."""

from __future__ import annotations

import base64
from dataclasses import dataclass

from bittern.bench.pages.label_upload import FIELD, LIMIT_BYTES
from bittern.core.errors import BitternError, InputError
from bittern.engines.label.lines import Line, Quad
from bittern.formats.images import Pixels, encode_picture, shrink_picture
from bittern.formats.label_print import LONGEST_PX
from bittern.work.label import LabelReading, ReadIdentifier, ReadNumber

SHOWN_PX = 1200
LEGS = {"vehicle": "the vehicle number", "key": "the identifier on the remote"}


@dataclass(frozen=True, slots=True)
class Box:
    """A box over the picture: its corners for SVG, its number in the list, where the number stands.

    ``crop`` is the part of the picture around it, to compare the reading with.
    """

    points: str
    mark: str
    x: int
    y: int
    crop: str


@dataclass(frozen=True, slots=True)
class PhotoResult:
    """What the page shows after a picture was sent: a reading, or what was wrong with the picture."""

    leg: str
    error: str = ""
    address: str = ""
    width: int = 0
    height: int = 0
    mark_size: int = 0
    numbers: tuple[tuple[Box, ReadNumber], ...] = ()
    identifiers: tuple[tuple[Box, ReadIdentifier], ...] = ()
    codes: tuple[str, ...] = ()
    lines: tuple[Line, ...] = ()
    boxes: tuple[Box, ...] = ()
    thin: tuple[Box, ...] = ()
    kept: str = ""

    @property
    def found(self) -> bool:
        """Whether there is a number or an identifier to take."""
        return bool(self.numbers or self.identifiers)


def shrink_for_reading(pixels: Pixels) -> Pixels:
    """Return the picture at the size at which it is read: more costs seconds and finds nothing more."""
    return shrink_picture(pixels, LONGEST_PX)


def say_trouble(error: BitternError) -> str:
    """Return what was wrong with a picture as one sentence."""
    hint = f" {error.hint[:1].upper()}{error.hint[1:]}." if error.hint else ""
    return f"Found {error.found}; expected {error.expected}.{hint}"


def name_missing(*, too_large: bool) -> InputError:
    """Return the error for a picture that did not come."""
    if too_large:
        return InputError(
            f"a file of more than {LIMIT_BYTES:,} bytes",
            "at most that",
            where=FIELD,
            hint="shrink or crop it",
        )
    return InputError("no picture", "a photo of the label", where=FIELD)


def build_result(leg: str, pixels: Pixels, reading: LabelReading, kept: str = "") -> PhotoResult:
    """Return the reading as the page shows it; ``pixels`` are those that were read."""
    shown = shrink_picture(pixels, SHOWN_PX)
    height, width = shown.shape[:2]
    scale = width / reading.size[0]
    marks = iter(range(1, 100))
    numbers = tuple((_draw(one.box, scale, str(next(marks))), one) for one in reading.vins)
    identifiers = tuple((_draw(one.box, scale, str(next(marks))), one) for one in reading.fcc_ids)
    boxes = tuple(box for box, _ in (*numbers, *identifiers))
    drawn = {box.points for box in boxes}
    others = (_draw(line.box, scale) for line in reading.lines)
    codes = tuple(f"{code.symbology}: {code.text}" for code in reading.barcodes)
    return PhotoResult(
        leg=leg,
        address="data:image/jpeg;base64," + base64.b64encode(encode_picture(shown, quality=75)).decode(),
        width=width,
        height=height,
        mark_size=max(12, max(width, height) // 28),
        numbers=numbers,
        identifiers=identifiers,
        codes=codes,
        lines=reading.lines,
        boxes=boxes,
        thin=tuple(box for box in others if box.points not in drawn),
        kept=kept,
    )


def _draw(box: Quad, scale: float, mark: str = "") -> Box:
    points = [(x * scale, y * scale) for x, y in box]
    left, top = round(min(x for x, _ in points)), round(min(y for _, y in points))
    wide, high = round(max(x for x, _ in points)) - left, round(max(y for _, y in points)) - top
    edge = 8 + min(wide, high) // 4
    crop = f"{left - edge} {top - edge} {wide + 2 * edge} {high + 2 * edge}"
    return Box(" ".join(f"{x:.0f},{y:.0f}" for x, y in points), mark, left, top, crop)
