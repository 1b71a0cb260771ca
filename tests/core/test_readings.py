"""The channel on arrays against the channel itself, pair by pair."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.core.channel import CHANNEL_BY_HOW, ChannelRates, log_p_read
from bittern.core.readings import find_p_reads

TEXTS = st.text("AB8O0D-KXZ2? ", min_size=0, max_size=12)
RATES = st.one_of(
    st.sampled_from(sorted(CHANNEL_BY_HOW)).map(CHANNEL_BY_HOW.__getitem__),
    st.builds(ChannelRates, alphabet=st.just("AB8O0DKXZ2"), swapped=st.just(0.1), inserted=st.just(0.05)),
)


@settings(deadline=None)
@given(st.lists(st.tuples(TEXTS, TEXTS), min_size=1, max_size=8), RATES)
def test_every_pair_has_the_chance_that_the_channel_gives_it(
    pairs: list[tuple[str, str]], rates: ChannelRates
) -> None:
    found = find_p_reads([truth for truth, _ in pairs], [read for _, read in pairs], rates)
    expected = [math.exp(log_p_read(truth, read, rates)) for truth, read in pairs]
    assert found.tolist() == pytest.approx(expected, rel=1e-12, abs=1e-300)


@pytest.mark.parametrize(
    "read", ["FCC ID: KX4-HM22", "ID-KX4", "FCC", "KX4HM2Z", "XK4-HM22", "KX44HM22", "H"]
)
def test_prefixes_swaps_and_doublings_count_as_in_the_channel(read: str) -> None:
    truths = ["KX4-HM22", "KX4HM22", "K", "2AB7Q9ZT1", "FCC-7"]
    for rates in CHANNEL_BY_HOW.values():
        found = find_p_reads(truths, [read] * len(truths), rates)
        expected = [math.exp(log_p_read(truth, read, rates)) for truth in truths]
        assert found.tolist() == pytest.approx(expected, rel=1e-12)
