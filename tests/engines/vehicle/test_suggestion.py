"""Suggested numbers: the truth is among them, the ranking follows the model, the probabilities are honest."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.core.channel import CHANNEL_BY_HOW, log_p_read
from bittern.engines.vehicle.errors import NotANumberError
from bittern.engines.vehicle.number import VIN_ALPHABET, check_vin
from bittern.engines.vehicle.suggestion import SuggestionPriors, describe_changes, suggest_vins
from tests.engines.vehicle.numbers import CLASSIC, american_numbers, with_check_digit

LOOK_ALIKE = {
    "0": "D",
    "1": "L",
    "2": "Z",
    "5": "S",
    "6": "G",
    "8": "B",
    "B": "8",
    "G": "6",
    "S": "5",
    "Z": "2",
}
# Hundreds of candidates a case: fewer cases, and no deadline, since a loaded machine is not a fault.
few = settings(max_examples=30, deadline=None)
EVERYTHING = SuggestionPriors(smallest_p=0.0)


def test_a_look_alike_comes_first() -> None:
    first = suggest_vins("1MBGDM9AXKP042788", {"1M8"})[0]
    assert first.vin == CLASSIC
    assert first.probability > 0.8
    assert first.changes == ("position 3: B → 8",)


@few
@given(vin=american_numbers(), place=st.integers(0, 16), character=st.sampled_from(VIN_ALPHABET))
def test_the_truth_is_listed_after_any_single_change(vin: str, place: int, character: str) -> None:
    read = vin[:place] + character + vin[place + 1 :]
    found = suggest_vins(read, priors=EVERYTHING, limit=10_000)
    assert vin in {suggestion.vin for suggestion in found}


@few
@given(vin=american_numbers(), place=st.integers(0, 15))
def test_the_truth_is_listed_after_a_swap(vin: str, place: int) -> None:
    read = vin[:place] + vin[place + 1] + vin[place] + vin[place + 2 :]
    assert vin in {s.vin for s in suggest_vins(read, priors=EVERYTHING, limit=10_000)}


@few
@given(vin=american_numbers(), place=st.integers(0, 16))
def test_the_truth_is_listed_after_a_lost_and_after_a_doubled_character(vin: str, place: int) -> None:
    for read in (vin[:place] + vin[place + 1 :], vin[:place] + vin[place] + vin[place:]):
        assert vin in {s.vin for s in suggest_vins(read, priors=EVERYTHING, limit=10_000)}


@few
@given(vin=american_numbers(), slip=st.sampled_from("0189BXZ"), place=st.integers(0, 16))
def test_probabilities_are_a_ranked_part_of_one_and_every_number_is_possible(
    vin: str, slip: str, place: int
) -> None:
    read = vin[:place] + slip + vin[place + 1 :]
    found = suggest_vins(read)
    assert sum(s.probability for s in found) < 1.0
    assert [s.probability for s in found] == sorted((s.probability for s in found), reverse=True)
    assert len({s.vin for s in found}) == len(found)
    for suggestion in found:
        assert check_vin(suggestion.vin).valid
        assert suggestion.changes == describe_changes(read, suggestion.vin)


def test_among_equal_priors_the_channel_decides() -> None:
    read = "1MBGDM9AXKP042788"
    found = [s for s in suggest_vins(read, priors=EVERYTHING) if s.vin[0] in "12345" and s.vin[-4:].isdigit()]
    expected = sorted(found, key=lambda s: (-log_p_read(s.vin, read), s.vin))
    assert [s.vin for s in found] == [s.vin for s in expected]


def test_substitutions_are_complete() -> None:
    # All single changes of a number from North America whose check digit agrees, counted one by one.
    read = "1M8GDM9AXKP042789"
    by_hand = {
        changed
        for i, c in itertools.product(range(17), VIN_ALPHABET)
        if (changed := read[:i] + c + read[i + 1 :])[0] in "12345" and check_vin(changed).valid
    }
    found = {s.vin for s in suggest_vins(read, priors=EVERYTHING, limit=10_000)}
    assert by_hand
    assert by_hand <= found


def test_a_possible_number_comes_first_as_read() -> None:
    first = suggest_vins(CLASSIC, {"1M8"})[0]
    assert (first.vin, first.changes) == (CLASSIC, ())
    assert first.probability > 0.98


def test_known_makers_weigh() -> None:
    # Position 3 read as B: with makers at hand the identifier that exists gains on every other.
    without = {s.vin: s.probability for s in suggest_vins("1MBGDM9AXKP042788")}
    with_makers = {s.vin: s.probability for s in suggest_vins("1MBGDM9AXKP042788", {"1M8"})}
    assert with_makers[CLASSIC] > without[CLASSIC]


def test_numbers_that_fit_their_maker_weigh() -> None:
    read = "1MBGDM9AXKP042788"
    other = "1MBGDM99XKP042788"
    fitting = {s.vin: s.probability for s in suggest_vins(read, fitting=lambda vins: {other} & set(vins))}
    plain = {s.vin: s.probability for s in suggest_vins(read)}
    assert fitting[other] / fitting[CLASSIC] == pytest.approx(10 * plain[other] / plain[CLASSIC])


def test_letters_that_no_number_has_are_mended_together() -> None:
    first = suggest_vins("IM8GDM9AXKPO42788", {"1M8"})[0]
    assert first.vin == CLASSIC
    assert first.changes == ("position 1: I → 1", "position 12: O → 0")


def test_one_more_slip_beside_a_letter_that_no_number_has_is_found() -> None:
    assert suggest_vins("1M8GDM9AXKPO427B8", {"1M8"})[0].vin == CLASSIC


def test_unreadable_character_is_tried_as_everything() -> None:
    found = suggest_vins("1M8GDM9AXKP0427?8")
    # H and Y have the value of 8, so the check digit cannot tell them apart; the serial's digits can.
    assert [s.vin[15] for s in found[:3]] == ["8", "H", "Y"]
    assert suggest_vins("1M8GDM9AXKP0????8") == ()


@pytest.mark.parametrize(
    ("read", "change"),
    [
        ("M8GDM9AXKP042788", "position 1: 1 put in"),
        ("1M8GDDM9AXKP042788", "position 6: D taken out"),
        ("1M8GDM9AXPK042788", "positions 10 and 11 exchanged: PK → KP"),
    ],
)
def test_other_slips_are_told_in_words(read: str, change: str) -> None:
    changes = {s.vin: s.changes for s in suggest_vins(read, {"1M8"})}
    assert changes[CLASSIC] == (change,)


@pytest.mark.parametrize("text", ["ABC", "1" * 19, "1M8GDM9AXKP04278§"])
def test_nothing_is_suggested_for_what_is_farther_away(text: str) -> None:
    assert suggest_vins(text) == ()


def test_what_cannot_be_a_number_is_refused() -> None:
    with pytest.raises(NotANumberError):
        suggest_vins("")


def test_stated_probability_is_calibrated_on_numbers_read_through_the_channel() -> None:
    # Numbers of one maker, one slip or none drawn by the channel's own rates of look-alikes and strays.
    rates = CHANNEL_BY_HOW["read-aloud"]
    random_state = random.Random(565)
    hits, stated = 0, 0.0
    rounds = 60
    for _ in range(rounds):
        serial = f"{random_state.randrange(10**6):06d}"
        vin = with_check_digit("1M8" + random_state.choice("ABCDEFGH") + "DM9A0KP" + serial)
        place = random_state.randrange(17)
        alike = LOOK_ALIKE.get(vin[place])
        slips = alike is not None and random_state.random() < 0.8
        read = vin[:place] + (alike or "") + vin[place + 1 :] if slips else vin
        first = suggest_vins(read, {"1M8"}, rates=rates)[0]
        hits += first.vin == vin
        stated += first.probability
    assert hits / rounds > 0.93
    assert stated / rounds == pytest.approx(hits / rounds, abs=0.12)
