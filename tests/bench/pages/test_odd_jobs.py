"""Two tabs, a page that is no longer true, a recovered vehicle: what the pages make of odd jobs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.work.blade import look_at_bitting
from bittern.work.ports import Desk
from tests.bench.pages.journey import AUTHORITY, carry, find_inputs, read_words
from tests.bench.pages.walk import (
    BITTING,
    CENSUS,
    TAMSIN,
    act,
    begin,
    carry_to_blade,
    carry_to_handover,
    carry_to_run,
    find_run,
    make_event,
)
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
OTHER_BITTING = "1 2 3 4 2 2 1 3"


def read_mark(client: Client, number: int, leg: str) -> str:
    """Return the mark that the forms of an open leg carry; every form of these legs carries the same."""
    page = client.get(reverse("job", args=[number]) + f"?leg={leg}")
    return find_inputs(page, name="seen")[0]["value"]


def send(client: Client, number: int, name: str, **data: object) -> Any:
    return client.post(reverse("act", args=[number, name]), data)


def test_the_slower_of_two_bittings_does_not_take_the_place_of_the_first(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    mark = read_mark(client, number, "blade")
    assert send(client, number, "enter-bitting", bitting=BITTING, seen=mark).status_code == 302
    late = send(client, number, "enter-bitting", bitting=OTHER_BITTING, seen=mark)
    assert late.status_code == 409
    words = read_words(late)
    assert "Somebody else was quicker" in words
    assert "the blade recorded or changed since this page was read" in words
    assert find_inputs(late, name="bitting")[0]["value"] == OTHER_BITTING
    assert look_at_bitting(desk, number, TAMSIN, "to compare") == BITTING
    # The page that says so was drawn from what is on record now: the same press again is meant.
    fresh = find_inputs(late, name="seen")[0]["value"]
    assert send(client, number, "enter-bitting", bitting=OTHER_BITTING, seen=fresh).status_code == 302


def test_a_page_left_open_does_not_undo_a_cut(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry_to_blade(desk), log_in(cast.technician)
    mark = read_mark(client, number, "blade")
    act(desk, number, "record-cut", cutter="wheel-90", eyes="yes", guard="yes")
    before = desk.store.load(number)
    assert send(client, number, "enter-bitting", bitting=BITTING, seen=mark).status_code == 409
    assert desk.store.load(number) == before


def test_an_offer_from_an_old_page_does_not_undo_the_customers_word(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "key"), log_in(cast.counter)
    mark = read_mark(client, number, "promise")
    assert send(client, number, "offer", seen=mark).status_code == 302
    act(desk, number, "accept", accepted_by="Ansel Quaking", accepted_how="in-person")
    assert send(client, number, "offer", seen=mark).status_code == 409
    promise = desk.store.load(number).promise
    assert promise is not None
    assert promise.accepted_at is not None
    assert send(client, number, "offer", seen=read_mark(client, number, "promise")).status_code == 302


def test_striking_twice_from_one_page_strikes_one_observation(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "vehicle"), log_in(cast.counter)
    for how in ("told", "seen"):
        act(desk, number, "observe", kind="button_count", value="3", how=how)
    page = client.get(reverse("job", args=[number]) + "?leg=key").content.decode()
    form = page[page.index('data-act="strike-observation"') :]
    mark = form[form.index('name="seen" value="') + len('name="seen" value="') :].split('"')[0]
    assert send(client, number, "strike-observation", position="1", seen=mark).status_code == 302
    assert send(client, number, "strike-observation", position="1", seen=mark).status_code == 409
    assert [one.how for one in desk.store.load(number).observations] == ["seen"]


def test_what_others_do_on_other_legs_is_no_conflict(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    mark = read_mark(client, number, "blade")
    act(desk, number, "record-authority", **AUTHORITY)
    assert send(client, number, "enter-bitting", bitting=BITTING, seen=mark).status_code == 302


def test_after_a_stranded_run_no_key_is_filled_in_as_working(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, lambda run: run.state.passed_no_return)
    act(desk, number, "pairing-event", **make_event(find_run(desk, number)), kind="abandoned", give_up="yes")
    page = log_in(cast.technician).get(reverse("job", args=[number]) + "?leg=pairing")
    chosen = [one["value"] for one in find_inputs(page, tag="option") if "selected" in one]
    assert find_inputs(page, name="key-1-name")[0]["value"] == CENSUS["key-1-name"]
    assert "unknown" in chosen
    assert "yes" not in chosen


def test_a_failed_test_shows_the_way_back_and_the_run_begins_again(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry_to_handover(desk), log_in(cast.technician)
    job, pairing = reverse("job", args=[number]), reverse("job", args=[number]) + "?leg=pairing"
    assert 'data-act="begin-pairing"' not in client.get(pairing).content.decode()
    act(desk, number, "answer-test", test="start", result="failed", note="it cranks and stops")
    assert f'href="{job}?leg=pairing#leg-pairing"' in client.get(job).content.decode()
    assert 'data-act="begin-pairing"' in client.get(pairing).content.decode()
    begin(desk, number, **CENSUS)
    assert not find_run(desk, number).state.ended
