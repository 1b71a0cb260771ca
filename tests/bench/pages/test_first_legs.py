"""Request, Vehicle, Key and Promise: each form says what it needs, and nothing is filled in silently."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.pages.keywords import ANOTHER_BLADE, HOW_WORDS, KIND_WORDS
from bittern.engines.key.evidence import HOWS, KINDS
from bittern.engines.key.questions import QUESTIONS
from bittern.work import actions
from bittern.work.key import weigh
from bittern.work.ports import Desk
from tests.bench.pages.journey import ARTICLE, AUTHORITY, ODILE, carry, find_inputs, make_number, read_words
from tests.conftest import Cast

LogIn = Callable[[Any], Client]
NUMBER = make_number()
# One character misread: a B for the 8 that a check digit catches.
WRONG = NUMBER.replace("1000017", "1000O17")


def do(client: Client, number: int, name: str, **data: object) -> Any:
    return client.post(reverse("act", args=[number, name]), data)


def study(client: Client, number: int, target: str = "", **data: object) -> Any:
    headers = {"HX-Target": target, "HX-Request": "true"} if target else {}
    return client.post(reverse("study-number", args=[number]), data, headers=headers)


def value_of(response: Any, name: str) -> str:
    (found,) = find_inputs(response, name=name)
    return found.get("value", "")


# Request


def test_authority_asks_for_kinds_of_papers_with_the_caution_at_the_place(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    words = read_words(log_in(cast.counter).get(f"/jobs/{carry(desk)}/"))
    assert "Local law decides who may have a key made" in words
    assert "Only the kinds are kept, never a copy." in words


def test_a_request_is_changed_from_its_settled_leg(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "request")
    client = log_in(cast.counter)
    response = client.get(f"/jobs/{number}/?leg=request")
    assert value_of(response, "customer") == "Ansel Quaking"
    do(client, number, "change-request", want="all-lost", customer="Ansel Quaking", plate="KL-07 XQ")
    assert desk.store.load(number).request.want == "all-lost"
    assert "wants a key; every key is lost" in read_words(client.get(f"/jobs/{number}/"))


# Vehicle


def test_a_valid_number_says_what_it_is_without_filling_the_form(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    response = study(log_in(cast.counter), carry(desk), vin=NUMBER, make="", model="")
    words = read_words(response)
    assert response.status_code == 200
    assert "The check digit agrees." in words
    assert "It says: Quillmoor Whimbrel" in words
    assert value_of(response, "make") == ""


def test_a_click_fills_in_what_the_number_says(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    response = study(log_in(cast.counter), carry(desk), vin=NUMBER, use_decode="yes", year="2012")
    assert (value_of(response, "make"), value_of(response, "model")) == ("Quillmoor", "Whimbrel")
    assert value_of(response, "vin") == NUMBER


def test_a_wrong_number_offers_what_was_meant_and_changes_nothing_by_itself(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk)
    response = study(log_in(cast.counter), number, vin=WRONG)
    assert "cannot be right as it stands" in read_words(response)
    assert value_of(response, "vin") == WRONG
    assert NUMBER in {one["value"] for one in find_inputs(response, name="take")}
    assert desk.store.load(number).vehicle is None


def test_a_click_on_a_suggestion_takes_it_into_the_field(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    response = study(log_in(cast.counter), number, vin=WRONG, take=NUMBER, plate="kept", year="2012")
    assert value_of(response, "vin") == NUMBER
    assert value_of(response, "year") == "2012"
    assert "The check digit agrees." in read_words(response)
    assert desk.store.load(number).vehicle is None


@pytest.mark.parametrize(("target", "has_form"), [("number-study", False), ("vehicle-form", True)])
def test_while_typing_only_a_part_of_the_page_is_answered(
    target: str, has_form: bool, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    response = study(log_in(cast.counter), carry(desk), target, vin=NUMBER)
    assert "Quillmoor Whimbrel" in read_words(response)
    assert b"<html" not in response.content
    assert bool(find_inputs(response, name="make")) is has_form


@pytest.mark.parametrize("text", ["", "A", "?" * 40, "\x00", "ø" * 17, "1" * 300, "<script>"])
def test_any_text_in_place_of_a_number_is_answered(text: str, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client, number = log_in(cast.counter), carry(desk)
    assert study(client, number, vin=text).status_code == 200
    assert do(client, number, "record-vehicle", vin=text).status_code == 422
    assert desk.store.load(number).vehicle is None


def test_a_wrong_number_is_recorded_only_with_a_reason(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client, number = log_in(cast.counter), carry(desk)
    fields = {"vin": WRONG, "make": "Quillmoor", "model": "Whimbrel"}
    response = do(client, number, "record-vehicle", **fields)
    assert response.status_code == 422
    assert value_of(response, "make") == "Quillmoor"
    assert do(client, number, "record-vehicle", **fields, accepted_because="plate is worn").status_code == 302
    vehicle = desk.store.load(number).vehicle
    assert vehicle is not None
    assert (vehicle.valid, vehicle.accepted_because) == (False, "plate is worn")


def test_a_number_left_as_a_draft_is_studied_when_the_page_opens(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    client, number = log_in(cast.counter), carry(desk, "request")
    client.post(reverse("draft", args=[number, "record-vehicle"]), {"vin": NUMBER})
    response = client.get(f"/jobs/{number}/")
    assert value_of(response, "vin") == NUMBER
    assert "The check digit agrees." in read_words(response)


# Key


def test_the_key_leg_shows_chances_the_rest_and_the_next_question(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "vehicle")
    found = weigh(desk, desk.store.load(number))
    words = read_words(log_in(cast.counter).get(f"/jobs/{number}/"))
    for candidate in found.candidates:
        assert desk.pack.articles[candidate.article].title in words
        assert candidate.because[0] in words
    assert f"{100 * found.candidates[0].probability:.0f} %" in words
    assert "Something not in this pack" in words
    assert words.index(QUESTIONS[found.ask[0].question].text) < words.index("Articles that could fit")


def test_every_kind_of_observation_and_way_of_knowing_has_its_words() -> None:
    assert set(KIND_WORDS) == set(KINDS) == set(QUESTIONS)
    assert set(HOW_WORDS) == set(HOWS)


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ({"kind": "button_count", "value": "3", "how": "seen"}, "Number of buttons: 3 (seen by us)"),
        ({"kind": "buttons", "value": ["lock", "boot"], "how": "told"}, "Buttons: lock, boot (the customer"),
        ({"kind": "buttons", "value": "lock", "how": "told"}, "Buttons: lock (the customer"),
        ({"kind": "start", "value": "turn", "how": "told"}, "How it starts: by turning a key"),
        ({"kind": "blade", "value": "heron-8", "how": "seen"}, "Blade: Heron 8-cut (seen by us)"),
        ({"kind": "blade", "value": ANOTHER_BLADE, "how": "seen"}, "Blade: none of the pack's blades"),
        ({"kind": "frequency_hz", "mhz": "433,92", "how": "measured"}, "Frequency: 433.920 MHz"),
        ({"kind": "fcc_id", "value": "fcc id: kx4", "how": "read-aloud"}, "FCC identifier: fcc id: kx4"),
        ({"kind": "chip", "cannot": "yes", "how": "measured"}, "Chip: asked, cannot be had"),
    ],
)
def test_an_answer_is_recorded_and_shown_in_words(
    answer: dict[str, Any], said: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    assert do(client, number, "observe", **answer).status_code == 302
    assert said in read_words(client.get(f"/jobs/{number}/"))


def test_an_answered_question_is_not_asked_again(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    do(client, number, "observe", kind="button_count", value="3", how="seen")
    kinds = [one["value"] for one in find_inputs(client.get(f"/jobs/{number}/"), name="kind")]
    assert "button_count" not in kinds
    assert len(kinds) == len(set(kinds)) == len(KINDS) - 1


def test_a_wrong_answer_stands_in_its_own_form_and_in_no_other(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    response = do(client, number, "observe", kind="button_count", value="many", how="photographed")
    assert response.status_code == 422
    values = [one for one in find_inputs(response, name="value", tag="input") if one.get("value") == "many"]
    assert [one["id"] for one in values] == ["f-observe-value-button_count"]
    assert 'href="#f-observe-value-button_count"' in response.content.decode()
    assert response.content.decode().count('class="error"') == 1


def test_a_struck_observation_no_longer_counts(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    before = weigh(desk, desk.store.load(number))
    do(client, number, "observe", kind="button_count", value="4", how="seen")
    assert weigh(desk, desk.store.load(number)) != before
    assert do(client, number, "strike-observation", position="1").status_code == 302
    assert weigh(desk, desk.store.load(number)) == before


def test_below_the_bar_an_article_is_taken_only_with_a_reason(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    assert not weigh(desk, desk.store.load(number)).settled
    page = client.get(f"/jobs/{number}/")
    assert not [b for b in page.content.decode().split("<button") if f"Take {ARTICLE}" in b]
    response = do(client, number, "choose-article", article=ARTICLE)
    assert response.status_code == 422
    assert "the bar of 90 %" in read_words(response)
    assert (
        do(client, number, "choose-article", article=ARTICLE, because="its twin was shown").status_code == 302
    )


def test_above_the_bar_the_article_is_taken_with_one_press(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client, number = log_in(cast.counter), carry(desk, "vehicle")
    article = desk.pack.articles[ARTICLE]
    for answer in (
        {"kind": "buttons", "value": list(article.buttons), "how": "seen"},
        {"kind": "blade", "value": article.blade, "how": "seen"},
        {"kind": "fcc_id", "value": article.fcc_id, "how": "seen"},
        {"kind": "chip", "value": article.chip, "how": "measured"},
    ):
        do(client, number, "observe", **answer)
    found = weigh(desk, desk.store.load(number))
    assert found.order == ARTICLE
    words = read_words(client.get(f"/jobs/{number}/"))
    assert f"It takes {article.title}." in words
    assert f"Take {ARTICLE}" in words
    assert do(client, number, "choose-article", article=ARTICLE).status_code == 302
    key = desk.store.load(number).key
    assert key is not None
    assert key.settled


def test_without_a_vehicle_the_key_leg_says_what_is_missing(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    response = log_in(cast.counter).get(f"/jobs/{carry(desk)}/?leg=key")
    assert response.status_code == 200
    assert "the Vehicle leg settled" in read_words(response)


# Promise


def test_the_promise_is_shown_before_it_is_offered(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "key")
    client = log_in(cast.counter)
    words = read_words(client.get(f"/jobs/{number}/"))
    assert "It is not on record yet." in words
    assert desk.store.load(number).promise is None
    do(client, number, "offer")
    promise = desk.store.load(number).promise
    assert promise is not None
    words = read_words(client.get(f"/jobs/{number}/"))
    assert f"{promise.total:.2f}" in words
    for line in (*[one.text for one in promise.lines], *promise.bring):
        assert line in words


def test_the_customers_word_needs_a_name_and_a_way(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "key")
    client = log_in(cast.counter)
    do(client, number, "offer")
    assert do(client, number, "accept", accepted_by="Ansel Quaking").status_code == 422
    do(client, number, "accept", accepted_by="Ansel Quaking", accepted_how="by-telephone")
    words = read_words(client.get(f"/jobs/{number}/?leg=promise"))
    assert "Ansel Quaking agreed by telephone on" in words


def test_a_new_promise_needs_the_customers_word_again(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    do(log_in(cast.counter), number, "offer")
    promise = desk.store.load(number).promise
    assert promise is not None
    assert promise.accepted_at is None


def test_the_papers_are_asked_for_before_the_rest_whatever_else_is_known(desk: Desk) -> None:
    number = carry(desk)
    actions.act(desk, number, ODILE, "record-vehicle", {"vin": NUMBER, "year": "2012"})
    actions.act(desk, number, ODILE, "record-authority", AUTHORITY)
    assert desk.store.load(number).authority is not None
