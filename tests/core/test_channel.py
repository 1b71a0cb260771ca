"""The character channel: a probability, and one that ranks errors as people make them."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.core.channel import (
    ALPHABET,
    CHANNEL_BY_HOW,
    CONFUSIONS,
    PREFIXES,
    ChannelRates,
    _p_symbols,
    log_p_read,
    log_p_unknown,
    normalise_reading,
)

HOWS = ("told", "read-aloud", "seen", "photographed", "measured")
identifiers = st.text(ALPHABET, min_size=4, max_size=14)


def test_every_way_of_observing_has_rates() -> None:
    assert set(CHANNEL_BY_HOW) == set(HOWS)


@pytest.mark.parametrize("truth", ["A", "AB", "B8A", "A-B", "8B-A"])
def test_all_readings_of_a_truth_sum_to_one(truth: str) -> None:
    # A small alphabet and few insertions: readings of at most three extra symbols hold nearly all the mass.
    rates = ChannelRates(
        look_alike=0.1, mistaken=0.05, swapped=0.002, lost=0.1, doubled=0.05, inserted=0.004, end_lost=0.2,
        start_lost=0.002, separator_lost=0.3, separator_added=0.004, alphabet="AB8",
    )  # fmt: skip
    total = sum(
        _p_symbols(truth, "".join(read), rates)
        for length in range(len(truth) + 4)
        for read in itertools.product("AB8-", repeat=length)
    )
    assert total == pytest.approx(1.0, abs=2e-3)
    assert total <= 1.0 + 1e-9


def test_unreadable_character_is_the_sum_over_all_it_could_be() -> None:
    rates = CHANNEL_BY_HOW["read-aloud"]
    one_by_one = sum(_p_symbols("AB12", f"AB{character}2", rates) for character in ALPHABET)
    assert _p_symbols("AB12", "AB?2", rates) == pytest.approx(one_by_one, rel=1e-9)


def test_single_substitution_has_the_closed_form() -> None:
    # Without insertions, losses and breaks only one way leads from AB to A8.
    rates = ChannelRates(
        look_alike=0.1, mistaken=0.0, swapped=0.0, lost=0.0, doubled=0.0, inserted=0.0, end_lost=0.0,
        start_lost=0.0, separator_added=0.0, prefix=0.0,
    )  # fmt: skip
    assert log_p_read("AB", "A8", rates) == pytest.approx(math.log(0.1))
    assert log_p_read("AB", "AB", rates) == pytest.approx(math.log(0.9))
    assert log_p_read("AB", "AC", rates) == -math.inf


def test_one_swap_is_possible_and_two_are_not() -> None:
    rates = ChannelRates(
        look_alike=0.0, mistaken=0.0, swapped=0.01, lost=0.0, doubled=0.0, inserted=0.0, end_lost=0.0,
        start_lost=0.0, separator_added=0.0, prefix=0.0,
    )  # fmt: skip
    assert log_p_read("ABCD", "BACD", rates) == pytest.approx(math.log(0.01))
    assert log_p_read("ABCD", "BADC", rates) == -math.inf


@pytest.mark.parametrize("how", HOWS)
@settings(deadline=None)
@given(truth=identifiers)
def test_the_truth_itself_is_the_likeliest_reading_of_its_single_changes(how: str, truth: str) -> None:
    rates = CHANNEL_BY_HOW[how]
    exact = log_p_read(truth, truth, rates)
    assert exact <= 0.0
    for place, character in itertools.product(range(len(truth)), "08BDX"):
        changed = truth[:place] + character + truth[place + 1 :]
        if changed != truth:
            assert log_p_read(truth, changed, rates) < exact


@pytest.mark.parametrize("how", HOWS)
@pytest.mark.parametrize(
    ("one", "other"), [(a, b) for g in CONFUSIONS for a, b in itertools.permutations(g, 2)]
)
def test_a_look_alike_is_likelier_than_a_stray_character(how: str, one: str, other: str) -> None:
    stray = "W"
    truth = f"77{one}77"
    assert log_p_read(truth, f"77{other}77", CHANNEL_BY_HOW[how]) > log_p_read(
        truth, f"77{stray}77", CHANNEL_BY_HOW[how]
    )


@pytest.mark.parametrize("how", HOWS)
def test_missing_hyphen_costs_less_than_a_wrong_character(how: str) -> None:
    rates = CHANNEL_BY_HOW[how]
    assert log_p_read("ABC-12X4", "ABC12X4", rates) > log_p_read("ABC-12X4", "ABC-17X4", rates)


def test_prefix_is_seen_through_and_any_separator_is_the_same() -> None:
    rates = CHANNEL_BY_HOW["read-aloud"]
    with_prefix = log_p_read("ABC-12X4", "FCC ID: abc 12x4", rates)
    assert with_prefix == pytest.approx(log_p_read("ABC-12X4", "FCC-ID ABC_12X4", rates))
    assert with_prefix > log_p_read("ABC-12X4", "ABC-17X4", rates) - 1.0
    assert all(normalise_reading(form).rstrip("-") == form.rstrip("-") for form in PREFIXES)


def test_truncated_end_is_likelier_than_as_many_single_losses() -> None:
    rates = CHANNEL_BY_HOW["told"]
    assert log_p_read("ABCD12X4", "ABCD1", rates) > log_p_read("ABCD12X4", "AB2X4", rates) + 3.0


@settings(deadline=None)
@given(truth=identifiers, other=identifiers)
def test_unknown_identifier_loses_against_a_true_one_and_wins_against_a_wrong_one(
    truth: str, other: str
) -> None:
    assert log_p_read(truth, truth) > log_p_unknown(truth)
    if sum(a != b for a, b in itertools.zip_longest(truth, other)) > 3 and abs(len(truth) - len(other)) > 4:
        assert log_p_read(other, truth) < log_p_unknown(truth) + math.log(1e3)


@pytest.mark.parametrize("read", ["", "   ", "--"])
def test_nothing_read_is_impossible(read: str) -> None:
    assert log_p_read("ABC", read) == -math.inf
    assert log_p_unknown(read) == -math.inf


def test_odd_characters_count_as_unreadable() -> None:
    assert log_p_read("ABC12", "AB§12") == pytest.approx(log_p_read("ABC12", "AB?12"))
    assert normalise_reading("ä-b.c/d") == "?-B-C-D"


def test_rates_out_of_range_are_refused() -> None:
    with pytest.raises(ValueError, match="lost"):
        ChannelRates(lost=1.0)
    with pytest.raises(ValueError, match="sum to 1"):
        ChannelRates(lost=0.5, doubled=0.5)
    with pytest.raises(ValueError, match="alphabet"):
        ChannelRates(alphabet="AA")
