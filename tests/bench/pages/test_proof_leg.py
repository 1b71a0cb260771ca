"""Proof: every test has its two buttons, a failure says what happened, and nothing is skipped."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.test import Client
from django.urls import reverse

from bittern.work.ports import Desk
from bittern.work.prooflist import list_tests
from tests.bench.pages.journey import find_inputs, read_words
from tests.bench.pages.walk import act, carry_to_blade, carry_to_run
from tests.conftest import Cast

LogIn = Callable[[Any], Client]


def paired(desk: Desk) -> int:
    return carry_to_run(desk, lambda run: run.state.ended)


def answer(client: Client, number: int, **data: str) -> Any:
    return client.post(reverse("act", args=[number, "answer-test"]), data)


def test_every_test_can_pass_or_fail(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = paired(desk)
    response = log_in(cast.technician).get(f"/jobs/{number}/")
    tests = list_tests(desk.store.load(number))
    words = read_words(response)
    assert len(find_inputs(response, tag="button", name="result", value="passed")) == len(tests) > 3
    assert len(find_inputs(response, name="result", value="failed")) == len(tests)
    for test in tests:
        assert test.say in words
        assert test.caution in words
    assert f"{len(tests)} of {len(tests)} still to pass." in words


def test_an_answer_is_recorded_and_goes_below_what_is_left(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = paired(desk)
    client = log_in(cast.technician)
    first, *rest = list_tests(desk.store.load(number))
    response = answer(client, number, test=first.id, result="passed")
    assert (response.status_code, response["Location"]) == (302, f"/jobs/{number}/#leg-proof")
    words = read_words(client.get(f"/jobs/{number}/"))
    assert f"{len(rest)} of {len(rest) + 1} still to pass." in words
    assert words.index(rest[-1].say) < words.index(first.say)


def test_a_failure_without_words_is_asked_for_them(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = paired(desk)
    client = log_in(cast.technician)
    first, second, *_ = list_tests(desk.store.load(number))
    response = answer(client, number, test=second.id, key=second.id, result="failed", note=" ")
    assert response.status_code == 422
    wrong = [one["id"] for one in find_inputs(response, name="note") if one.get("aria-invalid")]
    assert wrong == [f"f-answer-test-note-{second.id}"]
    assert f'href="#{wrong[0]}"' in response.content.decode()
    assert desk.store.load(number).proof == ()
    answer(client, number, test=second.id, key=second.id, result="failed", note="one door stays open")
    words = read_words(client.get(f"/jobs/{number}/"))
    assert "failed" in words
    assert "tamsin" in words
    assert "one door stays open" in words
    assert first.say in words


def test_no_test_before_blade_and_pairing(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk)
    client = log_in(cast.technician)
    response = client.get(f"/jobs/{number}/?leg=proof")
    assert "These come first: Blade, Pairing." in read_words(response)
    assert find_inputs(response, name="result") == []
    assert answer(client, number, test="start", result="passed").status_code == 409


def test_the_counter_sees_the_tests_without_buttons(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = paired(desk)
    client = log_in(cast.counter)
    response = client.get(f"/jobs/{number}/")
    assert find_inputs(response, name="result") == []
    assert "A technician tries the key" in read_words(response)
    assert answer(client, number, test="start", result="passed").status_code == 403


def test_a_note_with_markup_is_shown_as_typed(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = paired(desk)
    act(desk, number, "answer-test", test="start", result="failed", note="<b>dead</b>")
    response = log_in(cast.technician).get(f"/jobs/{number}/")
    assert "<b>dead</b>" in read_words(response)
    assert b"<b>dead" not in response.content
