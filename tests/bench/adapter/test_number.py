"""The number on board at the bench: read or typed, compared, on record, and a stop until it is cleared up."""

from __future__ import annotations

import fcntl
import json
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.adapter.reader import NUMBER_S, find_reader
from bittern.bench.pages.logbook import describe_entry
from bittern.core.errors import BitternError
from bittern.work import actions
from bittern.work.errors import NotAllowedError, OtherVehicleError
from bittern.work.number_on_board import find_standing, is_accepted, is_stopped
from bittern.work.pairing_sync import Sent, receive_events
from bittern.work.people import OWNER, Person
from bittern.work.ports import Desk
from tests.bench.pages.walk import TAMSIN, act, begin, carry_to_blade, carry_to_run, find_run, make_event
from tests.conftest import Cast
from tests.link.vehicle import Unit, usual_answers

from .conftest import Plug, wait_until

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
OTHER = "1M8GDM9AXKP042788"
ODILE = Person("odile", "Odile Marram", OWNER)
CENSUS = {"key-1-name": "The daily one", "key-1-present": "yes", "key-1-worked": "yes"}


@pytest.fixture
def number(desk: Desk) -> Iterator[int]:
    yield carry_to_blade(desk, inspected=True)


def own_number(desk: Desk, number: int) -> str:
    vehicle = desk.store.load(number).vehicle
    assert vehicle is not None
    return vehicle.vin


def type_number(desk: Desk, number: int, text: str) -> None:
    actions.act(desk, number, TAMSIN, "record-number", {"number": text})


def say_log(desk: Desk, number: int) -> str:
    return "\n".join(describe_entry(entry) for entry in desk.store.entries(number))


def read_through(client: Client, number: int) -> str:
    """Press the button once as a page with script does, and wait as it does until the number is on record."""
    address = reverse("adapter-number", args=[number])
    said: list[str] = []

    def press() -> bool:
        typed = {"waiting": "yes"} if said else {}
        answer = client.post(address, typed, headers={"HX-Request": "true"})
        assert answer.status_code in (200, 204)
        said.append(answer.content.decode())
        return "HX-Refresh" in answer or "adapter is reading" not in said[-1]

    wait_until(press)
    return said[-1]


def get_leg(client: Client, number: int) -> str:
    return client.get(reverse("job", args=[number]) + "?leg=pairing").content.decode()


def test_the_jobs_own_number_is_recorded_and_nothing_stops(
    number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    own = own_number(desk, number)
    plug.put(Unit(usual_answers(own)), Unit(usual_answers(own), unit=2))
    client = log_in(cast.technician)
    assert read_through(client, number) == ""
    job = desk.store.load(number)
    assert job.on_board is not None
    assert (job.on_board.read, job.on_board.how, job.on_board.by) == ((own,), "adapter", "tamsin")
    assert not is_stopped(job)
    assert f"Read the number on board through the adapter: {own}. It is the job's." in say_log(desk, number)
    assert f"The vehicle is the job&#x27;s: {own}." in get_leg(client, number)
    begin(desk, number, **CENSUS)


def test_another_number_stops_the_job_with_a_sentence_and_everything_at_the_vehicle(
    number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    plug.put(Unit(usual_answers(OTHER)))
    client = log_in(cast.technician)
    read_through(client, number)
    own = own_number(desk, number)
    page = get_leg(client, number)
    assert f"Stop. The vehicle says it is {OTHER}" in page
    assert own in page
    assert (
        "Stop: find out which vehicle this is." in client.get(reverse("job", args=[number])).content.decode()
    )
    assert f"{OTHER}. Stop: the job is for another number. The job says {own}." in say_log(desk, number)
    before = desk.store.load(number)
    with pytest.raises(OtherVehicleError):
        begin(desk, number, **CENSUS)
    with pytest.raises(OtherVehicleError):
        act(desk, number, "pair-otherwise", because="The maker's equipment.")
    assert desk.store.load(number) == before
    answer = client.post(reverse("act", args=[number, "begin-pairing"]), {"needs": [], **CENSUS})
    assert answer.status_code == 409
    assert "Stop. The vehicle says it is" in answer.content.decode()


def test_a_press_after_a_reading_reads_the_vehicle_that_is_there_now(
    number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    plug.put(Unit(usual_answers(OTHER)))
    client = log_in(cast.technician)
    read_through(client, number)
    assert is_stopped(desk.store.load(number))
    plug.pull()
    plug.put(Unit(usual_answers(own_number(desk, number))))
    read_through(client, number)
    assert not is_stopped(desk.store.load(number))


def test_a_press_after_no_number_asks_anew(
    number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    client = log_in(cast.technician)
    plug.put(Unit({"0100": bytes.fromhex("4100BE1FA813")}))
    assert "type it in" in read_through(client, number)
    plug.pull()
    plug.put(Unit(usual_answers(own_number(desk, number))))
    assert read_through(client, number) == ""


def test_an_answer_that_is_long_in_coming_is_waited_for_and_then_given_up(
    number: int, plug: Plug, folder: Path, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    plug.put(Unit(usual_answers(OTHER)))
    client = log_in(cast.technician)
    address, script = reverse("adapter-number", args=[number]), {"HX-Request": "true"}
    reader = find_reader()
    assert reader is not None
    # Asked for so long ago that nothing more is expected: the page that waits is told, and asks no more.
    asked_s = time.monotonic() - NUMBER_S
    reader.ask(number)
    (folder / "claim.json").write_text(json.dumps([number, time.monotonic(), asked_s]))
    reader.stop()
    with (folder / "reader.lock").open() as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        said = client.post(address, {"waiting": "yes"}, headers=script).content.decode()
    assert "The adapter has not given a number" in said
    assert "adapter is reading" not in said
    assert desk.store.load(number).on_board is None
    assert json.loads((folder / "claim.json").read_text())[2] is None


def test_units_that_disagree_stop_the_job(
    number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    own = own_number(desk, number)
    plug.put(Unit(usual_answers(own)), Unit(usual_answers(OTHER), unit=3))
    client = log_in(cast.technician)
    read_through(client, number)
    job = desk.store.load(number)
    assert job.on_board is not None
    assert set(job.on_board.read) == {own, OTHER}
    assert is_stopped(job)
    assert "Control units of this vehicle give different numbers" in get_leg(client, number)


@pytest.mark.parametrize("units", [[], [Unit({"0100": bytes.fromhex("4100BE1FA813")})]])
def test_no_number_is_said_and_stops_nothing(
    number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn, units: list[Unit]
) -> None:
    plug.put(*units)
    client = log_in(cast.technician)
    said = read_through(client, number)
    assert "type" in said
    assert "No control unit" in said or "has not given a number" in said
    job = desk.store.load(number)
    assert job.on_board is None
    begin(desk, number, **CENSUS)


def test_without_an_adapter_the_number_is_typed(number: int, desk: Desk, cast: Cast, log_in: LogIn) -> None:
    client, own = log_in(cast.technician), own_number(desk, number)
    page = get_leg(client, number)
    assert "through the adapter" not in page
    typed = {"number": f" {own[:9]} {own[9:].lower()} "}
    assert client.post(reverse("act", args=[number, "record-number"]), typed).status_code == 302
    job = desk.store.load(number)
    assert job.on_board is not None
    assert (job.on_board.read, job.on_board.how) == ((own,), "typed")
    assert "Read the number on board at the vehicle and typed it in" in say_log(desk, number)
    answer = client.post(reverse("adapter-number", args=[number]), headers={"HX-Request": "true"})
    assert "No adapter is set up here" in answer.content.decode()


@pytest.mark.parametrize("text", ["", "12", "1M8GDM9AXKP0427888"])
def test_a_typed_number_of_another_length_is_asked_for_again(
    number: int, desk: Desk, cast: Cast, log_in: LogIn, text: str
) -> None:
    answer = log_in(cast.technician).post(reverse("act", args=[number, "record-number"]), {"number": text})
    assert answer.status_code == 422
    assert desk.store.load(number).on_board is None


def test_a_slip_is_likely_where_the_typed_number_does_not_agree_with_itself(
    number: int, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    own = own_number(desk, number)
    type_number(desk, number, own[:16] + ("1" if own[16] != "1" else "2"))
    page = get_leg(log_in(cast.technician), number)
    assert "look for a slip first" in page
    type_number(desk, number, own)
    assert not is_stopped(desk.store.load(number))


def test_the_job_goes_on_once_its_vehicle_is_corrected(number: int, desk: Desk) -> None:
    job = desk.store.load(number)
    assert job.vehicle is not None
    own = job.vehicle.vin
    type_number(desk, number, OTHER)
    assert is_stopped(desk.store.load(number))
    because = {"accepted_because": "The papers show the number of another vehicle."}
    act(desk, number, "record-vehicle", vin=OTHER, make=job.vehicle.make, model=job.vehicle.model, **because)
    corrected = desk.store.load(number)
    assert not is_stopped(corrected)
    begin(desk, number, **CENSUS)
    # And back: what was read is held against the job as it is on record today.
    act(desk, number, "record-vehicle", vin=own, make=job.vehicle.make, model=job.vehicle.model)
    assert is_stopped(desk.store.load(number))


def test_an_owner_accepts_another_number_with_a_reason(
    number: int, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    type_number(desk, number, OTHER)
    accept = reverse("act", args=[number, "accept-number"])
    assert log_in(cast.technician).post(accept, {"because": "Replaced."}).status_code == 403
    assert is_stopped(desk.store.load(number))
    owner = log_in(cast.owner)
    assert owner.post(accept, {"because": " "}).status_code == 422
    assert owner.post(accept, {"because": "Control unit replaced, invoice seen."}).status_code == 302
    job = desk.store.load(number)
    assert is_accepted(job)
    assert not is_stopped(job)
    assert "odile accepted it" in get_leg(owner, number)
    assert f"Accepted the number on board {OTHER} although the job says" in say_log(desk, number)
    begin(desk, number, **CENSUS)
    # What was accepted is this number for that job's number, and no other.
    type_number(desk, number, "JH2RC3605MM101581")
    assert is_stopped(desk.store.load(number))


def test_what_was_accepted_for_one_number_is_not_for_another(number: int, desk: Desk) -> None:
    type_number(desk, number, OTHER)
    actions.act(desk, number, ODILE, "accept-number", {"because": "Control unit replaced."})
    job = desk.store.load(number)
    assert job.vehicle is not None
    act(
        desk, number, "record-vehicle", vin="JH2RC3605MM101581", make=job.vehicle.make,
        model=job.vehicle.model, accepted_because="Seen on the frame.",
    )  # fmt: skip
    assert is_stopped(desk.store.load(number))


def test_nothing_to_accept_is_refused(number: int, desk: Desk) -> None:
    with pytest.raises(BitternError, match="one that is not the job's"):
        actions.act(desk, number, ODILE, "accept-number", {"because": "x"})
    with pytest.raises(NotAllowedError):
        act(desk, number, "accept-number", because="x")


def test_a_run_under_way_stops_and_can_only_be_given_up(desk: Desk, cast: Cast, log_in: LogIn) -> None:
    number = carry_to_run(desk)
    run = find_run(desk, number)
    type_number(desk, number, OTHER)
    for kind, more in (("done", {}), ("census", CENSUS), ("supply", {"volts": "12.6"})):
        with pytest.raises(OtherVehicleError):
            act(desk, number, "pairing-event", **make_event(run), kind=kind, **more)
    assert find_run(desk, number).state == run.state
    client = log_in(cast.technician)
    # By the server's clock, which is another one than the desk's.
    assert client.post(reverse("act", args=[number, "record-number"]), {"number": OTHER}).status_code == 302
    answer = client.post(reverse("runner", args=[number]), {**make_event(run), "kind": "done"})
    assert answer.status_code == 409
    assert "Stop. The vehicle says it is" in answer.content.decode()
    act(desk, number, "pairing-event", **make_event(run), kind="abandoned", give_up="yes", note="Wrong car")
    assert find_run(desk, number).state.ended


def test_the_run_shows_the_stop_and_the_way_to_clear_it_up(desk: Desk, cast: Cast, log_in: LogIn) -> None:
    number = carry_to_run(desk)
    client = log_in(cast.technician)
    assert "which vehicle is this" not in client.get(reverse("runner", args=[number])).content.decode()
    type_number(desk, number, OTHER)
    page = client.get(reverse("runner", args=[number])).content.decode()
    assert "Stop: which vehicle is this?" in page
    assert f"/jobs/{number}/?leg=pairing#number-on-board" in page


def test_what_a_device_did_before_the_number_was_read_is_still_taken(desk: Desk) -> None:
    number = carry_to_run(desk)
    before = desk.clock.now()
    type_number(desk, number, OTHER)
    plain = {"event_id": "kept-1", "kind": "supply", "volts": 12.6, "source": "typed"}
    plain |= {"person": "tamsin", "device": "phone"}
    later = {**plain, "event_id": "kept-2", "at": desk.clock.now().isoformat(), "sequence": 2}
    sent = Sent(1, "phone", ({**plain, "at": before.isoformat(), "sequence": 1}, later))
    receipt, _ = receive_events(desk, number, TAMSIN, sent)
    first, second = receipt.results
    assert first.taken
    assert (second.taken, second.code) == (False, "work.other-vehicle")


def test_an_event_that_was_taken_before_the_stop_may_arrive_again(desk: Desk) -> None:
    number = carry_to_run(desk)
    event = {**make_event(find_run(desk, number)), "kind": "supply", "volts": "12.6"}
    act(desk, number, "pairing-event", **event)
    type_number(desk, number, OTHER)
    act(desk, number, "pairing-event", **event)


def test_a_number_that_the_adapter_gave_for_another_job_is_not_taken(
    number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    other = carry_to_blade(desk, inspected=True)
    plug.put(Unit(usual_answers(OTHER)))
    client = log_in(cast.technician)
    read_through(client, other)
    said = read_through(client, number)
    assert f"The adapter is at work for job {other}" in said
    with pytest.raises(BitternError, match="one that it has just read"):
        act(desk, number, "record-number", how="adapter")
    assert desk.store.load(number).on_board is None


def test_without_script_the_press_is_repeated_by_hand(
    number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    plug.put(Unit(usual_answers(own_number(desk, number))))
    client = log_in(cast.technician)
    said: list[str] = []

    def press() -> bool:
        answer = client.post(reverse("adapter-number", args=[number]), follow=True)
        said.append(answer.content.decode())
        return desk.store.load(number).on_board is not None

    wait_until(press)
    assert "Press once more in a moment." in said[0] or len(said) == 1
    assert find_standing(desk, desk.store.load(number)).verdict == "same"  # type: ignore[union-attr]


def test_the_leg_of_a_closed_job_reads_nothing(desk: Desk, plug: Plug, cast: Cast, log_in: LogIn) -> None:
    number = carry_to_blade(desk)
    act(desk, number, "withdraw", because="Sold.", sure="yes")
    assert re.search("on-board|data-supply=", get_leg(log_in(cast.technician), number)) is None
    answer = log_in(cast.technician).get(reverse("adapter-supply", args=[number]))
    assert answer.status_code == 200
    assert plug.arrived == []


def test_the_counter_reads_nothing(number: int, plug: Plug, desk: Desk, cast: Cast, log_in: LogIn) -> None:
    page = get_leg(log_in(cast.counter), number)
    assert "through the adapter" not in page
    actions.act(desk, number, TAMSIN, "record-number", {"number": OTHER})
    assert "Stop. The vehicle says it is" in get_leg(log_in(cast.counter), number)
