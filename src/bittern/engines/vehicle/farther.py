"""How much all those numbers weigh together that are farther from a text than every way to them is followed.

Model
-----
Slips come independently, so their number beyond the ``budget`` is a Poisson count. Those that leave the
length as it is (a character taken for another, two exchanged) come alone; a lost character and one too many
come in pairs, beside those that the length already asks for. The rates are those of the characters that the
text has: a 4 is seldom misheard, a B often.

What a number there weighs beforehand is looked at in a sample: ways that use up the budget, taken in
proportion to their weight, with one more character replaced. Most such numbers have no maker, fail the check
digit or do not fit, and one that was found nearer by and is far likelier than others says nothing of them.
The sample is spread evenly, without chance, so the same text always has the same answer.

What it cannot see: that numbers still one slip farther fit a little less again.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from bittern.core.channel import ChannelRates
from bittern.engines.vehicle.neighbours import LEGAL, Codes, Floats, Ways, encode, find_written_table
from bittern.engines.vehicle.number import LENGTH

SAMPLE = 400
_MOST_MORE = 8
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0


def weigh_farther(
    ways: Ways, read: str, rates: ChannelRates, find_prior: Callable[[Codes], Floats], sample: int = SAMPLE
) -> float:
    """Return the sum of ``P(read | number) * prior(number)`` over the numbers beyond the budget of ``ways``.

    Parameters
    ----------
    ways
        The ways from ``read``.
    read, rates
        The text and how it was read.
    find_prior
        Returns the prior of each row of codes relative to an average string.
    sample
        How many numbers the prior is looked at of.
    """
    at_budget = ways.edits == ways.budget
    codes, weights = ways.codes[at_budget], ways.weights[at_budget]
    table = find_written_table(rates)
    alone = _find_alone(table)
    rows = _replace_one(codes, weights, alone, sample)
    ratio = _find_ratio(read, ways.budget, alone, rates)
    return float(weights.sum()) * ratio * float(find_prior(rows).mean()) * _find_clean(read, rates, table)


def _find_alone(table: Floats) -> Floats:
    """Return ``[truth, read]``: one character read as another, relative to the truth kept; both legal."""
    alone = table[np.ix_(LEGAL, LEGAL)] / np.diag(table)[LEGAL][:, None]
    np.fill_diagonal(alone, 0.0)
    return alone


def _find_ratio(read: str, budget: int, alone: Floats, rates: ChannelRates) -> float:
    """Return how much more than ``budget`` slips weigh relative to just as many."""
    known = np.isin(encode(read), LEGAL)
    places = np.searchsorted(LEGAL, encode(read)[known])
    single = float(alone[:, places].sum()) + (LENGTH - 1) * rates.swapped
    pair = LENGTH * rates.lost * LENGTH * (rates.inserted * len(LEGAL) / len(rates.alphabet) + rates.doubled)
    needed = abs(len(read) - LENGTH)
    terms = [
        sum(
            single ** (n - 2 * k)
            / math.factorial(n - 2 * k)
            * pair**k
            * math.factorial(needed)
            / (math.factorial(k) * math.factorial(k + needed))
            for k in range(n // 2 + 1)
        )
        for n in range(budget + _MOST_MORE)
    ]
    return sum(terms[budget + 1 :]) / terms[budget]


def _replace_one(codes: Codes, weights: Floats, alone: Floats, sample: int) -> Codes:
    """Return ``sample`` rows, picked in proportion to ``weights``, each with one character replaced."""
    at = (np.arange(sample) + 0.5) / sample
    reached = np.cumsum(weights)
    rows: Codes = codes[np.searchsorted(reached, at * reached[-1])]
    place_in_alphabet = np.searchsorted(LEGAL, rows)
    # All replacements of a row, one after the other; the golden ratio spreads the picks evenly over them.
    chances = alone.T[place_in_alphabet].reshape(sample, -1)
    summed = np.cumsum(chances, axis=1)
    picks = (np.arange(sample) * _GOLDEN) % 1.0
    chosen = (summed <= (picks * summed[:, -1])[:, None]).sum(axis=1)
    place, put = np.divmod(np.minimum(chosen, chances.shape[1] - 1), len(LEGAL))
    rows[np.arange(sample), place] = LEGAL[put]
    return rows


def _find_clean(read: str, rates: ChannelRates, table: Floats) -> float:
    """Return about how probable a text is that came without any slip."""
    codes = encode(read)
    kept = np.diag(table)
    log_kept = LENGTH * float(np.log(kept[codes[np.isin(codes, LEGAL)]]).mean())
    go_on = 1.0 - rates.inserted - rates.separator_added
    return math.exp(log_kept) * go_on ** (LENGTH + 1) * (1.0 - rates.start_lost) * (1.0 - rates.end_lost)
