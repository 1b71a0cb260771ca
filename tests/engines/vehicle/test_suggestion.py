"""Suggested numbers: the truth is among them, the ranking follows the model, the probabilities are honest."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.core.channel import CHANNEL_BY_HOW, log_p_read
from bittern.engines.vehicle.changes import describe_changes
from bittern.engines.vehicle.errors import NotANumberError
from bittern.engines.vehicle.number import VIN_ALPHABET, check_vin
from bittern.engines.vehicle.suggestion import SuggestionPriors, suggest_vins, weigh_numbers
from tests.engines.vehicle.numbers import CLASSIC, american_numbers

# Hundreds of candidates a case: fewer cases, and no deadline, since a loaded machine is not a fault.
few = settings(max_examples=10, deadline=None)
EVERYTHING = SuggestionPriors(smallest_p=0.0)
ALL = SuggestionPriors(smallest_p=0.0, considered=1_000_000)


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
    likelihoods = [log_p_read(s.vin, read) for s in found]
    assert len(found) > 50
    assert likelihoods == pytest.approx(sorted(likelihoods, reverse=True), rel=1e-9)


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
    assert fitting[other] / fitting[CLASSIC] == pytest.approx(20 * plain[other] / plain[CLASSIC])


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


@pytest.mark.parametrize("text", ["ABC", "1" * 14, "1" * 20, "1M8GDM9AXKP04278§"])
def test_nothing_is_suggested_for_what_is_farther_away(text: str) -> None:
    assert suggest_vins(text) == ()


def test_what_cannot_be_a_number_is_refused() -> None:
    with pytest.raises(NotANumberError):
        suggest_vins("")


def test_two_slips_are_found_and_ranked() -> None:
    found = suggest_vins("1MBGDM9AXKP0427B8", {"1M8"})
    assert (found[0].vin, found[0].changes) == (CLASSIC, ("position 3: B → 8", "position 16: B → 8"))


@pytest.mark.parametrize(
    "read",
    ["M8GDM9AXKP02788", "1M8GDDM9AXKP0427788", "M8GDM9AXPK042788", "1M8GDM9AKXP0427881", "IMBGDM9AXKP0427?8"],
)
def test_the_truth_is_listed_after_two_slips_of_other_kinds(read: str) -> None:
    fitting = {CLASSIC}.intersection
    found = suggest_vins(read, {"1M8"}, priors=SuggestionPriors(smallest_p=0.0), fitting=fitting, limit=2000)
    assert CLASSIC in {one.vin for one in found}


def test_posterior_is_bayes_rule_over_every_number_within_two_slips() -> None:
    # Two places and their neighbours are enumerated by hand; ratios need no total.
    read, makers = "1MBGDM9AXKP0427B8", {"1M8", "JMB"}
    found = {s.vin: s.probability for s in suggest_vins(read, makers, priors=ALL, limit=1_000_000)}
    checked = 0
    for a, b in itertools.product(VIN_ALPHABET, repeat=2):
        vin = read[:2] + a + read[3:15] + b + read[16:]
        if not check_vin(vin).valid:
            assert vin not in found
            continue
        weight = (0.01, 1.0)[vin[:3] in makers] * (0.05, 1.0)[vin[-4:].isdigit()]
        expected = math.exp(log_p_read(vin, read) - log_p_read(CLASSIC, read)) * weight
        assert found[vin] / found[CLASSIC] == pytest.approx(expected, rel=1e-6)
        checked += 1
    assert checked > 60


@pytest.mark.parametrize(
    "read", [CLASSIC, "1MBGDM9AXKP042788", "M8GDM9AXKP042788", "WP0ZZZ99ZTS392124", "ABC"]
)
def test_what_is_listed_and_the_rest_make_one(read: str) -> None:
    found = weigh_numbers(read)
    assert sum(s.probability for s in found.suggestions) + found.p_none == pytest.approx(1.0)
    assert 0.0 < found.p_none <= 1.0


def test_considering_fewer_changes_nothing_that_matters() -> None:
    read = "1MBGDM9AXKP0427B8"
    few_of_them, all_of_them = weigh_numbers(read), weigh_numbers(read, priors=ALL)
    for one, other in zip(few_of_them.suggestions[:20], all_of_them.suggestions[:20], strict=True):
        assert one.vin == other.vin
        assert one.probability == pytest.approx(other.probability, rel=0.05)


def test_suspicious_places_are_those_of_the_likely_changes() -> None:
    found = weigh_numbers("1MBGDM9AXKP042788", {"1M8"})
    first = found.suspicious[0]
    assert (first.position, first.slip) == (3, "wrong")
    assert first.p >= found.suggestions[0].probability
    assert sum(one.p for one in found.suspicious) < 2.0
    missing = weigh_numbers("M8GDM9AXKP042788", {"1M8"}).suspicious[0]
    assert (missing.position, missing.slip) == (1, "missing")
    certain = {one.position: one.p for one in weigh_numbers("IM8GDM9AXKPO427?8", {"1M8"}).suspicious}
    assert [certain[place] for place in (1, 12, 16)] == [1.0, 1.0, 1.0]


def test_a_number_without_the_rule_of_the_check_digit_may_be_right_as_it_stands() -> None:
    # European style, Z at position 9 (brendan-w/python-OBD, tests/test_decoders.py).
    found = weigh_numbers("WP0ZZZ99ZTS392124", {"WP0"})
    assert found.suggestions[0].vin == found.read
    assert found.p_as_read > 0.5


def test_a_known_maker_and_its_decode_help_where_no_check_digit_is_required() -> None:
    truth = "VZ4ZZZ8K9AA012345"
    found = weigh_numbers("UZ4ZZZ8K9AA012345", {"VZ4"}, fitting=lambda vins: {truth} & set(vins))
    assert found.suggestions[0].vin == truth


def test_how_it_came_decides_which_slips_are_likely() -> None:
    # B for D is heard, 8 for B is seen.
    heard, seen = "1M8GBM9AXKP042788", "1MBGDM9AXKP042788"
    p = {
        (read, how): weigh_numbers(read, {"1M8"}, rates=CHANNEL_BY_HOW[how]).suspicious[0].p
        for read in (heard, seen)
        for how in ("read-aloud", "photographed")
    }
    assert p[seen, "photographed"] > p[seen, "read-aloud"]
    assert p[heard, "read-aloud"] > p[heard, "photographed"]
