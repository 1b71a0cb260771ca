"""The lines of a cutting program as words: a letter and a number each (ISO 6983-1, RS-274)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NoReturn

from bittern.core.errors import InputError, shorten

LIMIT_CHARACTERS: Final = 5_000_000
LIMIT_NUMBER: Final = 1e7
"""Larger numbers are no place, speed or line number of any machine."""
LETTERS: Final = "NGMXYZIJKRFSTPO"

_WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))", re.ASCII)
_BLANK = re.compile(r"[ \t\r\v\f\u00a0]+")

MOTION, PLANE, DISTANCE, ARC_DISTANCE, FEED_MODE, UNITS, COMPENSATION, LENGTH, COORDINATE, CONTROL, DWELL = (
    "motion", "plane", "distance", "arc distance", "feed mode", "units", "cutter compensation",
    "tool length", "coordinate system", "path control", "dwell",
)  # fmt: skip
G_GROUPS: Final = {
    "0": MOTION, "1": MOTION, "2": MOTION, "3": MOTION, "80": MOTION,
    "4": DWELL,
    "17": PLANE, "18": PLANE, "19": PLANE,
    "20": UNITS, "21": UNITS,
    "90": DISTANCE, "91": DISTANCE,
    "90.1": ARC_DISTANCE, "91.1": ARC_DISTANCE,
    "94": FEED_MODE,
    "40": COMPENSATION, "49": LENGTH, "54": COORDINATE,
    "61": CONTROL, "61.1": CONTROL, "64": CONTROL,
}  # fmt: skip
"""The G words understood and their modal groups (RS-274/NGC; checks.md 8.8)."""
G_REFUSED: Final = {
    "41": "a path compensated by the machine", "42": "a path compensated by the machine",
    "43": "a tool length offset", "43.1": "a tool length offset", "92": "a shifted origin",
    "28": "a return to a place that the program does not give",
    "30": "a return to a place that the program does not give",
    "53": "machine coordinates beside those of the program",
    "93": "inverse time feed", "95": "feed for each turn",
}  # fmt: skip
M_GROUPS: Final = {
    "0": "stop", "1": "stop", "2": "stop", "30": "stop",
    "3": "spindle", "4": "spindle", "5": "spindle",
    "6": "tool change",
    "7": "mist", "8": "flood", "9": "coolant off",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Block:
    """One line: its number in the file from 1, its words, its comments, and whether ``/`` marks it.

    ``values`` holds every word but G and M, each letter at most once; ``g`` and ``m`` are codes without
    needless zeros, "1" or "90.1".
    """

    line: int
    g: tuple[str, ...]
    m: tuple[str, ...]
    values: dict[str, float]
    comments: tuple[str, ...]
    optional: bool
    tape: bool = False


def read_blocks(text: str, *, where: str) -> Iterator[Block]:
    """Yield a program's lines; a line that is only ``%`` has ``tape`` set.

    Raises
    ------
    InputError
        More than 5 MB, an open bracket, a word that is not understood (the line and the word are named),
        a letter given twice, two words of one modal group.
    """
    if len(text) > LIMIT_CHARACTERS:
        raise InputError(f"{len(text):,} characters", f"at most {LIMIT_CHARACTERS:,}", where=where)
    for number, raw in enumerate(text.split("\n"), 1):
        place = name_line(where, number)
        rest, comments = _take_comments(raw, place)
        code = _BLANK.sub("", rest).upper()
        optional = code.startswith("/")
        code = code[1:] if optional else code
        if code == "%":
            yield Block(number, (), (), {}, comments, optional, tape=True)
        elif code or comments:
            yield _read_words(code, number, comments, place, optional=optional)


def name_line(where: str, line: int) -> str:
    """Return the place of a line for an error."""
    return f"{where}: line {line}" if where else f"line {line}"


def refuse(found: str, expected: str, place: str, hint: str = "") -> NoReturn:
    """Raise the error about one line."""
    raise InputError(found, expected, where=place, hint=hint)


def _take_comments(raw: str, place: str) -> tuple[str, tuple[str, ...]]:
    """Return a line without its comments, and these."""
    if "(" not in raw and ")" not in raw and ";" not in raw:
        return raw, ()
    kept: list[str] = []
    comments: list[str] = []
    at = 0
    while at < len(raw):
        letter = raw[at]
        if letter == ";":
            comments.append(raw[at + 1 :].strip())
            break
        if letter == ")":
            refuse("a closing bracket without an opening one", "( before )", place)
        if letter == "(":
            end = raw.find(")", at)
            inner = raw[at + 1 : end]
            if end < 0 or "(" in inner:
                refuse("a comment that is not closed", "( and ) in one line, none inside", place)
            comments.append(inner.strip())
            at = end
        else:
            kept.append(letter)
        at += 1
    return "".join(kept), tuple(comments)


def _read_words(code: str, number: int, comments: tuple[str, ...], place: str, *, optional: bool) -> Block:
    g: dict[str, str] = {}
    m: dict[str, str] = {}
    values: dict[str, float] = {}
    at = 0
    while at < len(code):
        match = _WORD.match(code, at)
        if match is None:
            refuse(f"{shorten(code[at:], 24)}", "a letter and a number", place)
        word, letter, digits = match[0], match[1], match[2]
        if letter not in LETTERS:
            refuse(f"the word {shorten(word, 24)}", "words that a mill with three axes knows", place)
        value = float(digits)
        if abs(value) > LIMIT_NUMBER:
            refuse(f"the word {shorten(word, 24)}", f"a number within {LIMIT_NUMBER:g}", place)
        if letter == "G":
            _note_g(word, value, g, place)
        elif letter == "M":
            _note(m, M_GROUPS, word, _name_code(value), place)
        elif letter in values:
            refuse(f"{letter} twice", f"one {letter} word in a line", place)
        elif letter in "NO" and at > 0 and not (letter == "O" and set(values) == {"N"}):
            refuse(f"the word {shorten(word, 24)}", f"{letter} at the beginning of a line", place)
        else:
            values[letter] = value
        at = match.end()
    return Block(number, tuple(g.values()), tuple(m.values()), values, comments, optional)


def _name_code(value: float) -> str:
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _note_g(word: str, value: float, g: dict[str, str], place: str) -> None:
    code = _name_code(value)
    if code in G_REFUSED:
        refuse(f"the word {word}: {G_REFUSED[code]}", "the cutter's path as it is", place)
    _note(g, G_GROUPS, word, code, place)


def _note(into: dict[str, str], groups: dict[str, str], word: str, code: str, place: str) -> None:
    group = groups.get(code)
    if group is None:
        refuse(f"the unknown word {shorten(word, 24)}", "words of the standard that are understood", place)
    if group in into:
        # RS-274/NGC: "Two g codes used from same modal group" (checks.md 8.12).
        refuse(f"two words of the group {group}", "one of each modal group in a line", place)
    into[group] = code
