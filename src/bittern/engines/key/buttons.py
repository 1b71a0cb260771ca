"""How likely a number and a list of buttons are, by one person who may overlook a button in both.

A look is good, or with ``Rates.overlooked`` one button stays unseen, whichever of them (on the other face,
worn smooth). What is said then is about the buttons that were seen: the number may be wrong beyond that, and
each button missed or imagined by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bittern.engines.key.evidence import MOST_BUTTONS, Value
from bittern.engines.key.features import FeatureTable, Floats, plain_name
from bittern.engines.key.rates import Rates

# Names that the pack does not know share the chance of "something else" as if there were this many.
OTHER_NAMES = 20
# Part of the background of counts that keeps to no number of the pack, halving with each further button.
_FREE_COUNTS = 0.15
# Chance that a remote outside the pack has a button whose word the pack does not know.
_NEW_BUTTON = 0.10
_TINY = 1e-300


def count_kernels(
    values: Sequence[Value], table: FeatureTable, shares: Floats, rates: Rates, how: str
) -> tuple[Floats, Floats]:
    """Return the chance of each number said for each number of the table, and of each outside the pack."""
    counts = np.array([int(str(value)) for value in values], dtype=np.int64)
    good, poor = _count_tables(rates, how)
    true = np.minimum(MOST_BUTTONS, table.numbers.astype(np.int64))
    chance = _mix(good, poor, _overlooked(np.arange(MOST_BUTTONS + 1), rates))
    kernel = chance[np.ix_(counts, true)]
    free = 0.5 ** (np.arange(MOST_BUTTONS + 1) + 1.0)
    background = (1.0 - _FREE_COUNTS) * (kernel @ shares) + _FREE_COUNTS * free[counts] / free.sum()
    return kernel, background


def list_kernels(
    values: Sequence[Value], table: FeatureTable, shares: Floats, rates: Rates, how: str
) -> tuple[Floats, Floats]:
    """Return the chance of each list said for each set of the table, and of each outside the pack."""
    seen = [_read_list(value) for value in values]
    words, has = table.words, table.has
    missed, imagined = rates.missed.of(how), rates.imagined.of(how)
    good, poor = _list_looks(seen, table, missed, imagined)
    kernel = _mix(good, poor, _overlooked(has.sum(axis=1), rates))
    # Free: every button of the pack by itself, as often as articles have it.
    p_said = has * (1.0 - missed) + (1.0 - has) * imagined
    free = _p_sets(_mark_said(seen, words), 0.02 + 0.96 * (shares @ p_said)[None, :])[:, 0]
    new = np.array([len(one.difference(words)) for one in seen], dtype=np.int64)
    p_any, p_names = rates.imagined_new.of(how), _p_names(new)
    kernel = kernel * np.where(new == 0, 1.0 - p_any, p_any * p_names)[:, None]
    outside = free * np.where(new == 0, 1.0 - _NEW_BUTTON, _NEW_BUTTON * p_names)
    return kernel, 0.5 * (kernel @ shares) + 0.5 * outside


def join_kernels(
    count: Value, buttons: Value, table: FeatureTable, rates: Rates, how: str
) -> tuple[Floats, Floats]:
    """Return the chance of a number, and of it and a list after the same look, for each set of the table."""
    seen = [_read_list(buttons)]
    true = np.minimum(MOST_BUTTONS, table.has.sum(axis=1).astype(np.int64))
    number, overlooked = int(str(count)), _overlooked(true, rates)
    good_count, poor_count = (one[number, true] for one in _count_tables(rates, how))
    good, poor = _list_looks(seen, table, rates.missed.of(how), rates.imagined.of(how))
    both = _mix(good_count * good[0], poor_count * poor[0], overlooked)
    new = np.array([len(seen[0].difference(table.words))], dtype=np.int64)
    p_any = rates.imagined_new.of(how)
    both = both * (p_any * _p_names(new)[0] if new[0] else 1.0 - p_any)
    return _mix(good_count, poor_count, overlooked), both


def _overlooked(buttons: Floats | NDArray[np.int64], rates: Rates) -> Floats:
    """Return the chance that one is overlooked, by how many there are: of none, none."""
    return np.where(buttons > 0, rates.overlooked, 0.0)


def _mix(good: Floats, poor: Floats, overlooked: Floats) -> Floats:
    return np.asarray((1.0 - overlooked) * good + overlooked * poor, dtype=np.float64)


def _count_tables(rates: Rates, how: str) -> tuple[Floats, Floats]:
    """Return the chance of each number said (rows) for each true one, after a good look and a poor one."""
    good = _count_table(rates.miscount.of(how), rates.undercount)
    poor = np.hstack([good[:, :1], good[:, :-1]])
    return good, poor


@lru_cache(maxsize=64)
def _count_table(wrong: float, undercount: float) -> Floats:
    """Return the chance of each number counted (rows) where each number is seen (columns)."""
    counts = np.arange(MOST_BUTTONS + 1)
    away = 0.25 ** np.abs(counts[:, None] - counts[None, :]).astype(np.float64)
    below, above = np.triu(away, 1), np.tril(away, -1)
    # Where there is no number on a side, as below 0, that side's part goes right.
    chance = wrong * undercount * below / np.maximum(below.sum(axis=0), _TINY)
    chance += wrong * (1.0 - undercount) * above / np.maximum(above.sum(axis=0), _TINY)
    np.fill_diagonal(chance, 1.0 - chance.sum(axis=0))
    return np.asarray(chance, dtype=np.float64)


def _list_looks(
    seen: Sequence[frozenset[str]], table: FeatureTable, missed: float, imagined: float
) -> tuple[Floats, Floats]:
    """Return the chance of each list for each set of the table, after a good look and a poor one.

    Notes
    -----
    With one button unseen, its factor of the product becomes that of a button that is not there; the mean
    over the buttons needs one matrix product.
    """
    has = table.has
    said = _mark_said(seen, table.words)
    good = _p_sets(said, has * (1.0 - missed) + (1.0 - has) * imagined)
    named = imagined / max(_TINY, 1.0 - missed)
    left_out = (1.0 - imagined) / max(_TINY, missed)
    factors = named * (said @ has.T) + left_out * (~said @ has.T)
    return good, good * factors / np.maximum(1.0, has.sum(axis=1))


def _read_list(value: Value) -> frozenset[str]:
    return frozenset(map(plain_name, value if isinstance(value, tuple) else ()))


def _mark_said(seen: Sequence[frozenset[str]], words: Sequence[str]) -> NDArray[np.bool_]:
    said = np.array([[word in one for word in words] for one in seen], dtype=np.bool_)
    return said.reshape(len(seen), len(words))


def _p_names(new: NDArray[np.int64]) -> Floats:
    # Geometric in number, and each is one of some twenty that it could be.
    return np.asarray(0.5**new * OTHER_NAMES ** -new.astype(np.float64), dtype=np.float64)


def _p_sets(said: NDArray[np.bool_], p_said: Floats) -> Floats:
    """Return the chance of each set of words (rows of ``said``) where each is said with ``p_said`` (rows)."""
    said_logs = np.log(np.maximum(p_said, _TINY)).T
    silent_logs = np.log(np.maximum(1.0 - p_said, _TINY)).T
    return np.asarray(np.exp(said @ said_logs + ~said @ silent_logs), dtype=np.float64)
