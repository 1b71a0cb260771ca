"""An adapter in the vehicle: its number against the job's, its supply drawn while the page is open."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.link.serial_adapter import SerialAdapter
from tests.link.vehicle import Unit, list_allowed, usual_answers

from . import camera, scan, steps
from .conftest import PHONE, DemoServer, Visitor

pytestmark = pytest.mark.browser

# Few steps before its point of no return; its supply was read hours ago.
JOB = 45
MOST_STEPS = 6
# A serial adapter is given two seconds to wake, and the vehicle some for its answer in pieces.
PATIENCE_MS = 30_000
TOO_LOW, ENOUGH = "2CEC", "3138"
"""11.500 and 12.600 V, in the millivolts of service 01's parameter 42."""


@pytest.fixture(scope="module")
def adapter() -> Iterator[SerialAdapter]:
    plugged = SerialAdapter(Unit(usual_answers(volts=TOO_LOW)))
    yield plugged
    plugged.close()


@pytest.fixture(scope="module")
def bench(adapter: SerialAdapter) -> Iterator[DemoServer]:
    with tempfile.TemporaryDirectory(prefix="bittern-browser-") as folder:
        running = DemoServer(Path(folder) / "data", BITTERN_ADAPTER=f"slcan:{adapter.port}")
        running.folder.mkdir()
        running.start()
        yield running
        running.stop()


@pytest.fixture
def enter(browser: Browser, bench: DemoServer) -> Iterator[Callable[[], Visitor]]:
    visitors: list[Visitor] = []

    def come() -> Visitor:
        visitors.append(Visitor(browser, bench, "tobin", PHONE))
        return visitors[-1]

    yield come
    for visitor in visitors:
        visitor.context.close()
        assert visitor.complaints == []


def look_over(page: Page, name: str) -> None:
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, name)


def read_number(page: Page) -> None:
    page.goto(f"/jobs/{JOB}/?leg=pairing")
    page.locator("#number-on-board form button").first.click()


def walk_to_reading(page: Page) -> None:
    """Take each step as working, until the point of no return asks for the supply."""
    runner = page.locator(".runner.carried")
    for _ in range(MOST_STEPS):
        if page.locator('[data-stage] [name="volts"]').count():
            return
        before = runner.get_attribute("data-at") or ""
        page.locator("[data-stage] .moves > form button").first.click()
        expect(runner).not_to_have_attribute("data-at", before)
        steps.await_sent(page)
    raise AssertionError("no step asks for the supply")


def test_another_vehicle_stops_the_run_until_the_jobs_own_is_read(
    enter: Callable[[], Visitor], adapter: SerialAdapter
) -> None:
    page = enter().page
    read_number(page)
    stop = page.get_by_role("heading", name="Stop: which vehicle is this?")
    expect(stop).to_be_visible(timeout=PATIENCE_MS)
    said = page.locator("#number-on-board .problem").inner_text()
    assert "1M8GDM9AXKP042788" in said
    look_over(page, "adapter-stop")
    page.goto(f"/jobs/{JOB}/pairing/")
    expect(stop).to_be_visible()
    expect(page.get_by_role("button", name="Record the reading")).to_have_count(0)
    look_over(page, "adapter-stop-runner")

    # The adapter is put into the right vehicle.
    numbers = set(re.findall(r"\b[A-HJ-NPR-Z0-9]{17}\b", said)) - {"1M8GDM9AXKP042788"}
    adapter.unit = Unit(usual_answers(numbers.pop(), volts=TOO_LOW))
    read_number(page)
    expect(page.locator("#number-on-board")).to_contain_text("The vehicle is the job's", timeout=PATIENCE_MS)
    expect(stop).to_have_count(0)


def test_the_supply_is_drawn_warns_and_is_taken_over(
    enter: Callable[[], Visitor], adapter: SerialAdapter
) -> None:
    page = enter().page
    page.goto(f"/jobs/{JOB}/pairing/")
    live = page.locator("[data-supply-live]")
    expect(live).to_have_attribute("data-volts", "11.50", timeout=PATIENCE_MS)
    expect(live).to_contain_text("11.50 V")
    assert live.get_attribute("data-level") != "good"
    look_over(page, "adapter-supply-low")
    walk_to_reading(page)
    adapter.unit.answers[bytes.fromhex("0142")] = bytes.fromhex("4142" + ENOUGH)
    # What is drawn follows the vehicle without a reload.
    take = page.get_by_role("button", name="Take the adapter's reading: 12.60 V")
    expect(take).to_be_visible(timeout=PATIENCE_MS)
    points = page.locator("polyline.trace-line, .trace-line").first.get_attribute("points") or ""
    assert len(points.split()) >= 2
    take.click()
    expect(page.locator('input[name="volts"]').first).to_have_value("12.60")
    look_over(page, "adapter-supply-enough")
    page.get_by_role("button", name="Record the reading").click()
    expect(page.locator(".no-return.point")).to_be_visible()
    steps.await_sent(page)
    page.goto(f"/jobs/{JOB}/log/")
    expect(page.locator("main")).to_contain_text("12.6")


def test_a_wait_for_the_number_that_fails_is_repeated(
    enter: Callable[[], Visitor], adapter: SerialAdapter
) -> None:
    visitor = enter()
    page, failed = visitor.page, []

    def fail_once(route: Route) -> None:
        if failed or "waiting" not in (route.request.post_data or ""):
            return route.continue_()
        failed.append(route.request.url)
        return route.fulfill(status=503, body="")

    page.route("**/adapter/number/", fail_once)
    unit, adapter.unit = adapter.unit, Unit({})
    # Silence is noticed soon, now and then before the page has begun to wait: then it is pressed again.
    for _ in range(8):
        read_number(page)
        page.wait_for_timeout(2500)
        if failed:
            break
    assert len(failed) == 1
    adapter.unit = unit
    again = page.get_by_role("button", name="Read it again through the adapter")
    expect(again).to_be_enabled(timeout=PATIENCE_MS)
    expect(page.locator("#number-on-board")).to_contain_text("The vehicle is the job's")
    assert all("503" in one for one in visitor.complaints)
    visitor.complaints.clear()


def test_whatever_was_pressed_only_reading_frames_left(adapter: SerialAdapter) -> None:
    assert adapter.frames
    assert set(adapter.frames) <= list_allowed(11, [0]) | list_allowed(29, [0])
