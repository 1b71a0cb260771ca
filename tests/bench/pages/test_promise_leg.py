"""The Promise leg's page: the sentence for the counter, and the count of keys behind it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.work.ports import Desk
from bittern.work.promise import say_promise
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
BOTH = "Bring both keys: the one left at home will stop working."


def look(client: Client, number: int) -> Any:
    return client.get(reverse("job", args=[number]) + "?leg=promise")


def offer(client: Client, number: int, **data: str) -> Any:
    seen = find_inputs(look(client, number), name="seen")[0]["value"]
    return client.post(reverse("act", args=[number, "offer"]), {"seen": seen, **data})


def test_the_counter_is_told_what_to_say(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "key"), log_in(cast.counter)
    before = read_words(look(client, number))
    assert "9 in 10 under" in before
    assert "Bring every key: one left at home will stop working." in before
    assert offer(client, number, keys="2").status_code == 302
    promise = desk.store.load(number).promise
    assert promise is not None
    assert (promise.keys, promise.keys_say) == (2, BOTH)
    words = read_words(look(client, number))
    assert BOTH in words
    assert say_promise(promise) in words
    # Drawn up anew, the count need not be typed again.
    assert [field["value"] for field in find_inputs(look(client, number), name="keys")] == ["2"]


def test_a_count_that_is_none_is_kept_and_explained(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "key"), log_in(cast.counter)
    answer = offer(client, number, keys="a few")
    assert answer.status_code == 422
    assert find_inputs(answer, name="keys")[0]["value"] == "a few"
    assert "a whole number from 0 to 12" in read_words(answer)
    assert desk.store.load(number).promise is None


def test_who_has_lost_every_key_is_asked_for_no_count(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "key", want="all-lost"), log_in(cast.counter)
    assert find_inputs(look(client, number), name="keys") == []
