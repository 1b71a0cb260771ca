"""The supply at the bench: a trace behind the real setting, words in time, few readings in the log."""

from __future__ import annotations

import html
import re
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from typing import Any

import can
import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.adapter.page import NONE
from bittern.bench.adapter.trace import SPAN_S, draw_trace
from bittern.bench.pages.logbook import describe_entry
from bittern.engines.link.heard import Heard
from bittern.engines.link.supply import SupplyLimits, SupplySample
from bittern.engines.pairing.sheet import SupplyNeed
from bittern.link import watch
from bittern.link.errors import AdapterError
from bittern.link.watch import FLOODED, SILENT, STOPPED
from bittern.work.errors import FieldsError, NotAllowedError
from bittern.work.ports import Desk
from bittern.work.supply_record import find_limits, find_run_sheet, find_supply, list_typed
from tests.bench.pages.walk import act, begin, carry_to_blade, carry_to_run, find_run, make_event, walk
from tests.conftest import Cast
from tests.link.vehicle import Unit, usual_answers

from .conftest import Plug, wait_until

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
CENSUS = {"key-1-name": "The daily one", "key-1-present": "yes", "key-1-worked": "yes"}


def ask(client: Client, number: int) -> str:
    answer = client.get(reverse("adapter-supply", args=[number]))
    assert answer.status_code == 200
    return html.unescape(answer.content.decode())


def find_points(page: str) -> int:
    found = re.search(r'trace-line" points="([^"]*)"', page)
    return len(found[1].split()) if found else 0


def say_log(desk: Desk, number: int) -> list[str]:
    return [describe_entry(entry) for entry in desk.store.entries(number)]


def test_the_voltage_of_two_units_is_drawn_and_said(
    plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    number = carry_to_blade(desk, inspected=True)
    plug.put(Unit(usual_answers()), Unit(usual_answers(volts="3070"), unit=2))
    client = log_in(cast.technician)
    assert "The adapter is being opened." in ask(client, number)
    page = wait_until(lambda: found if find_points(found := ask(client, number)) >= 3 else None)
    # The lower of the two counts: 3070 is 12.400 V.
    assert 'data-volts="12.40"' in page
    assert "12.40 V, steady enough." in page
    assert "now 12.40 V, lowest 12.40 V; too low below 12.0 V" in page


def test_too_low_is_said_before_the_run_begins(plug: Plug, desk: Desk, cast: Cast, log_in: LogIn) -> None:
    number = carry_to_blade(desk, inspected=True)
    plug.put(Unit(usual_answers(volts="2E18")))
    client = log_in(cast.technician)
    page = wait_until(lambda: found if "is too low" in (found := ask(client, number)) else None)
    assert "11.80 V is too low" in page
    assert 'data-level="too-low"' in page


def test_a_silent_vehicle_is_said_and_taken_up_when_it_answers(
    plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    number = carry_to_blade(desk, inspected=True)
    unit = Unit({})
    plug.put(unit)
    client = log_in(cast.technician)
    wait_until(lambda: SILENT in ask(client, number))
    unit.answers = Unit(usual_answers()).answers
    page = wait_until(lambda: found if "data-volts" in (found := ask(client, number)) else None)
    assert SILENT not in page


def test_pulled_out_in_the_middle_it_is_said_and_old_readings_are_no_news(
    plug: Plug, desk: Desk, cast: Cast, log_in: LogIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = carry_to_blade(desk, inspected=True)
    plug.put(Unit(usual_answers()))
    client = log_in(cast.technician)
    wait_until(lambda: "data-volts" in ask(client, number))
    monkeypatch.setattr("bittern.work.supply_record.STILL_S", 0.5)

    def fail(*_: object, **__: object) -> None:
        raise AdapterError("an adapter that stopped (unplugged)", "one that receives")

    with monkeypatch.context() as pulled:
        pulled.setattr("bittern.link.sealed.SealedBus.receive", fail)
        page = wait_until(lambda: found if STOPPED in (found := ask(client, number)) else None)
    assert "unplugged" in page
    page = wait_until(lambda: found if "data-volts" not in (found := ask(client, number)) else None)
    assert "The supply voltage is not known" in page
    # The line of what was read before is still there.
    assert find_points(page) >= 1


def test_a_flooded_bus_is_said_and_nothing_hangs(
    plug: Plug, desk: Desk, cast: Cast, log_in: LogIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    # However few frames a slow machine gets through in a second.
    monkeypatch.setattr(watch, "PATIENCE", replace(watch.PATIENCE, most_frames=50))
    number = carry_to_blade(desk, inspected=True)
    far = can.Bus(interface="virtual", channel=plug.name)
    stop = threading.Event()

    def pour() -> None:
        frame = can.Message(
            arbitration_id=0x7E8, data=bytes.fromhex("2147444D3941584B"), is_extended_id=False
        )
        while not stop.is_set():
            # Full: what is not taken is lost, at its end.
            with suppress(can.CanOperationError):
                far.send(frame, timeout=0.0)
            # Both ends share one interpreter here, and the page needs some of it.
            stop.wait(0.002)

    thread = threading.Thread(target=pour, daemon=True)
    thread.start()
    try:
        client = log_in(cast.technician)
        wait_until(lambda: FLOODED in ask(client, number))
    finally:
        stop.set()
        thread.join()
        far.shutdown()


def test_without_an_adapter_voltages_are_typed_and_shown_as_such(
    desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    number = carry_to_blade(desk, inspected=True)
    client = log_in(cast.technician)
    assert NONE in ask(client, number)
    address = reverse("act", args=[number, "record-supply"])
    assert client.post(address, {"volts": "12,2", "source": "typed"}).status_code == 302
    page = ask(client, number)
    assert "12.20 V is enough to begin with and below 12.4 V" in page
    assert "typed in" in page
    assert "trace-typed" in page
    assert find_points(page) == 0
    assert "Read the supply: 12.20 V (typed in)." in say_log(desk, number)
    # Nothing is asked for again and again.
    leg = client.get(reverse("job", args=[number]) + "?leg=pairing").content.decode()
    assert "data-supply=" in leg
    assert "data-poll" not in leg


@pytest.mark.parametrize("volts", ["", "twelve", "-1", "61", "1e3"])
def test_what_is_no_voltage_is_not_recorded(desk: Desk, volts: str) -> None:
    number = carry_to_blade(desk, inspected=True)
    with pytest.raises(FieldsError):
        act(desk, number, "record-supply", volts=volts)
    assert list_typed(desk, desk.store.load(number)) == []


def test_a_typed_reading_stands_for_ten_minutes(desk: Desk) -> None:
    number = carry_to_run(desk)
    run = find_run(desk, number)
    act(desk, number, "pairing-event", **make_event(run), kind="supply", volts="12.7")
    job = desk.store.load(number)
    supply = find_supply(desk, job, Heard())
    assert [(sample.volts, sample.source) for sample in supply.samples] == [(12.7, "typed")]
    assert supply.state.level == "steady"
    # As measured: the adapter's own, and drawn by its own line.
    act(desk, number, "pairing-event", **make_event(run), kind="supply", volts="12.1", source="measured")
    assert len(list_typed(desk, job)) == 1
    assert list_typed(desk, job, back_s=0.5) == []


def test_the_limits_are_the_run_sheets_where_it_names_some(desk: Desk) -> None:
    number = carry_to_run(desk)
    sheet = find_run_sheet(desk, desk.store.load(number))
    assert sheet is not None
    need = sheet.supply or SupplyNeed()
    assert find_limits(sheet) == SupplyLimits(least_v=need.least_v, comfort_v=need.comfort_v)
    assert find_limits(None) == SupplyLimits()


def test_the_log_keeps_begin_and_end_with_the_lowest_and_not_each_second(
    plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    number = carry_to_blade(desk, inspected=True)
    unit = Unit(usual_answers())
    plug.put(unit)
    client = log_in(cast.technician)
    wait_until(lambda: 'data-volts="12.60"' in ask(client, number))
    from bittern.bench.desk import open_desk

    # By the server's own clock and adapter.
    live = open_desk()
    begin(live, number, **CENSUS)
    unit.answers[bytes.fromhex("0142")] = bytes.fromhex("41422FA8")
    wait_until(lambda: 'data-volts="12.20"' in ask(client, number))
    unit.answers[bytes.fromhex("0142")] = bytes.fromhex("41423070")
    wait_until(lambda: 'data-volts="12.40"' in ask(client, number))
    walk(live, number, lambda run: run.state.ended)
    said = [sentence for sentence in say_log(desk, number) if "by the adapter" in sentence]
    assert said[0] == "At the beginning of the run the supply was 12.60 V (by the adapter)."
    assert said[-1] == (
        "At the end of the run the supply was 12.40 V, its lowest during the run 12.20 V (by the adapter)."
    )
    points = [sentence for sentence in said if sentence.startswith("At the point of no return")]
    assert len(said) == 2 + len(points)


def test_nobody_but_who_works_at_the_vehicle_puts_the_adapter_to_work(
    plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    number = carry_to_blade(desk, inspected=True)
    client = log_in(cast.counter)
    assert client.get(reverse("adapter-supply", args=[number])).status_code == 403
    page = client.get(reverse("job", args=[number]) + "?leg=pairing").content.decode()
    assert "The adapter is at rest." in page
    assert plug.arrived == []
    with pytest.raises(NotAllowedError):
        from bittern.work import actions
        from bittern.work.people import COUNTER, Person

        actions.act(desk, number, Person("calla", "Calla", COUNTER), "record-supply", {"volts": "12.6"})


def test_the_adapter_is_taken_over_from_another_job(
    plug: Plug, desk: Desk, cast: Cast, log_in: LogIn
) -> None:
    first, second = carry_to_blade(desk, inspected=True), carry_to_blade(desk, inspected=True)
    plug.put(Unit(usual_answers()))
    client = log_in(cast.technician)
    wait_until(lambda: "data-volts" in ask(client, first))
    page = ask(client, second)
    assert f"The adapter is at work for job {first}." in page
    assert find_points(page) == 0
    assert client.post(reverse("adapter-take", args=[second])).status_code == 302
    wait_until(lambda: "data-volts" in ask(client, second))
    assert f"at work for job {second}" in ask(client, first)


def test_no_such_job_is_said(cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.technician)
    for name, method in (("supply", "get"), ("number", "get"), ("number", "post"), ("take", "post")):
        assert getattr(client, method)(reverse(f"adapter-{name}", args=[4711])).status_code == 404


# The drawing


def test_the_drawing_stays_inside_its_frame_whatever_was_read() -> None:
    for volts in ([], [0.0], [65.0], [12.0, 12.0], [9.0, 15.0, 12.0]):
        samples = [
            SupplySample(-float(count), value, source)
            for count, value in enumerate(volts)
            for source in ("measured", "typed")
        ]
        drawing = draw_trace(samples, SupplyLimits())
        places = [float(text) for text in re.findall(r' (?:cy|y)="([-0-9.]+)"', drawing)]
        places += [float(y) for _, y in re.findall(r"([-0-9.]+),([-0-9.]+)", drawing)]
        assert all(0 <= place <= 170 for place in places), volts


def test_what_was_not_read_is_not_drawn_as_if_it_had_been() -> None:
    near = [SupplySample(-100.0 + count, 12.5) for count in range(10)]
    far = [SupplySample(-20.0 + count, 12.4) for count in range(10)]
    assert draw_trace([*near, *far], SupplyLimits()).count("trace-line") == 2
    old = SupplySample(-SPAN_S - 1, 3.0)
    assert "lowest 12.40" in draw_trace([old, *far], SupplyLimits())
    assert timedelta(seconds=SPAN_S) == timedelta(minutes=5)
