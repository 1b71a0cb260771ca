"""What would be lost by one press needs a second, deliberate act."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.work.ports import Desk
from tests.bench.pages.journey import ARTICLE, carry, read_words
from tests.bench.pages.walk import carry_to_blade
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
OTHER = {"article": "QUI-P5", "because": "the customer brought another remote"}


def send(client: Client, number: int, name: str, **data: str) -> Any:
    return client.post(reverse("act", args=[number, name]), data)


def describe(desk: Desk, number: int, **changed: str) -> dict[str, str]:
    """Return the vehicle on record as its form sends it, with ``changed`` fields."""
    vehicle = desk.store.load(number).vehicle
    assert vehicle is not None
    fields = {"vin": vehicle.vin, "make": vehicle.make, "model": vehicle.model, "start": vehicle.start}
    return {**fields, "year": str(vehicle.year), "accepted_because": "seen at the vehicle", **changed}


def test_another_article_clears_nothing_without_its_tick(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry_to_blade(desk, inspected=True), log_in(cast.technician)
    before = desk.store.load(number)
    answer = send(client, number, "choose-article", **OTHER)
    assert answer.status_code == 422
    assert "a tick: the promise and the bitting on record would be cleared" in read_words(answer)
    assert 'value="QUI-P5"' in answer.content.decode()
    assert desk.store.load(number) == before
    assert send(client, number, "choose-article", **OTHER, sure="yes").status_code == 302
    after = desk.store.load(number)
    assert after.key is not None
    assert (after.key.article, after.promise) == ("QUI-P5", None)


def test_another_article_needs_no_tick_while_nothing_hangs_on_the_first(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "key")
    assert send(log_in(cast.counter), number, "choose-article", **OTHER).status_code == 302


def test_the_same_article_again_needs_no_tick(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    answer = send(log_in(cast.counter), number, "choose-article", article=ARTICLE, because="still this one")
    assert answer.status_code == 302
    assert desk.store.load(number).promise is not None


@pytest.mark.parametrize(
    "changed",
    [
        {"model": "Oxbow"}, {"make": "Fennric"}, {"make": "Fennric", "model": ""},
        {"model": "", "vin": "1X0K2K000C1000099"},
    ],
)  # fmt: skip
def test_another_vehicle_clears_nothing_without_its_tick(
    cast: Cast, log_in: LogIn, desk: Desk, changed: dict[str, str]
) -> None:
    number, client = carry_to_blade(desk), log_in(cast.technician)
    before, fields = desk.store.load(number), describe(desk, number, **changed)
    answer = send(client, number, "record-vehicle", **fields)
    assert answer.status_code == 422
    assert "a tick: the article, the promise and the bitting on record would be cleared" in read_words(answer)
    assert desk.store.load(number) == before


def test_another_vehicle_is_recorded_with_the_tick(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk)
    fields = describe(desk, number, model="Oxbow", sure="yes")
    assert send(log_in(cast.technician), number, "record-vehicle", **fields).status_code == 302
    after = desk.store.load(number)
    assert (after.key, after.promise, after.blade) == (None, None, None)


def test_a_reason_or_a_year_is_added_without_a_tick(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    fields = describe(desk, number, accepted_because="number under the windscreen is scratched")
    assert send(log_in(cast.counter), number, "record-vehicle", **fields).status_code == 302
    assert desk.store.load(number).promise is not None


def test_the_ticks_stand_in_the_forms_only_where_something_hangs_on_them(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    client = log_in(cast.technician)
    for number, there in ((carry(desk, "vehicle"), False), (carry(desk, "promise"), True)):
        vehicle = client.get(reverse("job", args=[number]) + "?leg=vehicle").content.decode()
        key = client.get(reverse("job", args=[number]) + "?leg=key").content.decode()
        assert ('id="f-record-vehicle-sure"' in vehicle) is there
        assert ('id="f-choose-article-sure"' in key) is there
