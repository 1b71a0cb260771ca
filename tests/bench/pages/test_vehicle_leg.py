"""The Vehicle leg shows where a number is likely wrong and what else was meant; it changes nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.pages.legs.vehicle import find_doubt
from bittern.work.ports import Desk
from bittern.work.vehicle import HOWS, study_number
from tests.bench.pages.journey import carry, find_inputs, make_number, read_words
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
NUMBER = make_number()
PLACE = NUMBER.rindex("0")
WRONG = NUMBER[:PLACE] + "D" + NUMBER[PLACE + 1 :]


def study(client: Client, number: int, **data: str) -> Any:
    return client.post(reverse("study-number", args=[number]), data)


def test_the_doubtful_place_is_marked_and_told_in_words_without_script(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    answer = study(log_in(cast.counter), carry(desk, "request"), vin=WRONG)
    page = answer.content.decode()
    assert '<mark class="doubtful">D</mark>' in page
    words = read_words(answer)
    assert f"Position {PLACE + 1} is the likeliest slip." in words
    assert "None of these:" in words
    assert [one["value"] for one in find_inputs(answer, name="vin")] == [WRONG]


@pytest.mark.parametrize("how", HOWS)
def test_how_it_came_changes_the_chance(desk: Desk, how: str) -> None:
    found = study_number(desk, WRONG, how)
    assert found.posterior is not None
    assert found.others[0].suggestion.vin == NUMBER
    listed = sum(other.suggestion.probability for other in found.others)
    assert listed + found.posterior.p_as_read + found.p_none == pytest.approx(1.0)
    if how != "seen":
        seen = study_number(desk, WRONG, "seen").others[0].suggestion.probability
        assert found.others[0].suggestion.probability != pytest.approx(seen, rel=1e-4)


def test_a_missing_character_is_told_by_the_place_before_which_it_is_missing(desk: Desk) -> None:
    doubt = find_doubt(study_number(desk, NUMBER[:4] + NUMBER[5:]))
    assert doubt is not None
    assert doubt.words.startswith("a character may be missing before position")
    assert "before position 5" in doubt.words
    assert "".join(piece for piece, _ in doubt.pieces) == NUMBER[:4] + NUMBER[5:]


def test_a_number_that_agrees_has_no_doubt(desk: Desk) -> None:
    found = study_number(desk, NUMBER)
    assert (found.posterior, found.others, find_doubt(found)) == (None, (), None)


def test_a_number_without_the_rule_is_valid_and_has_its_chance_shown(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    # European style (brendan-w/python-OBD, tests/test_decoders.py): Z at position 9.
    answer = study(log_in(cast.counter), carry(desk, "request"), vin="WP0ZZZ99ZTS392124")
    words = read_words(answer)
    assert "No rule is broken." in words
    assert "That it is right as it stands:" in words
    assert "cannot be right" not in words
