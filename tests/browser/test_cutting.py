"""The cut in the browser: planned, its sweep scrubbed, its solid looked at, its program taken."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import parse_bitting
from bittern.formats.packs import read_pack
from bittern.work.cutting import prove_program

from . import camera, scan, steps
from .conftest import DESKTOP, PHONE, Visitor

pytestmark = pytest.mark.browser

Visit = Callable[..., Visitor]
BITTING, CUTTER = "2 1 3 4 2 2 1 3", "wheel-84"


def press(page: Page, name: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=name, exact=True).locator("visible=true").first.click()


def look_over(page: Page, name: str) -> None:
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, name)


def scrub(page: Page) -> None:
    """Move the sweep by keys, by its buttons and by its slider."""
    sweep = page.locator(".sweep")
    expect(sweep.locator(".sweep-words")).to_contain_text("the cutter")
    slider = sweep.get_by_role("slider")
    done = sweep.locator(".sweep-left").get_attribute("d")
    slider.focus()
    page.keyboard.press("Home")
    before = sweep.locator(".sweep-left").get_attribute("d")
    assert before != done
    assert slider.input_value() == "0"
    sweep.get_by_role("button", name="Play").click()
    expect(sweep.get_by_role("button", name="Stop")).to_be_visible()
    sweep.get_by_role("button", name="Stop").click()
    slider.fill("120")
    assert sweep.locator(".sweep-left").get_attribute("d") not in (before, done)
    camera.take(page, "cutting-sweep")
    page.keyboard.press("End")
    expect(sweep.locator(".sweep-left")).to_have_attribute("d", done or "")


def print_the_sheet(page: Page) -> None:
    """Print the set-up sheet: the set-up, cautions and boxes to tick, no sweep and no buttons."""
    page.evaluate("() => { window.print = () => { document.title = 'printed'; }; }")
    page.get_by_role("button", name="Print the set-up sheet").click()
    expect(page).to_have_title("printed")
    page.emulate_media(media="print")
    ticks = page.locator(".ticks li")
    expect(ticks).to_have_count(5)
    for shown in (ticks.first, page.locator(".set-up figure svg").first, page.locator(".caution").first):
        expect(shown).to_be_visible()
    for hidden in (page.locator(".sweep"), page.locator("[data-print]"), page.locator(".take")):
        expect(hidden).to_be_hidden()
    camera.take(page, "cutting-sheet")
    page.emulate_media(media="screen")
    expect(ticks.first).to_be_hidden()


def turn_the_solid(page: Page) -> None:
    page.get_by_role("button", name="Turn it in your hand").click()
    said = page.locator(".solid [data-words]")
    expect(said).to_be_visible(timeout=20_000)
    # A browser without a way to draw solids says so and leaves the file.
    drawn = page.locator(".solid canvas").count() == 1
    expect(said).to_contain_text("Draw with a finger" if drawn else "Download the solid instead")
    page.locator(".solid").scroll_into_view_if_needed()
    camera.take(page, "cutting-solid")


def take_program(page: Page, number: int, folder: Path) -> None:
    """Take the program with its four ticks, and sweep the file that came."""
    take = page.locator('form[data-act="take-program"]')
    press(page, "Download the program")
    expect(page.locator(".problem")).to_contain_text("expected eye protection on")
    for tick in ("eyes", "guard", "clothes", "held"):
        take.locator(f'[name="{tick}"]').check()
    look_over(page, "cutting-take")
    with page.expect_download() as given:
        page.get_by_role("button", name="Download the program").click()
    file = folder / given.value.suggested_filename
    given.value.save_as(file)
    assert file.name == f"job-{number}.nc"
    pack = read_pack(PACK_DIR)
    standard = pack.blades[pack.articles[steps.EDGE_ARTICLE].blade]
    swept = prove_program(file.read_text(), standard, parse_bitting(standard, BITTING), pack.tools[CUTTER])
    assert swept.good


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_a_cut_is_planned_looked_at_and_its_program_taken(
    size: dict[str, int], visit: Visit, tmp_path: Path
) -> None:
    technician = visit("tobin", size=size)
    page = technician.page
    number = steps.carry_to_edge_blade(technician)
    page.get_by_label("Bitting", exact=True).fill(BITTING)
    press(page, "Seal this bitting")
    page.get_by_role("link", name="Plan the cut").click()
    page.get_by_label(CUTTER).check()
    look_over(page, "cutting-choice")
    press(page, "Open the seal and plan")
    expect(page.locator("main")).to_contain_text("Proven before metal.")
    look_over(page, "cutting-plan")

    scrub(page)
    turn_the_solid(page)
    print_the_sheet(page)
    take_program(page, number, tmp_path)

    cut = page.locator('form[data-act="record-cut"]')
    cut.locator('[name="eyes"]').check()
    cut.locator('[name="guard"]').check()
    press(page, "Record that it is cut")
    expect(page.locator("#leg-blade")).to_contain_text(f"with {CUTTER}")
    page.goto(f"/jobs/{number}/log/")
    for words in ("Took the program for", "Cut the blade"):
        expect(page.locator("main")).to_contain_text(words)
    assert BITTING not in page.content()


def test_without_script_three_stills_stand_for_the_sweep(visit: Visit) -> None:
    technician = visit("tobin")
    number = steps.carry_to_edge_blade(technician)
    with steps.without_script(technician) as page:
        page.goto(f"/jobs/{number}/?leg=blade")
        page.get_by_label("Bitting", exact=True).fill(BITTING)
        press(page, "Seal this bitting")
        page.get_by_role("link", name="Plan the cut").click()
        page.get_by_label(CUTTER).check()
        press(page, "Open the seal and plan")
        expect(page.locator(".stills figure")).to_have_count(3)
        expect(page.locator(".sweep")).to_be_hidden()
        assert page.locator(".stills svg").first.evaluate("node => node.getBBox().width") > 20
