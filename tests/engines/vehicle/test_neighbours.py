"""Ways back from a text: every number within two slips, against an enumeration of all strings."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.core.channel import ALPHABET, CHANNEL_BY_HOW, UNREADABLE, log_p_read
from bittern.core.readings import find_p_rows
from bittern.engines.vehicle.changes import Change, find_changes
from bittern.engines.vehicle.neighbours import decode_rows, encode, find_ways
from bittern.engines.vehicle.number import NEVER_USED, VIN_ALPHABET
from tests.engines.vehicle.numbers import CLASSIC

LETTERS, LENGTH = "8BD1", 5
RATES = CHANNEL_BY_HOW["told"]


def count_slips(read: str, vin: str) -> int:
    return len(find_changes(read, vin))


@pytest.mark.parametrize("read", ["8BD18", "88888", "8B8B1", "8BD", "8BD1", "BB8B", "8BD1D8", "88BBDD1"])
def test_every_number_within_two_slips_is_reached_and_no_other(read: str) -> None:
    ways = find_ways(read, RATES, length=LENGTH, alphabet=LETTERS)
    assert ways is not None
    reached = set(decode_rows(ways.codes))
    near, exchanged_twice = set(), set()
    for symbols in itertools.product(LETTERS, repeat=LENGTH):
        vin = "".join(symbols)
        changes = find_changes(read, vin)
        if len(changes) <= 2:
            near.add(vin)
        if [change.slip for change in changes] == ["exchanged"] * 2:  # the channel allows one exchange
            exchanged_twice.add(vin)
    assert near - exchanged_twice <= reached
    # Edits may also touch one another, which the fewest separate slips do not count: at most one more.
    assert all(count_slips(read, vin) <= 3 for vin in reached - near)


@pytest.mark.parametrize("read", ["8?D18", "8??18", "8?D1", "QBD18", "QQD18", "QBD1"])
def test_unreadable_and_impossible_characters_become_every_legal_one(read: str) -> None:
    ways = find_ways(read, RATES, length=LENGTH, alphabet=LETTERS)
    assert ways is not None
    reached = set(decode_rows(ways.codes))
    assert reached == {vin for vin in reached if len(vin) == LENGTH and set(vin) <= set(LETTERS)}
    near = {"".join(symbols) for symbols in itertools.product(LETTERS, repeat=LENGTH)}
    near = {vin for vin in near if is_near(find_changes(read, vin))}
    assert near
    assert near <= reached


def is_near(changes: tuple[Change, ...]) -> bool:
    """Say whether two slips are enough, what could not be read or never stands there being one character."""
    odd = {UNREADABLE, *NEVER_USED}
    moved = [change.read for change in changes if change.slip in ("extra", "exchanged")]
    return len(changes) <= 2 and not odd.intersection("".join(moved))


@pytest.mark.parametrize("read", ["8BDX8", "8???8", "8B", "8BD18BD1", "§BD18"])
def test_what_is_too_far_away_has_no_ways(read: str) -> None:
    assert find_ways(read, RATES, length=LENGTH, alphabet=LETTERS) is None


def test_the_weight_of_a_number_is_near_its_probability() -> None:
    # Single slips of a full number: summed over ways, within a quarter of the exact channel.
    read = "1M8GDN9AXKP042788"
    ways = find_ways(read, RATES)
    assert ways is not None
    some = [CLASSIC, "1M8GDN9AXKP042788", "M18GDN9AXKP042788", "1M8GDN9AXKP042789", "1MBGDN9AXKP042788"]
    same = find_p_rows(np.array([encode(read)]), read, RATES)[0]
    for vin in some:
        weight = ways.weights[(ways.codes == encode(vin)).all(axis=1)].sum()
        assert weight == pytest.approx(find_p_rows(np.array([encode(vin)]), read, RATES)[0] / same, rel=0.25)


@settings(max_examples=60, deadline=None)
@given(
    truths=st.lists(st.text(VIN_ALPHABET, min_size=6, max_size=6), min_size=1, max_size=4),
    read=st.text(ALPHABET + UNREADABLE, min_size=4, max_size=8),
    how=st.sampled_from(["told", "read-aloud", "seen", "photographed", "measured"]),
)
def test_many_numbers_at_once_have_the_probabilities_of_one_by_one(
    truths: list[str], read: str, how: str
) -> None:
    check_channel(truths, read, how)


@settings(max_examples=60, deadline=None)
@given(truth=st.text("8BD1", min_size=6, max_size=6), data=st.data())
def test_texts_near_a_number_have_the_probabilities_of_one_by_one(truth: str, data: st.DataObject) -> None:
    read = list(truth)
    for _ in range(2):
        place = data.draw(st.integers(0, len(read) - 2))
        slip = data.draw(st.sampled_from(["wrong", "exchanged", "missing", "doubled", "unreadable"]))
        if slip == "wrong":
            read[place] = data.draw(st.sampled_from(ALPHABET))
        elif slip == "exchanged":
            read[place], read[place + 1] = read[place + 1], read[place]
        elif slip == "missing":
            del read[place]
        elif slip == "doubled":
            read.insert(place, read[place])
        else:
            read[place] = UNREADABLE
    check_channel([truth], "".join(read), "told")


def check_channel(truths: list[str], read: str, how: str) -> None:
    rates = CHANNEL_BY_HOW[how]
    if read.startswith(("FCC", "ID", "VIN")):
        return  # a word in front is the other module's alone
    together = find_p_rows(np.array([encode(truth) for truth in truths]), read, rates)
    for truth, p in zip(truths, together, strict=True):
        alone = math.exp(log_p_read(truth, read, rates))
        assert p * (1.0 - rates.prefix) == pytest.approx(alone, rel=1e-9, abs=1e-300)


@settings(deadline=None)
@given(read=st.text("8BD1", max_size=7), vin=st.text("8BD1", max_size=7))
def test_changes_lead_from_the_text_to_the_number(read: str, vin: str) -> None:
    changes = find_changes(read, vin)
    assert undo(read, changes) == vin
    assert len(changes) <= max(len(read), len(vin))


def undo(read: str, changes: tuple[Change, ...]) -> str:
    """Return the text with every change made, from the end so that places stay true."""
    for change in reversed(changes):
        end = change.read_place + len(change.read)
        assert read[change.read_place : end] == change.read
        read = read[: change.read_place] + change.meant + read[end:]
    return read
