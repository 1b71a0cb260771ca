"""The handover sheet as PDF: what was made, which keys work, what was tested, who signed; never a bitting."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Literal

Strokes = tuple[tuple[tuple[int, int], ...], ...]

# A signature is kept in thousandths of its field's sides; the field is three times as wide as high.
SIGN_SIDE = 1000
SIGN_SHAPE = 3
# Readable aloud by its tags; the signed sheet is kept as well, so it must be readable in many years.
Standard = Literal["ua-1", "a-2a"]
STANDARDS: tuple[Standard, ...] = ("ua-1",)
KEPT_STANDARDS: tuple[Standard, ...] = ("ua-1", "a-2a")

# Characters that no font draws, or that would turn the letters around them: controls, overrides of direction.
_UNFIT = re.compile(
    "[\u0000-\u0008\u000b-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)


@dataclass(frozen=True, slots=True)
class SheetKey:
    """One key of the vehicle on the sheet; None where nobody could try."""

    name: str
    present: bool
    new: bool
    worked_before: bool | None
    works_after: bool | None


@dataclass(frozen=True, slots=True)
class HandoverSheet:
    """Everything on the handover paper; never a bitting or a key code.

    Attributes
    ----------
    lines
        Price lines: what for, amount net of tax.
    tests
        What was tried, and "passed", "FAILED" or "not yet tested".
    keys_handed
        None, like an empty ``signed_by``, before the handover: the paper then has lines to write on.
    strokes
        The signature in thousandths of its field; empty when the printed sheet was signed.
    day
        The day of the handover in the shop's time zone.
    """

    shop: str
    town: str
    number: int
    customer: str
    vehicle: str
    vin: str
    plate: str
    made: str
    lines: tuple[tuple[str, str], ...]
    currency: str
    tax: str
    total: str
    keys: tuple[SheetKey, ...]
    tests: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    payment_reference: str
    keys_handed: int | None
    signed_by: str
    strokes: Strokes
    day: date | None


def render_handover(sheet: HandoverSheet) -> bytes:
    """Return the sheet as PDF; the same sheet gives the same bytes.

    The PDF keeps to PDF/UA-1, once signed to PDF/A-2a too. Where a name has letters that the fonts of the
    package lack, fonts of the computer are tried; letters that none of them has are drawn as boxes, and the
    standards, which forbid that, are given up.
    """
    import typst

    data = _clean(asdict(sheet))
    data["day"] = [sheet.day.year, sheet.day.month, sheet.day.day] if sheet.day else None
    data["date"] = f"{sheet.day.day} {sheet.day:%B %Y}" if sheet.day else ""
    data["signature"] = draw_signature(sheet.strokes)
    inputs = {"sheet": json.dumps(data)}
    kept = KEPT_STANDARDS if sheet.day else STANDARDS
    tries: tuple[tuple[bool, tuple[Standard, ...]], ...] = ((True, kept), (False, kept), (False, ()))
    for own_fonts_only, standards in tries:
        try:
            pdf = typst.compile(
                _read_template(),
                format="pdf",
                ignore_system_fonts=own_fonts_only,
                sys_inputs=inputs,
                pdf_standards=list(standards),
                timestamp=0,
            )
        except typst.TypstError as error:
            if "could not be displayed with font" not in str(error):
                raise
        else:
            return pdf
    raise AssertionError("without a standard, letters that no font has are no error")


def draw_signature(strokes: Strokes) -> str:
    """Return the strokes as an SVG document, or "" where there are none.

    >>> draw_signature((((0, 0), (1000, 500)),)).split('"')[5]
    'M0 0L3000 500'
    """
    if not strokes:
        return ""
    path = "".join(_draw_stroke(stroke) for stroke in strokes if stroke)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIGN_SHAPE * SIGN_SIDE} {SIGN_SIDE}">'
        f'<path d="{path}" fill="none" stroke="#1e1b16" stroke-width="16" stroke-linecap="round" '
        f'stroke-linejoin="round"/></svg>'
    )


def _draw_stroke(stroke: tuple[tuple[int, int], ...]) -> str:
    points = [f"{SIGN_SHAPE * int(x)} {int(y)}" for x, y in stroke]
    # A dot is a line to its own place: round ends make it visible.
    return f"M{points[0]}" + "".join(f"L{point}" for point in points[1:] or points)


def _clean(value: object) -> dict[str, object]:
    cleaned = _strip(value)
    assert isinstance(cleaned, dict)
    return cleaned


def _strip(value: object) -> object:
    if isinstance(value, str):
        return _UNFIT.sub("", value)
    if isinstance(value, dict):
        return {name: _strip(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_strip(one) for one in value]
    return value


@cache
def _read_template() -> bytes:
    return Path(__file__).with_name("handover.typ").read_bytes()
