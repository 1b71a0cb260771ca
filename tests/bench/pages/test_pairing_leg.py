"""Pairing: ready first, then one step at a time; nothing irreversible by accident, nothing lost."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bittern.bench.pages.runner import say_signal
from bittern.engines.pairing.sheet import SIGNAL_KINDS, Signal
from bittern.work.pairing import Run
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.bench.pages.walk import (
    CENSUS,
    act,
    begin,
    carry_to_blade,
    carry_to_run,
    find_run,
    make_event,
)
from tests.conftest import Cast

LogIn = Callable[[Any], Client]
MENDED = "Every key works as before."


def post(client: Client, number: int, **data: object) -> Any:
    return client.post(reverse("runner", args=[number]), data)


def page(client: Client, number: int) -> Any:
    return client.get(reverse("runner", args=[number]))


def at_point(run: Run) -> bool:
    return run.state.phase == "confirm"


def at(step_id: str) -> Callable[[Run], bool]:
    return lambda run: run.state.step_id == step_id


# Preparation


def test_needs_figures_and_the_fate_of_absent_keys_stand_before_the_first_step(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_blade(desk, inspected=True)
    response = log_in(cast.technician).get(f"/jobs/{number}/")
    words = read_words(response)
    sheet = desk.pack.runsheets["marsh-turn-pair"]
    assert {one["value"] for one in find_inputs(response, name="needs")} == set(sheet.needs)
    assert "A key that is not here will stop working." in words
    assert "It ends well 93 %" in words
    assert "It strands the vehicle" in words
    assert len([one for one in find_inputs(response, type="text") if one["name"].startswith("key-")]) == 8


def test_a_need_that_is_not_ticked_keeps_the_census_typed(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk, inspected=True)
    typed = {**CENSUS, "key-5-name": "The fifth", "needs": ["authority"]}
    response = log_in(cast.technician).post(reverse("act", args=[number, "begin-pairing"]), typed)
    assert response.status_code == 422
    assert "not ticked: Every key and remote of the vehicle" in read_words(response)
    for name in ("key-1-name", "key-2-name", "key-5-name"):
        assert [one["value"] for one in find_inputs(response, name=name)] == [typed[name]]
    assert find_inputs(response, name="key-1-present")[0].keys() >= {"checked"}
    assert "checked" not in find_inputs(response, name="key-2-present")[0]
    assert desk.store.load(number).pairing is None


def test_legs_before_it_come_first(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.technician)
    response = client.get(f"/jobs/{number}/?leg=pairing")
    assert "These come first: Blade." in read_words(response)
    assert find_inputs(response, name="needs") == []
    assert page(client, number)["Location"] == f"/jobs/{number}/?leg=pairing#leg-pairing"
    assert page(client, 4711).status_code == 404


def test_without_a_sheet_in_the_pack_it_is_recorded_how_it_was_paired(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_blade(desk, inspected=True)
    job = desk.store.load(number)
    assert job.key is not None
    with desk.store.transaction():
        held = desk.store.load_for_change(number)
        key = job.key.model_copy(update={"runsheet": ""})
        desk.store.save(held.model_copy(update={"key": key}), waits_for="pairing")
    client = log_in(cast.technician)
    assert "no sound run sheet" in read_words(client.get(f"/jobs/{number}/"))
    because = "Olwen with the maker's authorised equipment"
    client.post(reverse("act", args=[number, "pair-otherwise"]), {"because": because})
    assert because in read_words(client.get(f"/jobs/{number}/?leg=pairing"))


# Step by step


def test_a_step_says_what_to_do_and_what_the_vehicle_does(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, at("wake"))
    run = find_run(desk, number)
    step = run.sheet.steps["wake"]
    words = read_words(page(log_in(cast.technician), number))
    assert step.signal is not None
    assert step.say in words
    assert say_signal(step.signal) in words
    assert "It did that" in words
    assert "It did not do that" in words
    for failure in step.fails:
        assert failure.because.capitalize() in words
    assert f"Step {run.state.visit}." in words


def test_done_goes_on_and_a_failure_goes_where_the_sheet_says(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, at("wake"))
    client = log_in(cast.technician)
    response = post(client, number, kind="failed", to="asleep", **make_event(find_run(desk, number)))
    assert (response.status_code, response["Location"]) == (302, reverse("runner", args=[number]))
    run = find_run(desk, number)
    assert run.state.step_id == "asleep"
    labels = [one["value"] for one in find_inputs(page(client, number), name="choice")]
    assert labels == [option.label for option in run.sheet.steps["asleep"].options]
    post(client, number, kind="chosen", choice=labels[0], **make_event(run))
    assert find_run(desk, number).state.step_id == run.sheet.steps["asleep"].options[0].then


def test_the_same_event_twice_counts_once(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk)
    client = log_in(cast.technician)
    event = {"kind": "done", **make_event(find_run(desk, number))}
    assert post(client, number, **event).status_code == 302
    after = find_run(desk, number)
    assert post(client, number, **event).status_code == 302
    assert find_run(desk, number).state == after.state


def test_an_old_page_moves_nothing_and_shows_where_the_run_stands(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_run(desk)
    client = log_in(cast.technician)
    old = make_event(find_run(desk, number))
    post(client, number, kind="done", **make_event(find_run(desk, number)))
    after = find_run(desk, number)
    response = post(client, number, kind="done", **old)
    assert response.status_code == 409
    words = read_words(response)
    assert "Not recorded" in words
    assert after.sheet.steps[after.state.step_id].say in words
    assert find_run(desk, number).state == after.state


def test_each_page_has_an_event_of_its_own_and_another_device_goes_on_there(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_run(desk)
    first, second = (page(log_in(user), number) for user in (cast.technician, cast.colleague))
    ids = [{one["value"] for one in find_inputs(one, name="event_id")} for one in (first, second)]
    assert len(ids[0] | ids[1]) == 2
    (button,) = {one["value"] for one in find_inputs(second, name="step")}
    assert button == find_run(desk, number).state.step_id
    assert first["Cache-Control"] == "private, no-store"


def test_a_window_is_told_with_its_end_and_without_a_script(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    # The tests' clock is years ahead of the page's, so that the window is open.
    number = carry_to_run(desk, lambda run: run.state.deadline is not None)
    deadline = find_run(desk, number).state.deadline
    assert deadline is not None
    assert deadline > timezone.now() + timedelta(days=1)
    response = page(log_in(cast.technician), number)
    assert f"Be done by {timezone.localtime(deadline):%H:%M:%S}" in read_words(response)
    assert f'data-deadline="{timezone.localtime(deadline).isoformat(timespec="seconds")}"' in (
        response.content.decode()
    )


# The point of no return


def test_the_page_before_it_names_the_keys_that_will_be_lost(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, at_point)
    run = find_run(desk, number)
    response = page(log_in(cast.technician), number)
    words = read_words(response)
    assert run.keys_at_stake == ("The one at home",)
    assert "No way back" in words
    assert "These keys will stop working: The one at home" in words
    assert "The daily one yes" in words
    assert {one["value"] for one in find_inputs(response, name="kind")} == {
        "confirmed",
        "census",
        "abandoned",
    }
    assert find_inputs(response, name="sure", type="checkbox")


def test_neither_the_tick_nor_the_button_alone_goes_past_it(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, at_point)
    client = log_in(cast.technician)
    before = find_run(desk, number).state
    response = post(client, number, kind="confirmed", **make_event(find_run(desk, number)))
    assert response.status_code == 422
    assert find_inputs(response, name="sure")[0].get("aria-invalid") == "true"
    refused = post(client, number, kind="done", sure="yes", **make_event(find_run(desk, number)))
    assert refused.status_code == 409
    assert find_run(desk, number).state == before
    post(client, number, kind="confirmed", sure="yes", **make_event(find_run(desk, number)))
    assert find_run(desk, number).state.phase == "step"
    assert "No way back from this step" in read_words(page(client, number))


def test_keys_can_be_counted_again_before_it(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, at_point)
    client = log_in(cast.technician)
    assert [one["value"] for one in find_inputs(page(client, number), name="key-2-name")] == [
        "The one at home"
    ]
    census = {**CENSUS, "key-2-present": "yes"}
    post(client, number, kind="census", event_id=str(uuid.uuid4()), **census)
    words = read_words(page(client, number))
    assert find_run(desk, number).keys_at_stake == ()
    assert "No key of the census is lost if it ends well." in words


def test_two_keys_of_one_name_are_turned_down_with_what_was_typed(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_run(desk, at_point)
    census = {**CENSUS, "key-2-name": "the DAILY one"}
    response = post(log_in(cast.technician), number, kind="census", event_id="e-1", **census)
    assert response.status_code == 422
    (field,) = find_inputs(response, name="key-2-name")
    assert (field["value"], field["aria-invalid"]) == ("the DAILY one", "true")


# The end


def test_the_end_says_which_keys_work_and_leads_to_the_proof(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, lambda run: run.state.ended)
    client = log_in(cast.technician)
    words = read_words(page(client, number))
    assert "It is paired." in words
    assert "The one at home no It was not here" in words
    assert "The new key yes It was paired." in words
    assert "Go on to the proof" in words
    assert find_inputs(page(client, number), name="event_id") == []
    assert "The one at home no" in read_words(client.get(f"/jobs/{number}/?leg=pairing"))


def test_giving_up_asks_twice_and_before_the_point_changes_nothing(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_run(desk)
    client = log_in(cast.technician)
    event = {"kind": "abandoned", "event_id": "e-1", "note": "rain"}
    response = post(client, number, **event)
    assert response.status_code == 422
    assert [one["value"] for one in find_inputs(response, name="note")] == ["rain"]
    assert not find_run(desk, number).state.ended
    post(client, number, **event, give_up="yes")
    words = read_words(page(client, number))
    assert f"The run was given up. Nothing has changed. {MENDED}" in words
    again = client.get(f"/jobs/{number}/")
    assert "Begin again" in read_words(again)
    assert [one["value"] for one in find_inputs(again, name="key-2-name")] == ["The one at home"]
    begin(desk, number, **CENSUS)
    assert find_run(desk, number).attempt == 2


def test_giving_up_after_the_point_says_that_the_vehicle_may_be_stranded_and_how_it_is_recovered(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_run(desk, lambda run: run.state.passed_no_return)
    client = log_in(cast.technician)
    assert "A point of no return is behind you" in read_words(page(client, number))
    post(client, number, kind="abandoned", event_id="e-1", give_up="yes")
    words = read_words(page(client, number))
    recovery = find_run(desk, number).sheet.steps["stranded"].recovery
    assert "The vehicle may be stranded." in words
    assert "The daily one try it" in words
    assert f"Recovery: {recovery}" in words
    summary = "Begin again, once the vehicle is recovered"
    assert summary in read_words(client.get(f"/jobs/{number}/"))


def test_a_stranded_end_names_its_recovery_on_the_job_too(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, at("more"))
    act(
        desk,
        number,
        "pairing-event",
        kind="chosen",
        choice="Yes, another key",
        **make_event(find_run(desk, number)),
    )
    act(desk, number, "pairing-event", kind="failed", to="unread", **make_event(find_run(desk, number)))
    client = log_in(cast.technician)
    choice = "No key is read any more"
    post(client, number, kind="chosen", choice=choice, **make_event(find_run(desk, number)))
    recovery = find_run(desk, number).sheet.steps["stranded"].recovery
    for response in (page(client, number), client.get(f"/jobs/{number}/")):
        assert f"Recovery: {recovery}" in read_words(response)
    assert desk.store.load(number).pairing.outcome == "stranded"  # type: ignore[union-attr]


# Who, and what it looks like


def test_the_counter_may_watch_but_not_act(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk)
    client = log_in(cast.counter)
    response = page(client, number)
    assert find_inputs(response, name="event_id") == []
    assert "A technician carries the run." in read_words(response)
    refused = post(client, number, kind="done", **make_event(find_run(desk, number)))
    assert refused.status_code == 403
    assert log_in(None).get(reverse("runner", args=[number])).status_code == 302


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"kind": "jump"},
        {"kind": "done"},
        {"kind": "done", "event_id": "e"},
        {"kind": "begun", "event_id": "e"},
        {"kind": "done", "event_id": "e", "step": "settle", "visit": "9" * 9},
        {"kind": "done", "event_id": "\x00"},
    ],
)
def test_a_post_that_makes_no_sense_is_turned_down(
    data: dict[str, str], cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_run(desk)
    before = find_run(desk, number).state
    assert post(log_in(cast.technician), number, **data).status_code in (409, 422)
    assert find_run(desk, number).state == before


def test_the_map_shows_where_we_are(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, at("line-up"))
    content = page(log_in(cast.technician), number).content.decode()
    assert content.count("you are here</text>") == 1
    assert "line-up (check, you are here)" in content


def test_no_page_carries_a_script_or_a_style_of_its_own(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk, at("first"))
    content = page(log_in(cast.technician), number).content.decode()
    assert " style=" not in content
    assert "<style" not in content
    assert all(" src=" in part.split(">")[0] for part in content.split("<script")[1:])


@pytest.mark.parametrize("kind", SIGNAL_KINDS)
def test_every_signal_is_said_in_words(kind: str) -> None:
    said = {say_signal(Signal(kind, count)) for count in (1, 2, 3)}
    assert len(said) == (1 if kind == "message" else 3)
    assert all(words.endswith(".") for words in said)


def test_a_walk_through_the_pages_alone_reaches_the_proof(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk, inspected=True)
    client = log_in(cast.technician)
    needs = [one["value"] for one in find_inputs(client.get(f"/jobs/{number}/"), name="needs")]
    client.post(reverse("act", args=[number, "begin-pairing"]), {**CENSUS, "needs": needs})
    for _ in range(40):
        response = page(client, number)
        fields = {one["name"]: one["value"] for one in reversed(find_inputs(response, type="hidden"))}
        if "kind" not in fields:
            break
        choices = find_inputs(response, name="choice")
        if choices:
            fields |= {"kind": "chosen", "choice": choices[-1]["value"]}
        if fields["kind"] == "confirmed":
            fields["sure"] = "yes"
        if fields["kind"] == "supply":
            fields["volts"] = "12.6"
        for name in ("to", "csrfmiddlewaretoken"):
            fields.pop(name, None)
        assert post(client, number, **fields).status_code == 302
    assert "Go on to the proof" in read_words(response)
    assert desk.store.load(number).pairing.outcome == "good"  # type: ignore[union-attr]
