"""The character channel for many numbers at once: what :func:`bittern.core.channel.log_p_read` says of each.

The same forward recursion as there, with one array entry for each number in place of one float. Numbers
hold no separators and the text no word in front, so those parts are left out.
"""

from __future__ import annotations

import numpy as np

from bittern.core.channel import ChannelRates
from bittern.engines.vehicle.neighbours import UNREADABLE_CODE, Codes, Floats, find_written_table


def find_p_read(codes: Codes, read: Codes, rates: ChannelRates) -> Floats:
    """Return the probability of reading ``read`` where each row of ``codes`` stands.

    Parameters
    ----------
    codes
        Shape (k, n), n at least 2: the numbers.
    read
        Shape (m,): the text, ``?`` included.
    rates
        How it was read.

    Returns
    -------
    array of float
        Shape (k,); the probability given that no word was put in front.
    """
    k, n = codes.shape
    m = len(read)
    written = find_written_table(rates)
    p_extra = [rates.inserted / (1 if symbol == UNREADABLE_CODE else len(rates.alphabet)) for symbol in read]
    p_go_on = 1.0 - rates.inserted - rates.separator_added
    rows = np.zeros((n + 1, 2, m + 1, k))
    total: Floats = np.zeros(k)
    for i in range(n + 1):
        now = rows[i]
        for j in range(m):
            now[:, j + 1] += now[:, j] * p_extra[j]
        if i:
            ends = 1.0 - rates.end_lost if i == n else rates.end_lost / (n - 1)
            total += ends * p_go_on * (now[0, m] + now[1, m])
        if i == n:
            break
        weight = 1.0 - rates.start_lost if i == 0 else rates.start_lost / (n - 1)
        for j in range(m + 1):
            now[0, j] += weight
            weight *= p_extra[j] if j < m else 0.0
        _step(rows, i, codes, read, rates, written, p_go_on)
    return total


def _step(
    rows: Floats, i: int, codes: Codes, read: Codes, rates: ChannelRates, written: Floats, p_go_on: float
) -> None:
    """Use up character ``i`` of every number in every way and add what results to the rows ahead."""
    m = len(read)
    truth = codes[:, i]
    can_swap = i + 1 < codes.shape[1]
    now = rows[i] * p_go_on
    rows[i + 1] += now * rates.lost
    as_truth = [(truth == symbol) | (symbol == UNREADABLE_CODE) for symbol in read]
    if can_swap:
        as_next = [(codes[:, i + 1] == symbol) | (symbol == UNREADABLE_CODE) for symbol in read]
    for j in range(m):
        p_one = written[truth, read[j]]
        # The chance of a swap that cannot happen here stays with the character as it is.
        p_kept = p_one + rates.swapped * as_truth[j]
        rows[i + 1, 0, j + 1] += now[0, j] * (p_one if can_swap else p_kept)
        rows[i + 1, 1, j + 1] += now[1, j] * p_kept
        if j + 1 < m:
            rows[i + 1, :, j + 2] += now[:, j] * (rates.doubled * (as_truth[j] & as_truth[j + 1]))
            if can_swap:
                rows[i + 2, 1, j + 2] += now[0, j] * (rates.swapped * (as_next[j] & as_truth[j + 1]))
