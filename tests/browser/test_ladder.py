"""A ladder worked to the cutting that turns: on a telephone at the bench, with a power cut in the middle."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from bittern.demo import PACK_DIR
from bittern.formats.packs import read_pack

from . import camera, scan, steps
from .conftest import PHONE, DemoServer, Visitor

pytestmark = pytest.mark.browser

NARROW = {"width": 320, "height": 700}


@pytest.fixture
def own_server() -> Iterator[DemoServer]:
    """A server that may be killed without disturbing the other tests."""
    with tempfile.TemporaryDirectory(prefix="bittern-ladder-") as folder:
        running = DemoServer(Path(folder) / "data")
        running.folder.mkdir()
        running.start()
        yield running
        running.stop()


def check_width(page: Page) -> None:
    """Fail where the page is wider than the screen: 390 pixels, and 320."""
    for size in (NARROW, PHONE):
        page.set_viewport_size(size)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"{page.url} is {wide} pixels too wide at {size['width']}"


def look_over(page: Page, name: str) -> None:
    """Look at the page as a narrow telephone, an accessibility scan light and dark, and a camera do."""
    check_width(page)
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        scan.check_page(page)
    camera.take(page, name)


def press(page: Page, button: Locator) -> None:
    with page.expect_navigation():
        button.click()


def press_named(page: Page, name: str) -> None:
    press(page, page.get_by_role("button", name=name, exact=True).locator("visible=true").first)


def know_cuts(page: Page, unknown: set[int]) -> None:
    """Choose an allowed depth for every cut but the unknown ones."""
    standard = read_pack(PACK_DIR).blades[read_pack(PACK_DIR).articles[steps.EDGE_ARTICLE].blade]
    wave = (0, 1, 2, 1)
    for place in range(1, len(standard.positions_mm) + 1):
        if place not in unknown:
            label = standard.labels[wave[(place - 1) % 4]]
            page.get_by_label(f"Cut {place}", exact=True).select_option(label)


def plan(visitor: Visitor, number: int, unknown: set[int]) -> None:
    page = visitor.page
    page.goto(f"/jobs/{number}/?leg=blade")
    page.get_by_role("link", name="Find the rest by ladders").click()
    know_cuts(page, unknown)
    press_named(page, "Plan the ladders")


def begin(page: Page) -> None:
    page.locator('input[name="cutter"]').first.check()
    page.get_by_label("Eye protection is on").check()
    page.get_by_label("The guard is closed").check()
    press_named(page, "Open the seal and show the first cutting")


def spoil_and_step_back(page: Page) -> None:
    """Put blank 1 aside, then take that back."""
    page.get_by_text("That blank is spoilt").click()
    press_named(page, "Put it aside and take a new blank")
    expect(page.locator(".rung-place")).to_have_text("Blank 2, cutting 2")
    expect(page.locator(".step-say")).to_have_text("Take a new blank and cut every cut.")
    page.get_by_text("Back one step").click()
    press_named(page, "Take the last entry back")
    expect(page.locator(".rung-place")).to_have_text("Blank 1, cutting 2")


def say_that_it_turned(page: Page) -> None:
    """First without the tick, which is refused, then with it."""
    page.get_by_text("This one turned").click()
    press_named(page, "Seal this bitting")
    expect(page.get_by_role("alert")).to_contain_text("Not recorded yet")
    # The rung stays open, with its tick in view.
    page.get_by_label("It turned lightly, both ways").check()
    page.get_by_label("This blank is the customer's key").check()
    press_named(page, "Seal this bitting")
    expect(page.locator("#leg-blade")).to_contain_text("Inspect the cut key")


def test_a_ladder_is_worked_until_one_turns(browser: Browser, own_server: DemoServer) -> None:
    counter = Visitor(browser, own_server, "petra", PHONE)
    number = steps.carry_to_edge_blade(counter)
    counter.page.goto(f"/jobs/{number}/ladder/")
    expect(counter.page.get_by_role("heading", level=1)).to_contain_text("Not for this role")
    counter.complaints.clear()
    counter.context.close()

    visitor = Visitor(browser, own_server, "tobin", PHONE)
    page = visitor.page
    plan(visitor, number, {4, 5})
    look_over(page, "ladder-plan")
    expect(page.locator(".ladder-figures")).to_contain_text("Blanks at most")
    begin(page)
    expect(page.locator(".step-say")).to_have_text("Take a new blank and cut every cut.")
    press_named(page, "It did not turn")
    expect(page.locator(".step-say")).to_contain_text("Make deeper")
    look_over(page, "ladder-rung")
    second = page.locator(".bitting").inner_text()

    # A reload sends the same press again, and nothing happens twice.
    page.reload()
    expect(page.locator(".rung-place")).to_have_text("Blank 1, cutting 2")
    assert page.locator(".bitting").inner_text() == second

    # A power cut: the plan and the place are sealed with the job.
    own_server.kill()
    own_server.start()
    page.goto(f"/jobs/{number}/")
    expect(page.locator(".next")).to_contain_text("blank 1, cutting 2")
    page.get_by_role("link", name="Go to the ladders").first.click()
    look_over(page, "ladder-resume")
    press_named(page, "Open the seal and go on")
    assert page.locator(".bitting").inner_text() == second

    spoil_and_step_back(page)
    say_that_it_turned(page)
    page.locator("#f-look-reason").fill("to compare")
    press_named(page, "Open the seal and show the chart")
    assert page.locator("p.bitting").inner_text() == second
    page.goto(f"/jobs/{number}/log/")
    said = page.locator("main").inner_text()
    assert "Blank 1, cutting 2 turned" in said
    assert second not in said
    # The browser reports the entry without its tick, which was meant.
    assert visitor.complaints == []
    visitor.context.close()


def test_the_list_is_printed_and_hopeless_counts_say_what_helps(visit: Callable[..., Visitor]) -> None:
    visitor = visit("isolde", PHONE)
    number = steps.carry_to_edge_blade(visitor)
    page = visitor.page
    page.goto(f"/jobs/{number}/ladder/")
    press_named(page, "Plan the ladders")
    expect(page.get_by_role("alert")).to_contain_text("no known cut")
    know_cuts(page, {2, 3, 4, 5, 6, 7, 8})
    press_named(page, "Plan the ladders")
    expect(page.get_by_role("alert")).to_contain_text(re.compile(r"Find out cut \d+ first"))
    look_over(page, "ladder-hopeless")
    know_cuts(page, {4, 5})
    press_named(page, "Plan the ladders")
    page.get_by_label("Why do you look?").last.fill("to print the list")
    press_named(page, "Open the seal and show the list")
    expect(page.locator(".confidential")).to_be_visible()
    look_over(page, "ladder-list")
    page.emulate_media(media="print")
    expect(page.locator(".confidential")).to_be_visible()
    expect(page.locator(".rungs").first).to_be_visible()
    expect(page.get_by_text("Close the seal")).to_be_hidden()
    assert len(page.pdf(format="A4")) > 5000


def test_a_code_table_is_kept_and_used(visit: Callable[..., Visitor], tmp_path: Path) -> None:
    visitor = visit("tobin", PHONE)
    number = steps.carry_to_edge_blade(visitor)
    page = visitor.page
    page.goto("/code-tables/")
    blade = read_pack(PACK_DIR).blades[read_pack(PACK_DIR).articles[steps.EDGE_ARTICLE].blade]
    table = tmp_path / "own.csv"
    table.write_text("bitting,code\n9 9,X\n", encoding="utf-8")
    page.get_by_label("Blade").select_option(blade.id)
    page.get_by_label("List as CSV").set_input_files(table)
    press_named(page, "Seal this table")
    expect(page.get_by_role("alert")).to_contain_text("row 2")
    look_over(page, "code-tables")
    wave = [blade.labels[(0, 1, 2, 1)[place % 4]] for place in range(len(blade.positions_mm))]
    deeper = [*wave[:-1], blade.labels[3 if len(wave) % 4 == 3 else 2]]
    table.write_text(f"bitting,code\n{' '.join(wave)},X1\n{' '.join(deeper)},X2\n", encoding="utf-8")
    page.get_by_label("Blade").select_option(blade.id)
    page.get_by_label("List as CSV").set_input_files(table)
    press_named(page, "Seal this table")
    expect(page.locator("main")).to_contain_text("2 bittings, kept by tobin")
    page.goto(f"/jobs/{number}/ladder/")
    page.get_by_label("Only bittings of the shop's code table").check()
    press_named(page, "Plan the ladders")
    expect(page.locator(".ladder-figures")).to_contain_text("Bittings left")
    page.goto("/code-tables/")
    expect(page.locator(".log")).to_contain_text(f"used for job {number}")
