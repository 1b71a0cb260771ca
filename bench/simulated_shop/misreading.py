"""How an identifier changes on its way from a label to the form, and how likely a reading therefore is.

Process: a text is well or badly legible as a whole, which multiplies the errors of all its characters. Its
first three or last one to three characters may be left out. Then, from left to right, a pair is swapped, or a
character is lost, written twice, taken for a look-alike (unequally likely), for one that sounds alike (on the
telephone), for any other, or kept. Hyphens and a prefix come and go by themselves.

:func:`chances_of_reading` sums all ways by a forward recursion over many labels at once. A label may hold
wildcards, any character or any digit, so that unknown identifiers are summed over exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from random import Random

import numpy as np
from numpy.typing import NDArray

from simulated_shop.habits import Habits

Floats = NDArray[np.float64]

SYMBOLS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
ANY, DIGIT, PAD = 36, 37, 38
"""Codes of the wildcards "any symbol" and "any digit", and of the room after a short label."""
PREFIXES = ("FCC ID: ", "FCC ID ", "FCCID:")
CUTS = (0.5, 0.3, 0.2)
"""How often one, two, three characters are missing when an end is left out."""

# What a worn or badly lit character is taken for, with weights.
LOOKS: dict[str, str] = {
    "0": "OOOQD8", "O": "000QD", "Q": "OO0", "D": "0OO", "1": "IIL7", "I": "11L", "L": "1I", "5": "SSS6",
    "S": "555", "8": "BB3", "B": "888E", "2": "ZZ7", "Z": "222", "6": "GG8", "G": "66C", "U": "VV",
    "V": "UUY", "C": "GG", "E": "FB", "F": "EEP", "P": "FR", "R": "PP", "M": "NW", "N": "MH",
    "H": "NN", "7": "1T", "4": "A", "K": "X", "X": "K", "3": "8", "Y": "V", "T": "7",
}  # fmt: skip
SOUNDS: dict[str, str] = {
    "B": "PDDVE", "D": "BBTG", "P": "BBT", "T": "DPC", "V": "BBE", "E": "B", "G": "DJ", "C": "Z", "Z": "C",
    "M": "NNN", "N": "MMM", "F": "SSS", "S": "FFF", "A": "8H", "H": "A", "J": "GK", "K": "J", "5": "9",
    "9": "5",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pen:
    """The errors of one way of reading at one legibility."""

    look: float
    sound: float
    mistaken: float
    lost: float
    doubled: float
    swapped: float


def pick_pen(habits: Habits, *, phone: bool, bad: bool) -> Pen:
    """Return the errors that apply."""
    factor = habits.bad_factor if bad else 1.0
    return Pen(
        look=min(0.3, habits.look * factor),
        sound=habits.sound if phone else 0.0,
        mistaken=min(0.1, habits.mistaken * factor),
        lost=min(0.1, habits.lost * factor),
        doubled=habits.doubled,
        swapped=habits.swapped,
    )


def draw_reading(draw: Random, label: str, habits: Habits, *, phone: bool, bad: bool) -> str:
    """Return what is read where ``label`` stands, with or without hyphen and prefix."""
    bare = label.replace("-", "")
    headless = len(bare) > 5 and draw.random() < habits.head_cut
    body = bare[3:] if headless else bare
    if len(body) > 3 and draw.random() < _end_cut(habits, phone=phone):
        body = body[: max(1, len(body) - draw.choices((1, 2, 3), CUTS)[0])]
    read = _miswrite(draw, body, pick_pen(habits, phone=phone, bad=bad)) or body
    shown = draw.random() < _p_hyphen(habits, labelled="-" in label)
    if shown and not headless and len(read) > 3:
        read = f"{read[:3]}-{read[3:]}"
    return (draw.choice(PREFIXES) if draw.random() < habits.prefixed else "") + read


def strip_reading(text: str) -> str:
    """Return a reading without its prefix.

    >>> strip_reading("FCC ID: KX4-HM22")
    'KX4-HM22'
    """
    for prefix in PREFIXES:
        text = text.removeprefix(prefix)
    return text


def _end_cut(habits: Habits, *, phone: bool) -> float:
    return habits.phone_end_cut if phone else habits.end_cut


def _p_hyphen(habits: Habits, *, labelled: bool) -> float:
    return 1.0 - habits.hyphen_dropped if labelled else habits.hyphen_added


def _miswrite(draw: Random, text: str, pen: Pen) -> str:
    written, place = "", 0
    while place < len(text):
        one = text[place]
        if place + 1 < len(text) and draw.random() < pen.swapped:
            written += text[place + 1] + one
            place += 2
            continue
        place += 1
        written += _copy(draw, one, pen)
    return written


def _copy(draw: Random, one: str, pen: Pen) -> str:
    """Return what one character becomes."""
    event = draw.random()
    for chance, become in (
        (pen.lost, ("",)),
        (pen.doubled, (one + one,)),
        (pen.look if one in LOOKS else 0.0, LOOKS.get(one, "")),
        (pen.sound if one in SOUNDS else 0.0, SOUNDS.get(one, "")),
        (pen.mistaken, SYMBOLS.replace(one, "")),
    ):
        event -= chance
        if event < 0.0:
            return draw.choice(become)
    return one


@lru_cache(maxsize=16)
def _emissions(pen: Pen) -> tuple[Floats, Floats]:
    """Return chances (true, read) of one for one, and of being just that symbol; with the wildcards' rows."""
    one = np.zeros((39, 36))
    for place, true in enumerate(SYMBOLS):
        left = 1.0 - pen.lost - pen.doubled - pen.mistaken
        one[place] += pen.mistaken / 35
        one[place, place] -= pen.mistaken / 35
        for table, chance in ((LOOKS, pen.look), (SOUNDS, pen.sound)):
            if true in table and chance:
                for other in table[true]:
                    one[place, SYMBOLS.index(other)] += chance / len(table[true])
                left -= chance
        one[place, place] += left
    same = np.zeros((39, 36))
    same[:36] = np.eye(36)
    for chances in (one, same):
        chances[ANY], chances[DIGIT] = chances[:36].mean(axis=0), chances[:10].mean(axis=0)
    return one, same


def encode(labels: Sequence[Sequence[int]]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return codes padded to one length, and the lengths."""
    lengths = np.array([len(label) for label in labels], dtype=np.int64)
    codes = np.full((len(labels), max(3, int(lengths.max(initial=1)))), PAD, dtype=np.int64)
    for row, label in enumerate(labels):
        codes[row, : len(label)] = label
    return codes, lengths


def spell(text: str) -> list[int]:
    """Return the codes of a label, hyphens left out."""
    return [SYMBOLS.index(one) for one in text.replace("-", "")]


def chances_of_reading(
    codes: NDArray[np.int64],
    lengths: NDArray[np.int64],
    hyphened: Floats,
    reading: str,
    habits: Habits,
    *,
    phone: bool,
    bad: bool,
) -> Floats:
    """Return the chance of ``reading`` (no prefix) for each label, shape (labels,).

    ``hyphened`` is the chance that the label has a hyphen after its third character.
    """
    pen = pick_pen(habits, phone=phone, bad=bad)
    body = spell(reading)
    cut = _end_cut(habits, phone=phone)
    p_shown = hyphened * (1.0 - habits.hyphen_dropped) + (1.0 - hyphened) * habits.hyphen_added
    # A text of three characters or fewer has no place for the hyphen.
    shown = p_shown if "-" in reading else (1.0 - p_shown if len(body) > 3 else np.ones(len(codes)))
    may_lose_head = lengths > 5
    head = np.where(may_lose_head, habits.head_cut, 0.0)
    whole = _chances(codes, lengths, body, pen, cut)
    total: Floats = (1.0 - head) * shown * whole
    if "-" not in reading:
        shifted = np.column_stack([codes[:, 3:], np.full((len(codes), 3), PAD)])
        total = total + head * _chances(shifted, np.maximum(1, lengths - 3), body, pen, cut)
    return total


def _chances(
    codes: NDArray[np.int64], lengths: NDArray[np.int64], read: list[int], pen: Pen, cut: float
) -> Floats:
    """Return the chance of the symbols ``read`` for each label, its end perhaps left out."""
    ends = _forward(codes, read, pen)
    rows = np.arange(len(codes))
    may_cut = np.where(lengths > 3, cut, 0.0)
    total: Floats = (1.0 - may_cut) * ends[rows, lengths]
    for missing, chance in enumerate(CUTS, start=1):
        total = total + may_cut * chance * ends[rows, np.maximum(1, lengths - missing)]
    return total


def _forward(codes: NDArray[np.int64], read: list[int], pen: Pen) -> Floats:
    """Return the chance of all of ``read`` from the first i characters, shape (labels, length + 1)."""
    one, same = _emissions(pen)
    count, length = codes.shape
    size = len(read)
    state = np.zeros((length + 1, size + 1, count))
    ends = np.zeros((count, length + 1))
    state[0, 0] = 1.0
    for i in range(length):
        true = codes[:, i]
        step = np.zeros((size + 1, count))
        step += pen.lost * state[i]
        for j, symbol in enumerate(read):
            step[j + 1] += state[i, j] * one[true, symbol]
            if j + 1 < size and read[j + 1] == symbol:
                step[j + 2] += pen.doubled * state[i, j] * same[true, symbol]
        swapped = np.zeros((size + 1, count))
        if i and pen.swapped:
            for j in range(size - 1):
                swapped[j + 2] += (
                    pen.swapped
                    * state[i - 1, j]
                    * same[codes[:, i], read[j]]
                    * same[codes[:, i - 1], read[j + 1]]
                )
        # At the last character there is no neighbour to swap with.
        ends[:, i + 1] = step[size] + swapped[size]
        state[i + 1] = (1.0 - pen.swapped) * step + swapped
    return ends
