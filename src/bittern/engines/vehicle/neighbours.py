"""Every number that a few slips could have turned into a text, with the weight of each way to it.

A way is a set of edits that leads back from the text to a number: a character replaced (``mistaken``), two
neighbours exchanged, a lost one put in, one too many taken out. Characters that no number contains are
certain slips; unreadable ones (``?``) stand for any. All ways of up to two edits are found, and beside them
a letter that no number contains may always be mended as what it is taken for.

Numbers are rows of codes, the places of their characters in :data:`bittern.core.channel.ALPHABET`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.core.channel import ALPHABET, CONFUSIONS, UNREADABLE, ChannelRates, p_written
from bittern.engines.vehicle.number import LENGTH, NEVER_USED, VIN_ALPHABET

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]

EDITS = 2
MOST_UNREADABLE = 2
MOST_CERTAIN = 4
UNREADABLE_CODE = len(ALPHABET)
LEGAL: Codes = np.array([ALPHABET.index(c) for c in VIN_ALPHABET], dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class Ways:
    """Ways to numbers.

    Attributes
    ----------
    codes
        Shape (n, 17): the number that each way leads to; several ways may lead to one number.
    weights
        Shape (n,): about ``P(text | number)``, relative to a text without a slip.
    edits
        Shape (n,): how many slips the way takes beside the certain ones.
    budget
        Up to how many such slips every way is there.
    """

    codes: Codes
    weights: Floats
    edits: NDArray[np.uint8]
    budget: int


@dataclass(frozen=True, slots=True)
class _Rows:
    """Texts on the way, with the weight so far."""

    codes: Codes
    weights: Floats


class _Factors:
    """What each edit costs, relative to a character that is kept."""

    def __init__(self, rates: ChannelRates, legal: Codes) -> None:
        # read_as[t, r]: the character t was read as r, relative to t kept.
        self.read_as = find_written_table(rates)
        kept = np.array([self.read_as[t, t] for t in range(len(ALPHABET))])
        self.read_as = self.read_as / kept[:, None]
        self.legal = legal
        typical = float(kept[legal].mean())
        self.swapped = rates.swapped / typical**2
        self.lost = rates.lost
        self.start_lost = rates.lost + rates.start_lost / (LENGTH - 1)
        self.end_lost = rates.lost + rates.end_lost / (LENGTH - 1)
        self.inserted = rates.inserted / len(rates.alphabet)
        self.doubled = rates.doubled / typical


def encode(text: str) -> Codes:
    """Return the codes of ``text``; ``?`` has one of its own.

    >>> encode("0A?").tolist()
    [0, 10, 36]
    """
    return np.array([UNREADABLE_CODE if c == UNREADABLE else ALPHABET.index(c) for c in text], dtype=np.uint8)


def decode_rows(codes: Codes) -> list[str]:
    """Return rows of codes as texts."""
    letters = np.array(list(ALPHABET + UNREADABLE))
    return ["".join(row) for row in letters[codes]]


def find_written_table(rates: ChannelRates) -> Floats:
    """Return the chance of each character (row) being written as each other or as ``?`` (column)."""
    table = np.zeros((len(ALPHABET), len(ALPHABET) + 1))
    for t, truth in enumerate(ALPHABET):
        written = p_written(truth, rates)
        table[t] = [written.get(c, 0.0) for c in ALPHABET + UNREADABLE]
    return table


def find_ways(
    read: str, rates: ChannelRates, *, length: int = LENGTH, alphabet: str = VIN_ALPHABET
) -> Ways | None:
    """Return the ways from ``read`` to numbers; None where none is near enough.

    Parameters
    ----------
    read
        Capitals and digits, at most two characters more or fewer than ``length``; at most two ``?`` and four
        letters that no number contains. Each ``?`` uses up one of the two edits.
    rates
        How the text was read.
    length, alphabet
        Of a number; smaller ones are for tests that enumerate.
    """
    legal = encode(alphabet)
    if any(c not in alphabet and c not in NEVER_USED and c != UNREADABLE for c in read):
        return None
    certain = [i for i, c in enumerate(read) if c in NEVER_USED]
    unread = [i for i, c in enumerate(read) if c == UNREADABLE]
    if len(unread) > MOST_UNREADABLE or len(certain) > MOST_CERTAIN:
        return None
    needed = abs(len(read) - length)
    budget = max(0, (EDITS if len(certain) <= 1 else 1) - len(unread) - needed)
    if needed + len(unread) > EDITS:
        return None
    factors = _Factors(rates, legal)
    found: list[tuple[_Rows, int]] = []
    strangers = max(0, EDITS - len(unread) - needed) if len(certain) <= EDITS else 0
    for base, used in _mend(read, certain, unread, strangers, factors):
        for edits in range(max(0, budget - used) + 1):
            found += [(rows, used + edits) for rows in _edit(base, edits, length, factors)]
    return Ways(
        codes=np.concatenate([rows.codes for rows, _ in found]),
        weights=np.concatenate([rows.weights for rows, _ in found]),
        edits=np.concatenate([np.full(len(rows.codes), n, dtype=np.uint8) for rows, n in found]),
        budget=budget,
    )


def _mend(
    read: str, certain: list[int], unread: list[int], strangers: int, factors: _Factors
) -> Iterator[tuple[_Rows, int]]:
    """Yield ``read`` with every character that cannot stand there replaced, and how many edits that used.

    What a letter is taken for costs none; anything else costs one, and at most ``strangers`` are such.
    """
    start = _Rows(encode(read)[None, :], np.ones(1))
    for i in unread:
        start = _replace(start, i, factors, factors.legal)
    for kinds in itertools.product((False, True), repeat=len(certain)):
        if sum(kinds) > strangers:
            continue
        rows = start
        for i, stranger in zip(certain, kinds, strict=True):
            alike = encode(_find_alike(read[i]))
            alike = alike[np.isin(alike, factors.legal)]
            others = factors.legal[~np.isin(factors.legal, alike)]
            rows = _replace(rows, i, factors, others if stranger else alike)
        if len(rows.codes):
            yield rows, sum(kinds)


def _find_alike(letter: str) -> str:
    alike = {c for group in CONFUSIONS if letter in group for c in group if c in VIN_ALPHABET}
    return "".join(sorted(alike | {NEVER_USED[letter]}))


def _edit(base: _Rows, extra: int, length: int, factors: _Factors) -> Iterator[_Rows]:
    """Yield what ``extra`` edits beside those that the length asks for make of ``base``.

    Each sequence stands in an order that reaches every number: characters taken out come first, for what
    they kept apart may then be exchanged; those put in come last, for a replaced one is another one put in.
    """
    surplus = base.codes.shape[1] - length
    for _ in range(surplus):
        base = _take_out(base, factors)
    missing = max(0, -surplus)
    plans = {0: [""], 1: ["s", "w"], 2: ["ss", "ws", "di"]}[extra]
    for plan in plans:
        rows = base
        for step in plan:
            if step == "w":
                rows = _swap(rows, factors)
            elif step == "d":
                rows = _take_out(rows, factors)
            elif step == "i":
                rows = _put_in(rows, factors)
        if "s" in plan:
            rows = _substitute(rows, plan.count("s"), factors)
        for _ in range(missing):
            rows = _put_in(rows, factors)
        yield rows


def _replace(rows: _Rows, place: int, factors: _Factors, choices: Codes) -> _Rows:
    """Return each row with each of ``choices`` at ``place``."""
    read = np.repeat(rows.codes, len(choices), axis=0)
    put = np.tile(choices, len(rows.codes))
    weights = np.repeat(rows.weights, len(choices)) * factors.read_as[put, read[:, place]]
    read[:, place] = put
    return _Rows(read, weights)


def _substitute(rows: _Rows, count: int, factors: _Factors) -> _Rows:
    """Return each row with ``count`` characters replaced by others."""
    made = []
    for places in itertools.combinations(range(rows.codes.shape[1]), count):
        changed = rows
        for place in places:
            before = np.repeat(changed.codes[:, place], len(factors.legal))
            changed = _replace(changed, place, factors, factors.legal)
            differs = changed.codes[:, place] != before
            changed = _Rows(changed.codes[differs], changed.weights[differs])
        made.append(changed)
    return _join(made)


def _swap(rows: _Rows, factors: _Factors) -> _Rows:
    made = []
    for i in range(rows.codes.shape[1] - 1):
        differs = rows.codes[:, i] != rows.codes[:, i + 1]
        codes = rows.codes[differs]
        codes[:, [i, i + 1]] = codes[:, [i + 1, i]]
        made.append(_Rows(codes, rows.weights[differs] * factors.swapped))
    return _join(made)


def _take_out(rows: _Rows, factors: _Factors) -> _Rows:
    made = []
    for i in range(rows.codes.shape[1]):
        # One of two alike may have been doubled; half of the chance to each, for both are taken out in turn.
        alike = np.zeros(len(rows.codes))
        for j in (i - 1, i + 1):
            if 0 <= j < rows.codes.shape[1]:
                alike += rows.codes[:, i] == rows.codes[:, j]
        weights = rows.weights * (factors.inserted + 0.5 * factors.doubled * alike)
        made.append(_Rows(np.delete(rows.codes, i, axis=1), weights))
    return _join(made)


def _put_in(rows: _Rows, factors: _Factors) -> _Rows:
    length, choices = rows.codes.shape[1], factors.legal
    read, put = np.repeat(rows.codes, len(choices), axis=0), np.tile(choices, len(rows.codes))
    weights = np.repeat(rows.weights, len(choices))
    made = []
    for i in range(length + 1):
        cost = factors.start_lost if i == 0 else factors.end_lost if i == length else factors.lost
        made.append(_Rows(np.insert(read, i, put, axis=1), weights * cost))
    return _join(made)


def _join(parts: list[_Rows]) -> _Rows:
    return _Rows(np.concatenate([p.codes for p in parts]), np.concatenate([p.weights for p in parts]))
