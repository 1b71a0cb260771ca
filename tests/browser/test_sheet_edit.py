"""A run sheet is written in the browser: a fault seen while typing, mended, saved, approved, run."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from . import camera, scan, steps
from .conftest import PHONE, Visitor

pytestmark = pytest.mark.browser

SHEET, ARTICLE = "marsh-remote-sync", "OST-R2"
OLD_WORDS = "Set the parking brake and close all doors."
NEW_WORDS = "Chock a wheel and close all doors."


def look_over(page: Page, name: str) -> None:
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, name)


def carry_to_pairing(visitor: Visitor, customer: str) -> int:
    """Carry a job to the first step of its run sheet."""
    number = steps.open_job(visitor, customer=customer)
    steps.record_authority(visitor, holder=customer)
    steps.record_vehicle(visitor, "Ostavel", "Corrie", 2005, start="turn")
    steps.take_article(visitor, ARTICLE)
    steps.agree(visitor)
    visitor.page.goto(f"/jobs/{number}/?leg=pairing")
    steps.begin_pairing(visitor, {"The daily key": True})
    visitor.page.goto(f"/jobs/{number}/pairing/")
    return number


def open_part(page: Page, name: str) -> None:
    page.locator(f'[data-opens="{name}"]').click()
    expect(page.locator(f'[data-opens="{name}"]')).to_have_attribute("aria-current", "true")


def test_a_fault_is_seen_while_typing_and_an_approved_version_runs_from_the_next_job_on(
    visit: Callable[..., Visitor],
) -> None:
    technician = visit("tobin")
    page = technician.page
    running = carry_to_pairing(technician, "Sorrel Fallowgate")
    expect(page.locator(".step-say")).to_contain_text(OLD_WORDS)

    page.goto(f"/run-sheets/{SHEET}/")
    page.get_by_role("link", name="Change it").click()
    expect(page.locator("#editor-state")).to_contain_text("Nothing changed yet")
    look_over(page, "sheet-edit")
    break_and_mend(page)
    page.get_by_label("What is said to the person").fill(f"{NEW_WORDS} The engine stays off.")
    expect(page.locator(".map")).to_contain_text("Chock a wheel")
    page.get_by_role("button", name="Save as version 1").click()
    expect(page.get_by_text("Saved as version 1.")).to_be_visible()
    expect(page.get_by_text("This version is not in use.")).to_be_visible()

    owner = visit("isolde")
    owner.page.goto(f"/run-sheets/{SHEET}/?version=1")
    owner.page.get_by_role("button", name="Approve").click()
    expect(owner.page.get_by_text("This version is in use.")).to_be_visible()
    expect(owner.page.locator("#used + ul")).to_contain_text(f"Job {running} still runs the pack's sheet")

    page.goto(f"/jobs/{running}/pairing/")
    expect(page.locator(".step-say")).to_contain_text(OLD_WORDS)
    carry_to_pairing(technician, "Linnet Reedbank")
    expect(page.locator(".step-say")).to_contain_text(NEW_WORDS)


def break_and_mend(page: Page) -> None:
    """A word for a number and a way to nowhere are named while one types; both are mended."""
    page.get_by_label("Usual time").fill("soon")
    wrong = page.locator(".editor-part .is-wrong")
    expect(wrong).to_contain_text("Found “soon”; expected a number")
    expect(page.get_by_label("Usual time")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#editor-state")).to_contain_text("1 fault")
    look_over(page, "sheet-edit-fault")
    page.get_by_role("button", name="Save as version").click()
    expect(page.locator(".editor-head .problem")).to_contain_text("cannot be read yet")
    page.get_by_label("Usual time").fill("20")
    expect(wrong).to_have_count(0)

    way = page.get_by_label("Then", exact=True)
    led_to = way.input_value()
    way.select_option("")
    expect(page.locator("#checks .faults")).to_contain_text("the step leads nowhere")
    # What is typed is there after a reload, faults and all.
    page.reload()
    expect(page.locator("#editor-state")).to_contain_text("fault")
    page.get_by_label("Then", exact=True).select_option(led_to)
    expect(page.locator("#editor-state")).to_contain_text("No fault")


def test_steps_are_added_moved_named_and_taken_out_on_a_telephone(visit: Callable[..., Visitor]) -> None:
    visitor = visit("wren", PHONE)
    page = visitor.page
    page.goto("/run-sheets/tide-remote-sync/edit/")
    count = page.locator(".part").count()
    first = page.get_by_label("Short name").input_value()
    page.get_by_role("button", name="Add a step after it").click()
    expect(page.locator(".part")).to_have_count(count + 1)
    expect(page.locator("#part-name")).to_be_focused()
    page.get_by_label("Short name").fill("sweep")
    expect(page.locator("#checks .faults")).to_contain_text("nothing to say")
    page.get_by_label("What is said to the person").fill("Put every other remote into the tin.")
    page.get_by_label("Usual time").fill("5")
    expect(page.locator("#editor-state")).to_contain_text("No fault")
    look_over(page, "sheet-edit-phone")

    # A new name is followed by the way that leads to it; a press right behind the last letter loses nothing.
    page.get_by_label("Short name").fill("shield")
    open_part(page, first)
    chosen = page.get_by_label("Then", exact=True).locator("option:checked")
    expect(chosen).to_contain_text("shield – Put every other remote")
    open_part(page, "shield")
    page.get_by_role("button", name="Move down").click()
    expect(page.locator(".part").nth(3)).to_contain_text("shield")
    page.get_by_text("Take this step out").click()
    page.get_by_role("button", name="Take it out").click()
    expect(page.locator(".part")).to_have_count(count)
    expect(page.locator("#editor-state")).to_contain_text("No fault")
    page.get_by_text("Throw away what is not saved").click()
    page.get_by_role("button", name="Throw it away").click()
    expect(page.get_by_text("What was not saved is thrown away.")).to_be_visible()


def test_two_windows_never_overwrite_each_other_unseen(visit: Callable[..., Visitor]) -> None:
    visitor = visit("tobin")
    one = visitor.page
    other = visitor.context.new_page()
    for page in (one, other):
        page.goto("/run-sheets/reed-turn-spare/edit/")
    one.get_by_label("What is said to the person").fill("Written in the first window.")
    expect(one.locator("#editor-state")).to_contain_text("Kept as you write")
    other.get_by_label("What is said to the person").fill("Written in the second window.")
    expect(other.locator("#checks")).to_contain_text("Written in another window too")
    other.get_by_role("button", name="Keep what I typed here").click()
    expect(other.locator("#editor-state")).to_contain_text("Kept as you write")
    one.reload()
    expect(one.get_by_label("What is said to the person")).to_have_value("Written in the second window.")


def test_without_a_script_every_press_keeps_what_was_typed(visit: Callable[..., Visitor]) -> None:
    with steps.without_script(visit("tobin")) as page:
        page.goto("/run-sheets/fen-turn-pair/edit/")
        page.get_by_label("Usual time").fill("soon")
        page.locator(".part").nth(2).click()
        expect(page.locator(".part").nth(2)).to_have_attribute("aria-current", "true")
        expect(page.locator(".part").nth(1)).to_contain_text("1 fault")
        page.locator("#checks .faults button").first.click()
        expect(page.locator(".editor-part .error")).to_contain_text("Found “soon”")
        # An accessibility scan is a script itself.
        camera.take(page, "sheet-edit-no-script")
