"""A photo of a label: its bar codes and its print, and the vehicle numbers and identifiers among them.

Nothing that was read is taken by itself: a person compares it with the label. What was changed on the way is
said, what is doubtful is a suggestion beside the reading.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bittern.engines.key.errors import FccIdError
from bittern.engines.key.fcc import FccId, grantee_length, parse_fcc_id
from bittern.engines.label.finding import Piece, find_code_pieces, find_number_pieces
from bittern.engines.label.lines import Line, Quad, sort_lines
from bittern.engines.vehicle.number import LENGTH, VIN_ALPHABET, VinReport, check_vin
from bittern.engines.vehicle.suggestion import Suggestion
from bittern.formats.images import Pixels
from bittern.formats.label_codes import CORRECTED, BarCode, read_codes, round_box
from bittern.formats.label_print import read_print
from bittern.formats.packs import Pack
from bittern.work.vehicle import weigh_text

PRINT = "text"
"""What a reading comes from, where it is not the name of a bar code."""
SMALL_PX = 13.0
"""Lower print is misread with a high score: six of 16 labels with letters of 8 pixels (study_label.py)."""
MOST_DOUBTFUL = 2
"""Pieces of print that are no number as they stand and are asked about; each takes a tenth of a second."""
MOST_SUGGESTED = 3
LEAST_SUGGESTED = 0.02
_IMPORT = "I"
_IN_TEXT = re.compile(rf"(?<![A-Z0-9])[{VIN_ALPHABET}]{{17}}(?![A-Z0-9])")
_IN_GRANTEE = str.maketrans("01", "OI")
# In the product code both of each pair are allowed: the reading alone cannot tell.
_PAIRS = {"0": "O", "O": "0", "1": "I", "I": "1"}


@dataclass(frozen=True, slots=True)
class ReadNumber:
    """A vehicle number as it was read.

    Attributes
    ----------
    vin, valid
        As read, changes aside that ``changed`` names; whether no rule that binds it is broken.
    source
        The kind of bar code, or ``text``.
    confidence
        The print reader's own score; None for a bar code, which is read as a whole or not at all.
    box
        Where it stands.
    changed
        What was done to the reading, and what speaks for or against it, in words.
    suggestions
        Numbers that it may be instead; only where it is not valid.
    """

    vin: str
    valid: bool
    source: str
    confidence: float | None
    box: Quad
    changed: tuple[str, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape, and more."""
        return {
            "vin": self.vin,
            "valid": self.valid,
            "from": self.source,
            "confidence": self.confidence,
            "box": round_box(self.box),
            "changed": list(self.changed),
            "suggestions": [one.as_dict() for one in self.suggestions],
        }


@dataclass(frozen=True, slots=True)
class ReadIdentifier:
    """An FCC identifier as it was read; ``alternatives`` are what 0 and O, 1 and I leave open."""

    text: str
    source: str
    confidence: float | None
    box: Quad
    changed: tuple[str, ...] = ()
    alternatives: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape, and more."""
        return {
            "text": self.text,
            "from": self.source,
            "confidence": self.confidence,
            "box": round_box(self.box),
            "changed": list(self.changed),
            "alternatives": list(self.alternatives),
        }


@dataclass(frozen=True, slots=True)
class LabelReading:
    """All that was read on a picture; ``size`` is its width and height in pixels."""

    size: tuple[int, int]
    vins: tuple[ReadNumber, ...]
    fcc_ids: tuple[ReadIdentifier, ...]
    barcodes: tuple[BarCode, ...]
    lines: tuple[Line, ...]

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape, and more."""
        return {
            "vins": [one.as_dict() for one in self.vins],
            "fcc_ids": [one.as_dict() for one in self.fcc_ids],
            "barcodes": [one.as_dict() for one in self.barcodes],
            "texts": [line.text for line in self.lines],
            "lines": [
                {"text": line.text, "confidence": line.confidence, "box": round_box(line.box)}
                for line in self.lines
            ],
            "width_px": self.size[0],
            "height_px": self.size[1],
        }


def read_label(pixels: Pixels, pack: Pack) -> LabelReading:
    """Return what the picture says; raises InputError where the print reader is busy for too long.

    ``pack`` weighs what a number that breaks a rule could have been meant to be.
    """
    codes = read_codes(pixels, enough=lambda found: any(_find_in_code(one) for one in found))
    lines = sort_lines(read_print(pixels))
    height, width = pixels.shape[:2]
    return interpret((width, height), codes, lines, pack)


def interpret(
    size: tuple[int, int], codes: Sequence[BarCode], lines: Sequence[Line], pack: Pack
) -> LabelReading:
    """Return the numbers and identifiers among what was read; ``lines`` in reading order."""
    vins, fcc_ids = _find_numbers(codes, lines, pack), _find_ids(codes, lines)
    return LabelReading(size, vins, fcc_ids, tuple(codes), tuple(lines))


def _find_numbers(codes: Sequence[BarCode], lines: Sequence[Line], pack: Pack) -> tuple[ReadNumber, ...]:
    found: dict[str, ReadNumber] = {}
    for code in codes:
        number = _find_in_code(code)
        if number is not None:
            found.setdefault(number.vin, number)
    doubtful = []
    for piece in find_number_pieces(lines):
        report = check_vin(piece.text)
        if report.valid and _is_likely(report):
            seen = found.get(report.vin)
            said = ("the print beside it says the same",)
            if seen is None:
                found[report.vin] = ReadNumber(
                    report.vin,
                    True,
                    PRINT,
                    piece.confidence,
                    piece.box,
                    _name_doubts(report) + _name_smallness(piece),
                )
            elif seen.source != PRINT and said[0] not in seen.changed:
                found[report.vin] = ReadNumber(
                    seen.vin, True, seen.source, seen.confidence, seen.box, seen.changed + said
                )
        elif piece.marked or _looks_like_number(piece.text):
            doubtful.append(piece)
    if not found:
        for piece in doubtful[:MOST_DOUBTFUL]:
            number = _read_doubtful(piece, pack)
            found.setdefault(number.vin, number)
    return tuple(found.values())


def _find_in_code(code: BarCode) -> ReadNumber | None:
    """Return the vehicle number in a bar code, or None; a Code 39 only where the whole of it is one."""
    text = "".join(code.text.upper().split())
    notes: list[str] = []
    if len(text) == LENGTH + 1 and text[0] == _IMPORT:
        # Labels of imported vehicles carry an I in front of the number (common practice).
        text = text[1:]
        notes.append("the I for an import in front was taken away")
    if len(text) != LENGTH and code.symbology != "Code 39":
        # Square codes hold more than one thing: the number stands among them, parted from its neighbours.
        inside = _IN_TEXT.findall(code.text.upper())
        if len(set(inside)) != 1:
            return None
        text = inside[0]
        notes.append("taken out of a longer text")
    if len(text) != LENGTH or set(text) - set(VIN_ALPHABET):
        return None
    report = check_vin(text)
    if not report.valid or not _is_likely(report):
        return None
    if code.symbology not in CORRECTED and not report.check_digit.agrees:
        notes.append(f"neither the check digit nor the {code.symbology} itself confirms it")
    return ReadNumber(report.vin, True, code.symbology, None, code.box, (*notes, *_name_doubts(report)))


def _is_likely(report: VinReport) -> bool:
    """Tell a number from 17 letters of any word: outside North America no rule would."""
    return report.check_digit.agrees or (report.vin[-4:].isdigit() and _looks_like_number(report.vin))


def _looks_like_number(text: str) -> bool:
    return sum(c.isdigit() for c in text) >= 5 and sum(c.isdigit() for c in text[-5:]) >= 3


def _name_doubts(report: VinReport) -> tuple[str, ...]:
    if report.check_digit.agrees:
        return ()
    return ("its check digit does not agree, which only North America requires",)


def _read_doubtful(piece: Piece, pack: Pack) -> ReadNumber:
    """Return a number that breaks a rule, with what it may have been."""
    report = check_vin(piece.text)
    posterior = weigh_text(pack, piece.text, "photographed", limit=MOST_SUGGESTED)
    suggestions = tuple(
        one for one in posterior.suggestions if one.vin != report.vin and one.probability >= LEAST_SUGGESTED
    )
    problems = report.problems or ("nothing confirms it",)
    return ReadNumber(
        report.vin,
        False,
        PRINT,
        piece.confidence,
        piece.box,
        (*problems, *_name_smallness(piece)),
        suggestions,
    )


def _find_ids(codes: Sequence[BarCode], lines: Sequence[Line]) -> tuple[ReadIdentifier, ...]:
    found: dict[str, ReadIdentifier] = {}
    for code in codes:
        # A bar code with the words in it is cut as a line of print is.
        as_line = Line(code.text.upper(), 1.0, code.box)
        for piece in find_code_pieces((as_line,)):
            for one in _read_identifier(piece, code.symbology, None):
                found.setdefault(one.text, one)
    for piece in find_code_pieces(lines):
        for one in _read_identifier(piece, PRINT, piece.confidence):
            found.setdefault(one.text, one)
    return tuple(found.values())


def _read_identifier(piece: Piece, source: str, confidence: float | None) -> Iterator[ReadIdentifier]:
    """Yield the identifier that the piece is by the grammar; nothing where it breaks it."""
    text, notes = _mend_grantee(piece.text.strip("-"))
    if source == PRINT:
        notes += _name_smallness(piece)
    try:
        code = parse_fcc_id(text)
    except FccIdError:
        return
    alternatives = tuple(_list_alternatives(code)) if source == PRINT else ()
    yield ReadIdentifier(code.text, source, confidence, piece.box, notes + code.notes, alternatives)


def _name_smallness(piece: Piece) -> tuple[str, ...]:
    if piece.height >= SMALL_PX:
        return ()
    return (f"the print is only {piece.height:.0f} pixels high: take the photo from closer",)


def _mend_grantee(text: str) -> tuple[str, tuple[str, ...]]:
    """Return the text with O and I in place of 0 and 1 in its grantee code, which has neither (DA 13-669)."""
    first = text[:1].translate(_IN_GRANTEE)
    length = grantee_length(first) if first else None
    if length is None:
        return text, ()
    grantee = text[:length].translate(_IN_GRANTEE)
    changes = tuple(
        f"character {place}: {a} read as {b}, for a grantee code has no {a}"
        for place, (a, b) in enumerate(zip(text, grantee, strict=False), start=1)
        if a != b
    )
    return grantee + text[length:], changes


def _list_alternatives(code: FccId, most: int = 4) -> Iterator[str]:
    """Yield what the identifier is with one 0 or O, 1 or I of its product code taken for the other."""
    places = [place for place, c in enumerate(code.product) if c in _PAIRS]
    for place in places[:most]:
        product = code.product[:place] + _PAIRS[code.product[place]] + code.product[place + 1 :]
        yield code.grantee + product
