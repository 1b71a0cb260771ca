"""Events kept on a device: each is taken once and in order, refused with its reason, or asked for again."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from bittern.bench.carrying import store as carrying
from bittern.bench.carrying.models import Carrier
from bittern.bench.desk import open_desk
from bittern.bench.pages.logbook import describe_entry
from bittern.engines.pairing.event import RunEvent
from bittern.work.pairing import load_events
from bittern.work.ports import Desk
from tests.bench.pages.walk import act, begin, carry_to_run, find_run, make_event
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
LogIn = Callable[[Any], Client]


@pytest.fixture
def desk(db: None) -> Desk:
    """Return a desk by the computer's clock, as the pages have it."""
    return open_desk()


class Phone:
    """A device as its script would be, by hand."""

    def __init__(self, client: Client, number: int, login: str = "tamsin", device: str = "phone-1") -> None:
        self.client, self.number, self.login, self.device = client, number, login, device
        self.count = 0

    def make(self, desk: Desk, kind: str = "done", at: datetime | None = None, **fields: Any) -> Any:
        self.count += 1
        run = find_run(desk, self.number)
        here: dict[str, Any] = {"step": run.state.step_id, "visit": run.state.visit}
        return {
            "event_id": str(uuid.uuid4()),
            "kind": kind,
            "person": self.login,
            "at": (at or timezone.now()).isoformat(),
            "device": self.device,
            "sequence": self.count,
            **(here if kind not in ("census", "supply", "abandoned") else {}),
            **fields,
        }

    def send(self, *events: Any, **more: Any) -> Any:
        body = {"attempt": 1, "device": self.device, "word": "phone", "have": 0, "last": "", "events": events}
        address = reverse("runner-events", args=[self.number])
        return self.client.post(address, body | more, content_type="application/json")


@pytest.fixture
def phone(cast: Cast, log_in: LogIn, desk: Desk) -> Iterator[Phone]:
    yield Phone(log_in(cast.technician), carry_to_run(desk))


def list_taken(desk: Desk, number: int) -> list[RunEvent]:
    return [event for event in load_events(desk, desk.store.load(number)) if event.device]


def list_refused(desk: Desk, number: int) -> list[Any]:
    return list(desk.store.entries(number, "pairing.refused"))


def walk_on(desk: Desk, phone: Phone, count: int) -> list[Any]:
    """Return ``count`` events that follow each other, none of them sent yet."""
    run = find_run(desk, phone.number)
    events, step = [], run.sheet.steps[run.state.step_id]
    for place in range(count):
        fields = {"step": step.id, "visit": run.state.visit + place}
        if step.kind == "choose":
            option = step.options[-1]
            events.append(phone.make(desk, "chosen", **fields, choice=option.label))
            step = run.sheet.steps[option.then]
        else:
            events.append(phone.make(desk, **fields))
            step = run.sheet.steps[step.then]
    return events


def test_a_batch_is_taken_in_its_order_and_answered_with_the_state(desk: Desk, phone: Phone) -> None:
    events = walk_on(desk, phone, 3)
    answer = phone.send(*events).json()
    assert [result["taken"] for result in answer["results"]] == [True] * 3
    assert [event.event_id for event in list_taken(desk, phone.number)] == [e["event_id"] for e in events]
    state = find_run(desk, phone.number).state
    assert answer["state"] == {
        "step_id": state.step_id,
        "visit": state.visit,
        "phase": state.phase,
        "ended": False,
    }
    assert answer["sequence"] == 3


def test_a_body_that_arrives_twice_counts_once_and_is_answered_alike(desk: Desk, phone: Phone) -> None:
    events = walk_on(desk, phone, 2)
    first = phone.send(*events).json()
    second = phone.send(*events).json()
    assert first["results"] == second["results"]
    assert len(list_taken(desk, phone.number)) == 2


def test_a_later_event_is_not_judged_before_the_earlier_one(desk: Desk, phone: Phone) -> None:
    events = walk_on(desk, phone, 3)
    answer = phone.send(*events[1:]).json()
    assert (answer["results"], answer["send_from"]) == ([], 1)
    assert list_taken(desk, phone.number) == []
    answer = phone.send(*events).json()
    assert (len(answer["results"]), answer["send_from"]) == (3, 0)
    assert [event.sequence for event in list_taken(desk, phone.number)] == [1, 2, 3]


def test_an_event_that_does_not_fit_is_refused_on_record_and_the_next_is_judged(
    desk: Desk, phone: Phone
) -> None:
    wrong = phone.make(desk, step="nowhere")
    right = phone.make(desk)
    answer = phone.send(wrong, right).json()
    assert [result["taken"] for result in answer["results"]] == [False, True]
    assert answer["results"][0]["code"] == "pairing.wrong-step"
    assert answer["results"][0]["sentence"].endswith(".")
    entry = list_refused(desk, phone.number)[0]
    assert "refused done at “nowhere”" in describe_entry(entry)
    # The same again: the same answer, and no second entry.
    assert phone.send(wrong).json()["results"] == answer["results"][:1]
    assert len(list_refused(desk, phone.number)) == 1


def test_a_count_used_twice_is_refused(desk: Desk, phone: Phone) -> None:
    phone.send(phone.make(desk))
    result = phone.send({**phone.make(desk), "sequence": 1}).json()["results"][0]
    assert (result["taken"], result["code"]) == (False, "work.fields")
    assert len(list_taken(desk, phone.number)) == 1


@pytest.mark.parametrize("shift_s", [3600.0, 86400.0 * 400])
def test_a_time_to_come_is_taken_for_now_and_noted(desk: Desk, phone: Phone, shift_s: float) -> None:
    said = timezone.now() + timedelta(seconds=shift_s)
    phone.send(phone.make(desk, at=said))
    entry = desk.store.entries(phone.number, "pairing.event")[-1]
    kept = list_taken(desk, phone.number)[-1].at
    assert abs(kept - entry.at) < timedelta(seconds=2)
    assert entry.payload["device_said"] == said.isoformat()
    assert "The device said" in describe_entry(entry)


def test_a_time_before_the_last_event_is_taken_for_that_events(desk: Desk, phone: Phone) -> None:
    before = load_events(desk, desk.store.load(phone.number))[-1].at
    phone.send(phone.make(desk, at=before - timedelta(hours=2)))
    assert list_taken(desk, phone.number)[-1].at == before
    assert "device_said" in desk.store.entries(phone.number, "pairing.event")[-1].payload


def test_a_time_that_can_be_is_the_devices_own(desk: Desk, phone: Phone) -> None:
    # Made while the network was gone, and a hair ahead of the server's clock.
    for said in (
        load_events(desk, desk.store.load(phone.number))[-1].at,
        timezone.now() + timedelta(seconds=1),
    ):
        phone.send(phone.make(desk, at=said))
        assert list_taken(desk, phone.number)[-1].at == said
        assert "device_said" not in desk.store.entries(phone.number, "pairing.event")[-1].payload


def test_second_acts_are_asked_of_a_device_too(desk: Desk, phone: Phone) -> None:
    answer = phone.send(phone.make(desk, "abandoned")).json()
    assert answer["results"][0]["taken"] is False
    answer = phone.send(phone.make(desk, "abandoned", give_up=True, note="rain")).json()
    assert answer["results"][0]["taken"] is True
    assert answer["state"]["ended"] is True


def test_events_of_a_run_that_was_begun_anew_are_refused(desk: Desk, phone: Phone) -> None:
    late = phone.make(desk)
    run = find_run(desk, phone.number)
    act(desk, phone.number, "pairing-event", **{**make_event(run), "kind": "abandoned", "give_up": "yes"})
    begin(desk, phone.number, **{"key-1-name": "The daily one", "key-1-present": "yes"})
    answer = phone.send(late).json()
    assert answer["attempt"] == 2
    assert (answer["results"][0]["taken"], answer["results"][0]["code"]) == (False, "pairing.run-over")
    assert list_taken(desk, phone.number) == []


def test_a_device_hears_only_what_it_does_not_know(desk: Desk, phone: Phone) -> None:
    whole = phone.send().json()["events"]
    answer = phone.send(phone.make(desk), have=len(whole), last=whole[-1]["event_id"]).json()
    assert (answer["from"], len(answer["events"])) == (len(whole), 1)
    answer = phone.send(have=len(whole), last="another").json()
    assert (answer["from"], len(answer["events"])) == (0, len(whole) + 1)


def test_what_the_device_loads_holds_every_step_and_no_customer(
    cast: Cast, log_in: LogIn, desk: Desk, phone: Phone
) -> None:
    phone.send(phone.make(desk))
    said = phone.client.get(reverse("runner-data", args=[phone.number]), {"device": phone.device})
    pack = said.json()
    run = find_run(desk, phone.number)
    assert pack["sequence"] == 1
    ends = {step.id for step in run.sheet.steps.values() if step.kind == "end"}
    assert set(pack["views"]["steps"]) == set(run.sheet.steps) - ends
    assert set(pack["views"]["ends"]) == ends
    assert [event["event_id"] for event in pack["events"]][-1] == list_taken(desk, phone.number)[-1].event_id
    job = desk.store.load(phone.number)
    for word in (job.request.customer, job.request.phone, job.request.plate):
        assert not word or word not in said.content.decode()
    assert said["Cache-Control"] == "private, no-store"


# Two devices


def test_of_two_devices_one_is_told_who_carries_the_run(cast: Cast, log_in: LogIn, phone: Phone) -> None:
    assert phone.send().json()["carrier"]["is_own"] is True
    other = Phone(log_in(cast.colleague), phone.number, "corin", "tablet-2")
    carrier = other.send().json()["carrier"]
    assert (carrier["is_own"], carrier["name"], carrier["word"]) == (False, "Tamsin Reedmace", "phone")
    assert phone.send().json()["carrier"]["is_own"] is True


def test_taking_over_is_an_act_on_record_and_the_other_is_told(
    cast: Cast, log_in: LogIn, desk: Desk, phone: Phone
) -> None:
    phone.send()
    other = Phone(log_in(cast.colleague), phone.number, "corin", "tablet-2")
    assert other.send(take_over=True).json()["carrier"]["is_own"] is True
    entry = desk.store.entries(phone.number, "pairing.taken-over")[-1]
    assert (entry.person, entry.payload) == ("corin", {"run": 1, "carried_by": "tamsin"})
    assert "taken over on another device from tamsin" in describe_entry(entry)
    # What the first has not sent yet is judged as anything else.
    answer = phone.send(phone.make(desk)).json()
    assert answer["carrier"]["is_own"] is False
    assert answer["results"][0]["taken"] is True
    # Asking once more changes nothing and is not logged again.
    other.send(take_over=True)
    assert len(desk.store.entries(phone.number, "pairing.taken-over")) == 1


def test_a_device_that_is_silent_for_long_lets_go(
    cast: Cast, log_in: LogIn, desk: Desk, phone: Phone
) -> None:
    phone.send()
    silent = timezone.now() - carrying.LET_GO - timedelta(seconds=5)
    Carrier.objects.update(heard_at=silent)
    other = Phone(log_in(cast.colleague), phone.number, "corin", "tablet-2")
    assert other.send().json()["carrier"]["is_own"] is True
    assert desk.store.entries(phone.number, "pairing.taken-over") == []


def test_a_run_that_has_ended_is_carried_by_nobody(desk: Desk, phone: Phone) -> None:
    phone.send()
    answer = phone.send(phone.make(desk, "abandoned", give_up=True)).json()
    assert answer["carrier"] is None
    assert not Carrier.objects.exists()


# What is no event of this person's device


@pytest.mark.parametrize(
    "change",
    [
        {"person": "corin"},
        {"device": "another"},
        {"sequence": 0},
        {"sequence": None},
        {"event_id": ""},
        {"event_id": "x" * 65},
        {"at": "yesterday"},
        {"at": "2031-03-03T09:00:00"},
        {"kind": "slept"},
        {"note": "x" * 201},
        {"note": "half \ud800 of a pair"},
        {"keys": [{"name": 3}]},
        {"volts": "twelve"},
    ],
)
def test_what_no_device_sends_is_a_sentence_and_not_on_record(
    desk: Desk, phone: Phone, change: dict[str, object]
) -> None:
    before = len(desk.store.entries(phone.number))
    answer = phone.send(phone.make(desk) | change)
    assert 400 <= answer.status_code < 500
    assert answer.json()["problem"]["sentence"]
    assert len(desk.store.entries(phone.number)) == before


@pytest.mark.parametrize("text", ["", "{", "[]", '{"attempt": NaN}', '{"attempt": true, "have": 0}'])
def test_a_body_that_is_none_is_a_sentence(phone: Phone, text: str) -> None:
    address = reverse("runner-events", args=[phone.number])
    answer = phone.client.post(address, text, content_type="application/json")
    assert answer.status_code == 422
    assert answer.json()["problem"]["code"] == "work.fields"


@pytest.mark.parametrize(
    "keys",
    [
        [],
        [{"name": "A", "present": True, "works_before": True, "new": False}],
        [{"name": "The new key", "present": True, "works_before": None, "new": False}],
        [{"name": "The new key", "present": False, "works_before": None, "new": True}],
        [{"name": "a", "present": True}, {"name": "A", "present": True}],
        [{"name": f"{n}", "present": True} for n in range(9)],
    ],
)
def test_a_count_that_the_form_would_not_take_is_refused(desk: Desk, phone: Phone, keys: list[Any]) -> None:
    result = phone.send(phone.make(desk, "census", keys=keys)).json()["results"][0]
    assert (result["taken"], result["code"]) == (False, "work.fields")


def test_the_worker_names_files_that_are_there_and_keeps_to_its_folder(phone: Phone) -> None:
    answer = phone.client.get(reverse("runner-worker", args=[phone.number]))
    assert answer["Content-Type"].startswith("text/javascript")
    assert "Service-Worker-Allowed" not in answer
    text = answer.content.decode()
    assert reverse("runner-shell", args=[phone.number]) in text
    assert "runner_fold.js" in text


def test_models_and_migrations_agree() -> None:
    call_command("makemigrations", "carrying", check=True, dry_run=True, verbosity=0)
