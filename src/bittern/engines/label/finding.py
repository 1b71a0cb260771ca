"""Pieces of print that could be a vehicle number or an FCC identifier.

Nothing is decided here: the grammars of both decide afterwards. What is returned is only where to look.

What it cannot see: a number whose characters the reader has put into three lines or more, and an identifier
without the words "FCC ID" before it, for almost any word has the form of one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bittern.engines.label.lines import Line, Quad, join_boxes

NUMBER_LENGTHS = (16, 17, 18)
"""A vehicle number has 17 characters; one lost or one too many is let through, to be suggested upon."""
LONGEST_CODE = 24
"""An identifier has at most 5 + 14 characters; a few more for spaces."""

_NUMBER_MARK = re.compile(r"\b(?:VIN|V\.I\.N\.)\s*(?:NO|NR)?\s*[:.#=]*\s*")
_RUN_TOGETHER = re.compile(r"^(?:VIN|VLN|V1N)(?=[A-Z0-9]{16,})")
_PIECE = re.compile(r"[A-Z0-9]+")
_SEPARATED = re.compile(r"[\s*.\-]+")
# As readers write it: the I as 1, L or a stroke, the D as 0 or O, the space anywhere or nowhere.
_FCC_MARK = re.compile(r"F\s?C\s?C\s?[-.]?\s?[I1L|]\s?[D0O]\s?[:.;#=]*\s*")
# What stands beside an identifier on labels, and is no part of it.
_STOPS = re.compile(
    r"(?:^|[\s/,;|])(?:IC\s?[ID]*\s?[:.#]|IC\s+\d|ISED|MODEL|MOD\.|M/N|P/N|S/N|CMIIT|ANATEL|FCC|CAN\s?ICES|"
    r"CANADA|MADE|THIS|COMPL\w*|CONTAINS|REF|NO\.|MHZ|\d+(?:\.\d+)?\s?MHZ)"
)


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of print to be tried.

    Attributes
    ----------
    text
        Capitals and digits; for an identifier hyphens too.
    marked
        The words that announce such a number stood before it.
    confidence, height
        The lowest of the lines that it was made of; height in pixels.
    box
        Around those lines.
    """

    text: str
    marked: bool
    confidence: float
    box: Quad
    height: float


def find_number_pieces(lines: Sequence[Line]) -> tuple[Piece, ...]:
    """Return what could be a vehicle number, each text once, marked ones first.

    Parameters
    ----------
    lines
        In reading order.

    Returns
    -------
    tuple of Piece
        Texts of 16 to 18 capitals and digits: words of a line, neighbouring words of it, and what two lines
        that follow each other make together.
    """
    found: dict[str, Piece] = {}
    for place, line in enumerate(lines):
        pieces = list(_cut_number(line.text, (line,)))
        if place + 1 < len(lines):
            below = lines[place + 1]
            if _is_piece(line.text) and _is_piece(below.text):
                pieces += _cut_number(f"{line.text} {below.text}", (line, below))
        for piece in pieces:
            kept = found.get(piece.text)
            if kept is None or (piece.marked, piece.confidence) > (kept.marked, kept.confidence):
                found[piece.text] = piece
    return tuple(sorted(found.values(), key=lambda piece: (not piece.marked, -piece.confidence)))


def _is_piece(text: str) -> bool:
    """Tell whether a line is a part of a number and nothing else, so that it may be joined with the next."""
    bare = _SEPARATED.sub("", _NUMBER_MARK.sub("", text))
    return 4 <= len(bare) <= 14 and _PIECE.fullmatch(bare) is not None and any(c.isdigit() for c in bare)


def _cut_number(text: str, lines: tuple[Line, ...]) -> Iterator[Piece]:
    mark = _NUMBER_MARK.search(text)
    confidence = min(line.confidence for line in lines)
    box, height = join_boxes([line.box for line in lines]), min(line.height for line in lines)
    parts = [(text, False)] if mark is None else [(text[mark.end() :], True), (text[: mark.start()], False)]
    for part, marked in parts:
        words = [_SEPARATED.sub("", word) for word in part.split()]
        for first in range(len(words)):
            joined = ""
            for word in words[first:]:
                joined += word
                if len(joined) > max(NUMBER_LENGTHS) + 3:
                    break
                bare = _RUN_TOGETHER.sub("", joined)
                if len(bare) in NUMBER_LENGTHS and _PIECE.fullmatch(bare):
                    yield Piece(bare, marked or bare != joined, confidence, box, height)


def find_code_pieces(lines: Sequence[Line]) -> tuple[Piece, ...]:
    """Return what stands after the words "FCC ID", each text once, in reading order.

    Parameters
    ----------
    lines
        In reading order.

    Returns
    -------
    tuple of Piece
        Without spaces. Where the words stand alone, or what follows them breaks off at a hyphen or after
        three to five characters, the next line is taken too, and both forms are returned.

    Examples
    --------
    >>> box = ((0.0, 0.0), (9.0, 0.0), (9.0, 1.0), (0.0, 1.0))
    >>> lines = [Line("FCC ID: 9ZZQM-", 0.9, box), Line("QMR523K IC: 123A-R5", 0.8, box)]
    >>> [piece.text for piece in find_code_pieces(lines)]
    ['9ZZQM-QMR523K']
    """
    found: dict[str, Piece] = {}
    for place, line in enumerate(lines):
        for mark in _FCC_MARK.finditer(line.text):
            rest = _cut_code(line.text[mark.end() :])
            after = _cut_code(lines[place + 1].text) if place + 1 < len(lines) else ""
            used: tuple[Line, ...] = (line,) if rest else ()
            if _is_broken_off(rest) and after:
                rest, used = rest + after, (line, lines[place + 1])
            text = rest.replace(" ", "")
            if text and used and text not in found:
                found[text] = Piece(
                    text,
                    True,
                    min(one.confidence for one in used),
                    join_boxes([one.box for one in used]),
                    min(one.height for one in used),
                )
    return tuple(found.values())


def _is_broken_off(rest: str) -> bool:
    bare = rest.replace(" ", "")
    return not bare or bare.endswith("-") or len(bare) <= 5


def _cut_code(text: str) -> str:
    """Return the start of ``text`` up to what cannot belong to an identifier."""
    stop = _STOPS.search(text)
    body = text[: stop.start()] if stop else text
    match = re.match(r"[A-Z0-9\- ]*", body)
    kept = match.group(0).strip() if match else ""
    words = kept.split(" ")
    # An identifier is one word; where it is shorter than a grantee code and a product code, spaces crept in.
    taken = words[0]
    for word in words[1:]:
        if len(taken.replace("-", "")) > 5 and not taken.endswith("-") and not word.startswith("-"):
            break
        taken += word
    return taken[:LONGEST_CODE]
