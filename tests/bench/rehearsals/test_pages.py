"""The pages of rehearsals: begun, done at a simulated vehicle through the runner's own forms, ended."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.models import Job, LogRecord
from bittern.bench.rehearsals.models import RehearsalRecord
from bittern.bench.rehearsals.store import DjangoRehearsals
from bittern.work.people import TECHNICIAN, Person
from bittern.work.rehearsal import Scene, load_scene
from tests.bench.pages.journey import find_inputs, read_words
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
TAMSIN = Person("tamsin", "Tamsin Reedmace", TECHNICIAN)
SHEET = "fell-turn-pair"
COUNT = {
    "key-1-name": "The daily key",
    "key-1-present": "yes",
    "key-1-worked": "yes",
    "key-2-name": "The spare key",
    "key-2-present": "yes",
    "key-2-worked": "yes",
}


# The tests' SQLite lives in memory, shared by threads, and knows no waiting; a real file: tests/browser.
@pytest.mark.skipif(connection.vendor == "sqlite", reason="needs a database that several threads share")
@pytest.mark.django_db(transaction=True)
def test_two_deeds_at_the_same_moment_are_both_done(cast: Cast, log_in: LogIn) -> None:
    number = begin(log_in(cast.technician))
    statuses: list[int] = []

    def knock() -> None:
        statuses.append(do(log_in(cast.technician), number, "open-door").status_code)
        connection.close()

    threads = [threading.Thread(target=knock) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert statuses == [302] * 4
    assert look(number).vehicle.open_doors == 4


@pytest.fixture
def client(cast: Cast, log_in: LogIn) -> Client:
    return log_in(cast.technician)


def begin(client: Client, **more: object) -> int:
    answer = client.post(reverse("rehearsals"), {"sheet": SHEET, **more})
    assert answer.status_code == 302, read_words(answer)
    return int(answer["Location"].split("/")[-2])


def look(number: int) -> Scene:
    return load_scene(DjangoRehearsals(), number, TAMSIN)


def start(client: Client, number: int, **more: str) -> Any:
    needs = list(look(number).sheet.needs)
    fields = {"kind": "begun", "needs": needs, **COUNT, **more}
    return client.post(reverse("rehearsal", args=[number]), fields)


def do(client: Client, number: int, deed: str = "do", **more: str) -> Any:
    fields = {"deed": deed, "step": look(number).run.state.step_id if deed == "do" else "", **more}
    return client.post(reverse("rehearsal-deed", args=[number]), fields)


def say(client: Client, number: int, kind: str, **more: str) -> Any:
    state = look(number).run.state
    fields = {"step": state.step_id, "visit": str(state.visit), "kind": kind, **more}
    return client.post(
        reverse("rehearsal", args=[number]), {"event_id": f"{kind}-{state.visit}-{len(fields)}", **fields}
    )


def carry_on(client: Client, number: int, most: int = 60) -> Scene:
    """Do each step and tell the truth, until the run has ended."""
    for _ in range(most):
        scene = look(number)
        step = scene.sheet.steps[scene.run.state.step_id]
        if scene.run.state.ended:
            return scene
        if scene.run.state.phase == "supply":
            do(client, number, "read-supply")
            continue
        if scene.run.state.phase == "confirm":
            say(client, number, "confirmed", sure="yes")
            continue
        do(client, number)
        untold = look(number).vehicle.untold
        assert untold is not None
        if step.kind == "choose":
            signs = look(number).shown[-1].signs
            labels = [option.label for option in step.options]
            say(client, number, "chosen", choice=signs[0].text if signs[0].text in labels else labels[0])
        elif untold.way == "worked":
            say(client, number, "done")
        else:
            say(client, number, "failed", to=untold.to)
    raise AssertionError("no end")


def test_a_whole_rehearsal_is_done_and_touches_no_job(client: Client) -> None:
    number = begin(client)
    assert "Before the first step" in read_words(client.get(reverse("rehearsal", args=[number])))
    assert start(client, number).status_code == 302
    scene = carry_on(client, number)
    page = client.get(reverse("rehearsal", args=[number]))
    assert scene.rehearsal.ended_at is not None
    assert "What the vehicle knew" in read_words(page)
    assert not Job.objects.exists()
    assert not LogRecord.objects.exists()


def test_the_course_is_begun_by_its_place_and_remembers_the_best(client: Client) -> None:
    page = client.get(reverse("rehearsals"))
    assert [one["value"] for one in find_inputs(page, name="place")] == [str(place) for place in range(1, 9)]
    assert read_words(page).count("Not rehearsed yet.") == 8 + 3
    answer = client.post(reverse("rehearsals"), {"place": "1"})
    number = int(answer["Location"].split("/")[-2])
    assert look(number).rehearsal.place == 1
    start(client, number)
    assert "Begun and not ended." in read_words(client.get(reverse("rehearsals")))
    points = carry_on(client, number).rehearsal.points
    words = read_words(client.get(reverse("rehearsals")))
    assert f"Best so far: {points} of 100 , 1 try" in words
    assert client.post(reverse("rehearsals"), {"place": "9"}).status_code == 422


def test_points_are_lost_for_what_was_not_so_and_the_page_says_why(client: Client) -> None:
    number = begin(client)
    start(client, number)
    say(client, number, "done")
    say(client, number, "abandoned", give_up="yes")
    words = read_words(client.get(reverse("rehearsal", args=[number])))
    scene = look(number)
    assert f"{scene.rehearsal.points} of 100 points" in words
    assert "You said that it was done, and nothing had been done." in words
    assert {one["kind"] for one in scene.rehearsal.reasons} >= {"untruth", "gave_up"}
    assert scene.rehearsal.success is False


def test_keys_are_said_to_be_here_and_whoever_looks_sees_which_are(client: Client) -> None:
    number = begin(client, faults=["key-at-home"])
    words = read_words(client.get(reverse("rehearsal", args=[number])))
    assert words.count("“I have it here.”") == 2
    do(client, number, "count-keys")
    away = next(key.name for key in look(number).vehicle.keys if not key.here)
    words = read_words(client.get(reverse("rehearsal", args=[number])))
    assert away not in words[words.index("On the seat:") :].split(".")[0]
    do(client, number, "fetch-key", key=away)
    assert all(key.here for key in look(number).vehicle.keys)


def test_an_owner_sees_who_may_do_what_alone_and_others_see_their_own(
    client: Client, cast: Cast, log_in: LogIn
) -> None:
    number = begin(client)
    start(client, number)
    carry_on(client, number)
    words = read_words(log_in(cast.owner).get(reverse("rehearsals")))
    assert "Who may do what alone" in words
    assert "Tamsin Reedmace Nothing alone yet." in words
    assert "Calla Withy" not in words
    assert "Who may do what alone" not in read_words(client.get(reverse("rehearsals")))


def test_every_page_says_that_it_is_a_rehearsal(client: Client) -> None:
    number = begin(client)
    for _ in range(2):
        page = client.get(reverse("rehearsal", args=[number]))
        assert "No vehicle, no job: nothing here is real." in read_words(page)
        assert "<title>Rehearsal: " in page.content.decode()
        start(client, number)


def test_a_deed_sent_twice_is_done_once(client: Client) -> None:
    number = begin(client)
    start(client, number)
    for _ in range(2):
        do(client, number, deed_id="one")
    assert [line.kind for line in look(number).vehicle.log].count("do") == 1


def test_the_vehicle_is_not_moved_by_what_is_said(client: Client) -> None:
    number = begin(client)
    start(client, number)
    before = look(number).vehicle.place
    say(client, number, "done")
    after = look(number)
    assert after.vehicle.place == before
    assert after.run.state.step_id != before


def test_the_link_reads_number_and_supply(client: Client) -> None:
    number = begin(client)
    do(client, number, "read-number")
    words = read_words(client.get(reverse("rehearsal", args=[number])))
    assert "It is the number on the papers" in words
    start(client, number)
    do(client, number, "read-supply")
    scene = look(number)
    assert scene.run.state.supply_v == pytest.approx(scene.vehicle.log[-1].volts, abs=0.01)
    assert scene.events[-1].source == "measured"


def test_a_mistake_in_a_form_is_named_and_what_was_typed_is_kept(client: Client) -> None:
    number = begin(client)
    refused = client.post(reverse("rehearsal", args=[number]), {"kind": "begun", **COUNT})
    assert refused.status_code == 422
    assert "every need ticked" in read_words(refused)
    assert {one["value"] for one in find_inputs(refused, name="key-1-name")} == {"The daily key"}
    assert client.post(reverse("rehearsals"), {"sheet": "none"}).status_code == 422
    assert client.post(reverse("rehearsal-deed", args=[number]), {"deed": "fly"}).status_code == 422


def test_again_is_the_same_vehicle_or_another(client: Client) -> None:
    number = begin(client, faults=["low-supply"])
    same = client.post(reverse("rehearsal-again", args=[number]), {"faults_how": "same"})
    first, second = RehearsalRecord.objects.order_by("id")
    assert same["Location"] == reverse("rehearsal", args=[second.pk])
    assert (first.seed, first.faults) == (second.seed, second.faults)
    client.post(reverse("rehearsal-again", args=[number]), {"faults_how": "other"})
    assert RehearsalRecord.objects.latest("id").seed != first.seed


def test_another_technicians_rehearsal_is_not_seen_and_an_owner_looks_on(
    client: Client, cast: Cast, log_in: LogIn
) -> None:
    number = begin(client)
    addresses = [reverse(name, args=[number]) for name in ("rehearsal", "rehearsal-deed", "rehearsal-again")]
    other = log_in(cast.colleague)
    assert other.get(addresses[0]).status_code == 404
    for address in addresses:
        assert other.post(address, {"deed": "look", "kind": "done", "event_id": "1"}).status_code == 404
    owner = log_in(cast.owner)
    page = owner.get(addresses[0])
    assert page.status_code == 200
    assert not find_inputs(page, tag="button", name="deed")
    assert owner.post(addresses[1], {"deed": "look"}).status_code == 403
    assert look(number).vehicle.log == ()
