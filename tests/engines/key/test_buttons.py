"""Numbers and lists of buttons after one look: chances that sum to 1, and what two slips are worth."""

from __future__ import annotations

from itertools import chain, combinations

import numpy as np
import pytest

from bittern.engines.key.buttons import count_kernels, join_kernels, list_kernels
from bittern.engines.key.evidence import HOWS, MOST_BUTTONS
from bittern.engines.key.features import FeatureTable
from bittern.engines.key.rates import Rates

WORDS = ("boot", "lock", "panic", "unlock")
SETS = tuple(
    frozenset(one) for one in ((), ("lock",), ("lock", "unlock"), ("lock", "panic", "unlock"), WORDS)
)
LISTS = FeatureTable(SETS, np.arange(len(SETS)), 0)
NUMBERS = FeatureTable(tuple(len(one) for one in SETS), np.arange(len(SETS)), -1)
SHARES = np.full(len(SETS), 1.0 / len(SETS))
RATES = Rates()
ALL_NUMBERS = list(range(MOST_BUTTONS + 1))
# Every list of words that the pack knows; lists with other words have what is left.
ALL_LISTS = [tuple(one) for one in chain.from_iterable(combinations(WORDS, n) for n in range(len(WORDS) + 1))]


@pytest.mark.parametrize("how", HOWS)
def test_chances_of_every_number_and_of_every_list_sum_to_one(how: str) -> None:
    kernel, background = count_kernels(ALL_NUMBERS, NUMBERS, SHARES, RATES, how)
    assert kernel.sum(axis=0) == pytest.approx(np.ones(len(SETS)))
    assert background.sum() == pytest.approx(1.0)
    kernel, _ = list_kernels(ALL_LISTS, LISTS, SHARES, RATES, how)
    assert kernel.sum(axis=0) == pytest.approx(np.full(len(SETS), 1.0 - RATES.imagined_new.of(how)))


@pytest.mark.parametrize("how", HOWS)
def test_the_two_together_have_the_two_alone_as_their_sums(how: str) -> None:
    both = np.array([[join_kernels(n, one, LISTS, RATES, how)[1] for one in ALL_LISTS] for n in ALL_NUMBERS])
    known = 1.0 - RATES.imagined_new.of(how)
    by_number, _ = count_kernels(ALL_NUMBERS, NUMBERS, SHARES, RATES, how)
    by_list, _ = list_kernels(ALL_LISTS, LISTS, SHARES, RATES, how)
    assert both.sum(axis=1) == pytest.approx(by_number * known)
    assert both.sum(axis=0) == pytest.approx(by_list)


def test_without_buttons_overlooked_the_two_are_independent() -> None:
    rates = Rates(overlooked=0.0)
    for number in (2, 3):
        alone, both = join_kernels(number, ("lock", "unlock"), LISTS, rates, "seen")
        listed, _ = list_kernels([("lock", "unlock")], LISTS, SHARES, rates, "seen")
        assert both == pytest.approx(alone * listed[0])


def test_one_button_fewer_in_both_is_one_slip() -> None:
    three = SETS.index(frozenset({"lock", "panic", "unlock"}))
    alone, both = join_kernels(2, ("lock", "unlock"), LISTS, RATES, "seen")
    listed, _ = list_kernels([("lock", "unlock")], LISTS, SHARES, RATES, "seen")
    # After the list the number hardly surprises: its chance is near that of a good look at two.
    assert both[three] / listed[0, three] > 0.7
    assert alone[three] < 0.15
    # A number that the list contradicts is as unlikely as ever.
    _, against = join_kernels(4, ("lock", "unlock"), LISTS, RATES, "seen")
    assert against[three] / listed[0, three] < 0.02
