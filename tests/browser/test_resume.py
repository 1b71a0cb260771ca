"""Killing the server or closing the tab at any step loses nothing: the run goes on where it stood."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from . import steps
from .conftest import PHONE, DemoServer, Visitor

pytestmark = pytest.mark.browser

# In the demo this job waits at the vehicle with its run sheet begun.
JOB = 45


@pytest.fixture
def own_server() -> Iterator[DemoServer]:
    """A server that may be killed without disturbing the other tests."""
    with tempfile.TemporaryDirectory(prefix="bittern-kill-") as folder:
        running = DemoServer(Path(folder) / "data")
        running.folder.mkdir()
        running.start()
        yield running
        running.stop()


def read_place(visitor: Visitor) -> str:
    """Return what the runner shows: the step's sentence, the point of no return, or the end."""
    visitor.page.goto(f"/jobs/{JOB}/pairing/")
    expect(visitor.page.locator(".runner.carried")).to_be_visible()
    return visitor.page.locator("h1").first.inner_text()


def test_a_power_cut_at_every_step_keeps_the_place(browser: Browser, own_server: DemoServer) -> None:
    visitor = Visitor(browser, own_server, "tobin", PHONE)
    walked = 0
    while (
        visitor.page.goto(f"/jobs/{JOB}/pairing/")
        and visitor.page.locator(".step-say, .no-return.point").count()
    ):
        steps.move_on(visitor)
        place = read_place(visitor)
        own_server.kill()
        own_server.start()
        # The session lives in the database too: nobody has to log in again at the vehicle.
        assert read_place(visitor) == place
        walked += 1
        assert walked < 40
    assert walked >= 5
    expect(visitor.page.locator(".forecast")).to_be_visible()
    visitor.context.close()


def test_a_closed_tab_and_a_step_sent_twice_do_no_harm(visit: Callable[..., Visitor]) -> None:
    first = visit("tobin", PHONE)
    before = read_place(first)
    # The same page is open a second time, as after a double tap or on a second telephone.
    second = first.context.new_page()
    second.goto(f"/jobs/{JOB}/pairing/")
    steps.await_sent(second)
    steps.move_on(first)
    after = read_place(first)
    assert after != before
    second.locator(".moves form").first.locator("button").first.click()
    expect(second.locator(".problem:visible")).to_contain_text("another window of this device")
    expect(second.locator("h1").first).to_have_text(after)
    first.page.close()
    second.reload()
    steps.await_sent(second)
    expect(second.locator("h1").first).to_have_text(after)
