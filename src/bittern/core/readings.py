"""The character channel for many pairs of truth and reading at once, on arrays.

The forward recursion of :func:`bittern.core.channel.log_p_read`, with one array entry for each pair in place
of one float.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bittern.core.channel import (
    ALPHABET,
    PREFIXES,
    SEPARATOR,
    UNREADABLE,
    ChannelRates,
    normalise_reading,
    p_written,
)

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

_SIGNS = ALPHABET + SEPARATOR + UNREADABLE
_SEPARATOR, _UNREADABLE, _END = len(ALPHABET), len(ALPHABET) + 1, len(ALPHABET) + 2
# Below this a quotient by the chance of slips could overflow: long readings, or slips that never happen.
_SMALLEST = 1e-200
_CODE = {sign: code for code, sign in enumerate(_SIGNS)}


def find_p_reads(truths: Sequence[str], reads: Sequence[str], rates: ChannelRates) -> Floats:
    """Return the probability of each reading where the truth of the same place stands.

    Parameters
    ----------
    truths, reads
        As for :func:`bittern.core.channel.log_p_read`, pair by pair.
    rates
        The error rates of the way they came.

    Returns
    -------
    array of float
        Shape (pairs,); the exponential of ``log_p_read`` of each pair.

    Examples
    --------
    >>> from bittern.core.channel import CHANNEL_BY_HOW
    >>> p = find_p_reads(["ABC-12X4", "ABC-17X4"], ["ABC12X4", "ABC12X4"], CHANNEL_BY_HOW["seen"])
    >>> bool(p[0] > 100 * p[1])
    True
    """
    pair, bodies, weights = [], [], []
    normal = [normalise_reading(truth) for truth in truths]
    for i, read in enumerate(map(normalise_reading, reads)):
        if not normal[i] or not read:
            continue
        forms = [form for form in PREFIXES if read.startswith(form) and len(read) > len(form)]
        pair += [i] * (1 + len(forms))
        bodies += [read, *(read[len(form) :] for form in forms)]
        weights += [1.0 - rates.prefix, *([rates.prefix / len(PREFIXES)] * len(forms))]
    if not pair:
        return np.zeros(len(normal))
    p = np.array(weights) * _p_symbols(_encode([normal[i] for i in pair]), _encode(bodies), rates)
    return np.bincount(pair, weights=p, minlength=len(normal)).astype(np.float64)


def find_p_rows(truths: NDArray[np.integer], read: str, rates: ChannelRates) -> Floats:
    """Return the probability of one reading where each of many truths of the same length stands.

    Parameters
    ----------
    truths
        Shape (k, n): places of characters in :data:`bittern.core.channel.ALPHABET`.
    read
        In normal form, as it is: no word in front of it is looked for.
    rates
        How it was read.

    Returns
    -------
    array of float
        Shape (k,); the probability given that no word was put in front.
    """
    reading = _encode([read])
    return _p_symbols(truths.T.astype(np.int64), np.broadcast_to(reading, (len(reading), len(truths))), rates)


def _encode(texts: Sequence[str]) -> Codes:
    """Return texts in normal form as numbers, shape (longest, texts), ended by ``_END``."""
    codes = np.full((max(map(len, texts)), len(texts)), _END, dtype=np.int64)
    for column, text in enumerate(texts):
        codes[: len(text), column] = [_CODE[sign] for sign in text]
    return codes


def _p_symbols(truth: Codes, read: Codes, rates: ChannelRates) -> Floats:
    """Return the sum over all ways from each truth to its reading, no prefix considered."""
    (n, k), m = truth.shape, len(read)
    lengths, ends_at = (truth != _END).sum(axis=0), (read != _END).sum(axis=0)
    p_extra = _extra_table(rates)[read]
    p_go_on = 1.0 - rates.inserted - rates.separator_added
    # Weight of a start that is lost before each place of the reading.
    start = np.concatenate([np.ones((1, k)), np.cumprod(p_extra, axis=0)])
    quick = float(start.min()) > _SMALLEST
    rows = np.zeros((n + 2, 2, m + 1, k))
    total, every = np.zeros(k), np.arange(k)
    breaks = np.maximum(1, lengths - 1)
    for i in range(n + 1):
        now = rows[i]
        if quick:
            # The same sums in one go: what slips in after each place, as a part of what would from the first.
            now[:] = start * np.cumsum(now / start, axis=1)
        else:
            for j in range(m):
                now[:, j + 1] += now[:, j] * p_extra[j]
        whole, broken = lengths == i, (lengths > i) & (lengths > 1)
        if i:
            ends = np.where(whole, np.where(lengths > 1, 1.0 - rates.end_lost, 1.0), 0.0)
            ends += np.where(broken, rates.end_lost / breaks, 0.0)
            total += ends * p_go_on * (now[0, ends_at, every] + now[1, ends_at, every])
        if i == n:
            break
        if i == 0:
            now[0] += np.where(lengths > 1, 1.0 - rates.start_lost, 1.0) * start
        else:
            now[0] += np.where(broken, rates.start_lost / breaks, 0.0) * start
        _step(rows, i, truth, read, rates, p_go_on)
    return total


def _step(rows: Floats, i: int, truth: Codes, read: Codes, rates: ChannelRates, p_go_on: float) -> None:
    """Use up the symbol ``i`` of every truth in every way and add what results to the rows ahead."""
    symbol = truth[i]
    follower = truth[i + 1] if i + 1 < len(truth) else np.full(len(symbol), _END)
    separator, alive = symbol == _SEPARATOR, symbol != _END
    can_swap = ~separator & (follower != _SEPARATOR) & (follower != _END)
    p = rows[i] * (p_go_on * alive)
    rows[i + 1] += p * np.where(separator, rates.separator_lost, rates.lost)
    unreadable = read == _UNREADABLE
    same = ((read == symbol) | unreadable) & ~separator & alive
    one = _written_table(rates)[symbol, read]
    # The chance of a swap that cannot happen here stays with the character as it is.
    kept = rates.swapped * same
    rows[i + 1, 0, 1:] += p[0, :-1] * (one + np.where(can_swap, 0.0, kept))
    rows[i + 1, 1, 1:] += p[1, :-1] * (one + kept)
    rows[i + 1, :, 2:] += p[:, :-2] * (rates.doubled * (same[:-1] & same[1:]))
    swap = ((read == follower) | unreadable)[:-1] & same[1:] & can_swap
    rows[i + 2, 1, 2:] += p[0, :-2] * (rates.swapped * swap)


@lru_cache(maxsize=64)
def _extra_table(rates: ChannelRates) -> Floats:
    """Return the chance that each sign slips in; places after the end are never looked at."""
    table = np.full(_END + 1, rates.inserted / len(rates.alphabet))
    table[[_SEPARATOR, _UNREADABLE, _END]] = rates.separator_added, rates.inserted, 1.0
    return table


@lru_cache(maxsize=64)
def _written_table(rates: ChannelRates) -> Floats:
    """Return the chance of each sign (columns) where each symbol (rows) stands and is not lost or doubled."""
    table = np.zeros((_END + 1, _END + 1))
    for row, symbol in enumerate(_SIGNS):
        if symbol != SEPARATOR:
            written = p_written(symbol, rates)
            table[row, : len(_SIGNS)] = [written.get(sign, 0.0) for sign in _SIGNS]
    table[_SEPARATOR, _SEPARATOR] = 1.0 - rates.separator_lost
    return table
