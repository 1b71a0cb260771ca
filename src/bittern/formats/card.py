"""The measuring card as PDF (vector, on A4 or Letter) and as PNG (the card alone, exact in every pixel)."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bittern.core.errors import InputError, shorten
from bittern.engines.blade.picture.board import BAR, CARD, STRIP, list_black_boxes
from bittern.engines.blade.picture.flat import MM_PER_INCH

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height upright (ISO 216; ANSI/ASME Y14.1 A): the card leaves 15 mm and more on every side."""
LEAST_DPI, USUAL_DPI, MOST_DPI = 50, 600, 2400

ROWS_AT_A_TIME = 512
"""The PNG of 2,400 dpi has 209 million pixels; numbers of four bytes for all of them would be 840 MB."""


@dataclass(frozen=True, slots=True)
class Span:
    """How much of each pixel of a row or column a stretch covers."""

    first: int
    covered: NDArray[np.float32]


def render_pdf(paper: str) -> bytes:
    """Return the card in the middle of an upright sheet as PDF; the same bytes each time.

    Raises
    ------
    InputError
        A paper that is none of ``PAPERS_MM``.
    """
    size = PAPERS_MM.get(paper)
    if size is None:
        raise InputError(shorten(paper), " or ".join(PAPERS_MM), where="paper")
    width, height = size
    left, top = (width - CARD.width_mm) / 2, (height - CARD.height_mm) / 2
    return _set(size, left, top, list_black_boxes().tolist(), kind="pdf")


def check_dpi(dpi: int) -> None:
    """Raise InputError for dots per inch that no printer or scanner of keys has use for."""
    if not LEAST_DPI <= dpi <= MOST_DPI:
        raise InputError(f"{dpi} dpi", f"{LEAST_DPI} to {MOST_DPI} dpi", where="dpi")


def render_png(dpi: int) -> bytes:
    """Return the card alone as PNG of 8-bit grey, ``dpi`` in the file.

    Raises
    ------
    InputError
        Fewer or more dots per inch than can be used.
    """
    from PIL import Image

    picture = draw_card(dpi)
    out = io.BytesIO()
    # pHYs holds whole pixels per metre: 600 dpi become 23,622, which is 599.9988.
    Image.fromarray(picture).save(out, "png", dpi=(dpi, dpi), compress_level=4)
    return out.getvalue()


def draw_card(dpi: int) -> NDArray[np.uint8]:
    """Return the card as grey pixels, 0 black and 255 white, each by the share of it that is printed.

    Parameters
    ----------
    dpi
        Dots per inch, from 50 to 2,400. The picture has round(mm * dpi / 25.4) rows and columns, with the
        card's upper left corner at the corner of the first pixel.
    """
    check_dpi(dpi)
    scale = dpi / MM_PER_INCH
    rows, columns = round(CARD.height_mm * scale), round(CARD.width_mm * scale)
    picture = np.full((rows, columns), 255, dtype=np.uint8)
    boxes = [
        (_cover(top, height, scale, rows), _cover(left, width, scale, columns))
        for left, top, width, height in list_black_boxes()
    ]
    for start in range(0, rows, ROWS_AT_A_TIME):
        stop = min(start + ROWS_AT_A_TIME, rows)
        printed = np.zeros((stop - start, columns), dtype=np.float32)
        for down, across in boxes:
            first, last = max(down.first, start), min(down.first + len(down.covered), stop)
            if first < last:
                part = down.covered[first - down.first : last - down.first]
                place = slice(across.first, across.first + len(across.covered))
                printed[first - start : last - start, place] += part[:, None] * across.covered[None, :]
        picture[start:stop] = np.rint(255 * (1 - np.minimum(printed, 1))).astype(np.uint8)
    words = _draw_words(dpi)
    first = round(STRIP.top_mm * scale)
    words = words[: rows - first, :columns]
    strip = picture[first : first + len(words), : words.shape[1]]
    np.minimum(strip, words, out=strip)
    return picture


def _cover(start_mm: float, length_mm: float, scale: float, pixels: int) -> Span:
    begin, end = start_mm * scale, min((start_mm + length_mm) * scale, pixels)
    first = int(begin)
    edges = np.arange(first, int(np.ceil(end)) + 1)
    covered = np.diff(np.clip(edges, begin, end)).astype(np.float32)
    return Span(first, covered)


def _draw_words(dpi: int) -> NDArray[np.uint8]:
    """Return the strip below the chessboard with its words alone, as grey pixels."""
    from PIL import Image

    size = (STRIP.width_mm, STRIP.height_mm)
    png = _set(size, 0.0, -STRIP.top_mm, [], kind="png", ppi=float(dpi))
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


def _set(
    page: tuple[float, float],
    left: float,
    top: float,
    boxes: list[list[float]],
    *,
    kind: Literal["pdf", "png"],
    ppi: float | None = None,
) -> bytes:
    import typst

    bar = (BAR.left_mm, BAR.top_mm, BAR.width_mm, BAR.height_mm)
    size = (CARD.width_mm, CARD.height_mm)
    data = {"page": page, "left": left, "top": top, "size": size, "bar": bar, "boxes": boxes}
    inputs = {"card": json.dumps(data)}
    if kind == "png":
        return typst.compile(
            _read_template(), format="png", ppi=ppi, ignore_system_fonts=True, sys_inputs=inputs, timestamp=0
        )
    return typst.compile(
        _read_template(),
        format="pdf",
        pdf_standards=["ua-1"],
        ignore_system_fonts=True,
        sys_inputs=inputs,
        timestamp=0,
    )


@cache
def _read_template() -> bytes:
    return Path(__file__).with_name("card.typ").read_bytes()
