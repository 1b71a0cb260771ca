"""Today shows open jobs by what they wait for; search finds every job by what a person remembers of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.pages import listing
from bittern.work import actions
from bittern.work.nextstep import WAITS
from bittern.work.ports import Desk
from tests.bench.pages.journey import ODILE, carry, make_number, read_words
from tests.conftest import Cast

LogIn = Callable[[Any], Client]


def test_without_a_job_today_says_what_to_do(cast: Cast, log_in: LogIn) -> None:
    words = read_words(log_in(cast.counter).get("/"))
    assert "Nothing waits." in words
    assert "press “New job”" in words


def test_jobs_stand_under_what_they_wait_for_in_the_travellers_order(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    late = carry(desk, "promise", customer="Corin Reed")
    early = carry(desk, customer="Edda Rush")
    words = read_words(log_in(cast.counter).get("/"))
    waits = [words.index(WAITS[wait]) for wait in ("authority", "bitting")]
    jobs = [words.index(name) for name in ("Edda Rush", "Corin Reed")]
    assert waits[0] < jobs[0] < waits[1] < jobs[1]
    assert "Look at the papers of Edda Rush" in words
    assert "Read the old key, or enter the bitting" in words
    assert reverse("job", args=[late]) != reverse("job", args=[early])


def test_the_job_that_waits_longest_comes_first(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    carry(desk, customer="Alma First")
    carry(desk, customer="Bran Second")
    words = read_words(log_in(cast.counter).get("/"))
    assert words.index("Alma First") < words.index("Bran Second")


def test_a_closed_job_is_not_on_today_but_is_found(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, customer="Gone Plover")
    actions.act(desk, number, ODILE, "withdraw", {"because": "bought another car"})
    client = log_in(cast.counter)
    assert "Gone Plover" not in read_words(client.get("/"))
    found = read_words(client.get("/search", {"q": "plover"}))
    assert "Gone Plover" in found
    assert "Withdrawn" in found


@pytest.mark.parametrize("query", ["ansel", "QUAKING", "kl07xq", "kl-07", "1000017", "010203", "{number}"])
def test_a_job_is_found_by_what_is_remembered_of_it(
    query: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "vehicle")
    for name in ("Edda Rush", "Bran Second"):
        carry(desk, customer=name, plate="", phone="")
    words = read_words(log_in(cast.counter).get("/search", {"q": query.format(number=number)}))
    assert "Ansel Quaking" in words
    assert "Edda Rush" not in words


def test_what_is_not_found_is_said_with_the_query(cast: Cast, log_in: LogIn) -> None:
    words = read_words(log_in(cast.counter).get("/search", {"q": "zzz <b>"}))
    assert "No job has “zzz <b>”" in words


def test_a_fragment_is_answered_while_typing(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    carry(desk)
    response = log_in(cast.counter).get("/search", {"q": "ansel"}, headers={"HX-Target": "found"})
    assert "Ansel Quaking" in read_words(response)
    assert b"<html" not in response.content


@pytest.mark.parametrize(
    "query",
    ["", " ", "\x00", "'; --", "%", "é" * 500, "9" * 60, "??", "\ud800".encode("utf-8", "replace").decode()],
)
def test_any_query_is_answered(query: str, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    carry(desk)
    assert log_in(cast.counter).get("/search", {"q": query}).status_code == 200


def test_a_long_group_is_cut_and_says_so(
    cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listing, "ROWS_A_GROUP", 2)
    for name in ("Alma One", "Bran Two", "Cora Three"):
        carry(desk, customer=name)
    words = read_words(log_in(cast.counter).get("/"))
    assert "Alma One" in words
    assert "Cora Three" not in words
    assert "And 1 more" in words


def test_today_takes_as_many_queries_for_twenty_jobs_as_for_two(
    cast: Cast, log_in: LogIn, desk: Desk, django_assert_num_queries: Any
) -> None:
    client = log_in(cast.counter)
    # Login session, account, the list, the facts of what is shown.
    for jobs in (2, 18):
        for _ in range(jobs):
            carry(desk, "request")
        with django_assert_num_queries(4):
            client.get("/")


def test_a_stranger_is_sent_to_the_login(db: None, log_in: LogIn) -> None:
    for address in ("/", "/search?q=a", "/jobs/new/"):
        response = log_in(None).get(address)
        assert response.status_code == 302
        assert response["Location"].startswith(reverse("login"))


def test_the_number_of_the_demo_pack_is_valid() -> None:
    assert len(make_number()) == 17
