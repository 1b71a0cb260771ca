"""What lies beyond the ways that are followed weighs what a full enumeration says, and is not led astray."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from bittern.core.channel import CHANNEL_BY_HOW, ChannelRates, log_p_read
from bittern.engines.vehicle.farther import weigh_farther
from bittern.engines.vehicle.neighbours import Codes, Floats, Ways, find_ways
from bittern.engines.vehicle.number import LENGTH
from bittern.engines.vehicle.suggestion import weigh_numbers
from tests.engines.vehicle.numbers import CLASSIC

READ = "1MBGDM9AXKP042788"


def flat(codes: Codes) -> Floats:
    return np.ones(len(codes))


def ways_within(budget: int, read: str, how: str) -> tuple[Ways, Ways]:
    """Return the ways of up to ``budget`` slips, and those of more that were found."""
    ways = find_ways(read, CHANNEL_BY_HOW[how])
    assert ways is not None
    near = ways.edits <= budget
    return (
        dataclasses.replace(
            ways,
            codes=ways.codes[near],
            weights=ways.weights[near],
            edits=ways.edits[near],
            budget=budget,
        ),
        dataclasses.replace(ways, codes=ways.codes[~near], weights=ways.weights[~near]),
    )


@pytest.mark.parametrize("how", ["seen", "photographed", "read-aloud", "told"])
@pytest.mark.parametrize("budget", [0, 1])
def test_two_slips_weigh_what_their_enumeration_says(how: str, budget: int) -> None:
    # With a smaller budget, what lies just beyond it is enumerated; the rest, three slips and more, is a
    # known part by the same series, so the two estimates differ by the enumeration alone.
    near, beyond = ways_within(budget, CLASSIC, how)
    whole, _ = ways_within(2, CLASSIC, how)
    rates = CHANNEL_BY_HOW[how]
    clean = weigh_farther(near, CLASSIC, rates, flat) - weigh_farther(whole, CLASSIC, rates, flat)
    # In the units of the weights: what a text without a slip weighs.
    kept = _unit(rates)
    assert clean / kept == pytest.approx(float(beyond.weights.sum()), rel=0.12)


def _unit(rates: ChannelRates) -> float:
    return float(np.exp(log_p_read(CLASSIC, CLASSIC, rates))) / (1.0 - rates.prefix)


def test_a_number_that_is_far_likelier_than_others_says_nothing_of_those_farther_away() -> None:
    ways = find_ways(READ, CHANNEL_BY_HOW["told"])
    assert ways is not None
    alone = ways.codes[int(np.argmax(ways.weights * (ways.edits == 2)))]

    def find_prior(codes: Codes) -> Floats:
        return np.where((codes == alone).all(axis=1), 1e6, 1.0)

    rates = CHANNEL_BY_HOW["told"]
    expected = weigh_farther(ways, READ, rates, flat)
    assert weigh_farther(ways, READ, rates, find_prior) == pytest.approx(expected)


def test_the_prior_is_that_of_numbers_one_slip_beyond() -> None:
    ways = find_ways(READ, CHANNEL_BY_HOW["seen"])
    assert ways is not None
    found = {row.tobytes() for row in ways.codes}
    seen: list[Codes] = []

    def find_prior(codes: Codes) -> Floats:
        seen.append(codes)
        return np.full(len(codes), 3.0)

    rates = CHANNEL_BY_HOW["seen"]
    assert weigh_farther(ways, READ, rates, find_prior) == pytest.approx(
        3 * weigh_farther(ways, READ, rates, flat)
    )
    (rows,) = seen
    assert rows.shape[1] == LENGTH
    # A place may be picked twice, which leads back to what was found: about two of seventeen.
    assert np.mean([row.tobytes() not in found for row in rows]) > 0.7


def test_more_is_kept_back_for_what_was_told_than_for_what_was_seen() -> None:
    kept = [weigh_numbers(READ, rates=CHANNEL_BY_HOW[how]).p_none for how in ("seen", "read-aloud", "told")]
    assert kept == sorted(kept)
    assert kept[0] > 0
