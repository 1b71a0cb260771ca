"""A phone at the vehicle: the network goes, the page goes on, and everything arrives once it is back."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from . import camera, scan, steps
from .conftest import DESKTOP, PHONE, DemoServer, Visitor

pytestmark = pytest.mark.browser

JOB = 45
SMALL = {"width": 360, "height": 740}
CARRIED = "navigator.serviceWorker.controller !== null"
NOT_KEPT = "navigator.serviceWorker.getRegistrations().then((all) => all.length === 0)"
SAYS = ".step-say, .no-return.point h1, .ask"


@pytest.fixture
def own_server(tmp_path: Path) -> Iterator[DemoServer]:
    running = DemoServer(tmp_path / "data")
    running.folder.mkdir()
    running.start()
    yield running
    running.stop()


def press(page: Page) -> str:
    """Take the step at hand as working, whether or not it can be sent; return what stands there then."""
    box = page.locator(".runner.carried")
    before = box.get_attribute("data-at") or ""
    if page.locator('[name="sure"]').count():
        page.locator('[name="sure"]').check()
        page.get_by_role("button", name="Go past the point of no return").click()
    elif page.locator('[name="volts"]').count():
        page.locator('[name="volts"]').fill("12,6")
        page.get_by_role("button", name="Record the reading").click()
    else:
        page.locator(".moves form button").first.click()
    expect(box).not_to_have_attribute("data-at", before)
    return page.locator(SAYS).first.inner_text()


def await_true(page: Page, expression: str) -> None:
    """Wait until it is so; the pages' policy lets the browser evaluate nothing by itself."""
    for _ in range(150):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(100)
    raise AssertionError(f"never: {expression}")


def at_end(page: Page) -> bool:
    return page.locator(".moves a.button").count() > 0


def list_log(page: Page) -> list[str]:
    page.goto(f"/jobs/{JOB}/log/")
    return page.locator("main li, main tr").all_inner_texts()


def test_a_run_goes_on_to_its_end_without_the_network_and_a_reload_keeps_the_place(
    browser: Browser, own_server: DemoServer
) -> None:
    visitor = Visitor(browser, own_server, "tobin", SMALL)
    page = visitor.page
    page.goto(f"/jobs/{JOB}/pairing/")
    steps.await_sent(page)
    page.evaluate("navigator.serviceWorker.ready.then((one) => one.scope)")
    await_true(page, CARRIED)
    scan.check_page(page)
    steps.check_fits(page)
    visitor.context.set_offline(True)
    walked, seen = 0, set()
    while not at_end(page) and walked < 40:
        says = press(page)
        walked += 1
        expect(page.locator(".kept-line")).to_contain_text(f"Kept here: {walked} not sent yet.")
        page.reload()
        expect(page.locator(SAYS).first).to_have_text(says, use_inner_text=True)
        expect(page.locator(".kept-line")).to_contain_text(f"Kept here: {walked} not sent yet.")
        if walked in (1, 3):
            scan.check_page(page)
        steps.check_fits(page)
        seen.add(page.locator(".runner").get_attribute("data-at"))
    assert walked >= 4
    end = page.locator(SAYS).first.inner_text()
    visitor.context.set_offline(False)
    expect(page.locator(".kept-line")).to_have_text("All sent.", timeout=40_000)
    expect(page.locator(SAYS).first).to_have_text(end, use_inner_text=True)
    # Nothing of it stays on the device once it has ended and is sent.
    await_true(page, NOT_KEPT)
    assert page.evaluate("caches.keys()") == []
    assert read_runs(page) == 0
    assert len(seen) == walked
    visitor.context.close()


def read_runs(page: Page) -> int:
    """Return how many runs this device keeps."""
    count: int = page.evaluate(
        """new Promise((done) => {
          const open = indexedDB.open("bittern-runner");
          open.onsuccess = () => {
            const all = open.result.transaction("runs").objectStore("runs").count();
            all.onsuccess = () => { open.result.close(); done(all.result); };
          };
        })"""
    )
    return count


def test_no_page_but_the_runners_is_kept(visit: Callable[..., Visitor]) -> None:
    visitor = visit("tobin", PHONE)
    page = visitor.page
    page.goto(f"/jobs/{JOB}/pairing/")
    steps.await_sent(page)
    await_true(page, CARRIED)
    page.goto(f"/jobs/{JOB}/")
    customer = page.locator("h1").inner_text()
    kept: list[str] = page.evaluate(
        """caches.keys().then((names) => Promise.all(names.map((name) => caches.open(name)
          .then((cache) => cache.keys()).then((all) => all.map((one) => new URL(one.url).pathname)))))
          .then((all) => all.flat())"""
    )
    pages = [path for path in kept if not path.startswith("/static/")]
    assert pages == [f"/jobs/{JOB}/pairing/kept/"]
    text: str = page.evaluate(f"fetch('/jobs/{JOB}/pairing/kept/').then((answer) => answer.text())")
    assert customer not in text


def test_after_a_logout_the_device_keeps_nothing_that_was_sent(visit: Callable[..., Visitor]) -> None:
    visitor = visit("tobin", DESKTOP)
    page = visitor.page
    page.goto(f"/jobs/{JOB}/pairing/")
    steps.await_sent(page)
    await_true(page, CARRIED)
    assert read_runs(page) == 1
    page.goto("/")
    page.get_by_role("button", name="Log out").click()
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()
    await_true(page, NOT_KEPT)
    await_true(page, "caches.keys().then((all) => all.length === 0)")
    assert read_runs(page) == 0


def test_two_devices_on_one_job_are_noticed_and_one_stands_aside(visit: Callable[..., Visitor]) -> None:
    first, second = visit("tobin", PHONE), visit("isolde", DESKTOP)
    first.page.goto(f"/jobs/{JOB}/pairing/")
    steps.await_sent(first.page)
    second.page.goto(f"/jobs/{JOB}/pairing/")
    aside = second.page.locator("[data-aside]")
    expect(aside).to_contain_text(re.compile(r"being carried on the (computer|phone) of "))
    expect(second.page.locator(".moves, .no-return.point form").first).to_be_hidden()
    scan.check_page(second.page)
    second.page.get_by_role("button", name="Take it over here").click()
    expect(aside).to_be_hidden()
    first.page.evaluate("dispatchEvent(new Event('online'))")
    expect(first.page.locator("[data-aside]")).to_contain_text("Taken over")
    second.page.goto(f"/jobs/{JOB}/log/")
    expect(second.page.locator("main")).to_contain_text("taken over on another device from tobin")


def test_a_clock_that_is_changed_does_not_move_a_window(visit: Callable[..., Visitor]) -> None:
    visitor = visit("tobin", PHONE)
    page = visitor.page
    page.add_init_script(
        """const now = Date.now.bind(Date);
        window.shift_ms = 0;
        Date.now = () => now() + window.shift_ms;"""
    )
    page.goto(f"/jobs/{JOB}/pairing/")
    steps.await_sent(page)
    page.evaluate("window.shift_ms = 3600e3")
    expect(page.locator(".kept-line")).to_contain_text("clock was changed")
    sent: list[Any] = []
    page.on("request", lambda request: sent.append(request.post_data_json) if request.post_data else None)
    steps_before = page.locator(".runner").get_attribute("data-at")
    press(page)
    assert page.locator(".runner").get_attribute("data-at") != steps_before
    steps.await_sent(page)
    events = [event for body in sent if body for event in body.get("events", [])]
    # By the device's clock it would be an hour later.
    ahead: float = page.evaluate("(at) => Date.parse(at) - (Date.now() - 3600e3)", events[0]["at"])
    assert abs(ahead) < 60_000


# The device's store cannot be opened so many times at each load, as after a browser was killed.
HELD = """
  const open = IDBFactory.prototype.open;
  let left = Number(sessionStorage.getItem("held") ?? 0);
  IDBFactory.prototype.open = function (...words) {
    if (left-- <= 0) return open.apply(this, words);
    const request = { error: new DOMException("held", "UnknownError") };
    setTimeout(() => request.onerror());
    return request;
  };
"""


def reload_held(page: Page, times: int) -> None:
    page.evaluate(f"sessionStorage.setItem('held', '{times}')")
    page.reload()


def test_a_store_that_is_held_is_asked_for_again_and_said_when_it_stays_so(
    browser: Browser, own_server: DemoServer
) -> None:
    visitor = Visitor(browser, own_server, "tobin", PHONE)
    page, main = visitor.page, visitor.page.get_by_role("main")
    page.add_init_script(f"{{{HELD}}}")
    page.goto(f"/jobs/{JOB}/pairing/")
    steps.await_sent(page)
    await_true(page, CARRIED)
    visitor.context.set_offline(True)
    says = press(page)
    reload_held(page, 2)
    expect(page.locator(SAYS).first).to_have_text(says, use_inner_text=True)
    expect(page.locator(".kept-line")).to_contain_text("Kept here: 1 not sent yet.")
    # It stays held: the page says what it does not know, without the network and with it.
    reload_held(page, 1000)
    expect(page.get_by_role("heading", name="The run cannot be shown")).to_be_visible()
    expect(main).to_contain_text("What this device keeps of its runs cannot be read now.")
    steps.check_fits(page)
    visitor.context.set_offline(False)
    reload_held(page, 1000)
    expect(page.get_by_role("heading", name="Kept entries cannot be read")).to_be_visible()
    expect(page.locator(".kept-line")).to_contain_text("it may not have been sent")
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, "runner-store-held")
    # Nothing was lost by it.
    reload_held(page, 0)
    expect(page.locator(SAYS).first).to_have_text(says, use_inner_text=True)
    steps.await_sent(page)
    visitor.context.close()
