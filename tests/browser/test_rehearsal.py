"""A whole rehearsal with a fault on a telephone: done, watched, heard, scored; with and without script."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from . import camera, scan, steps
from .conftest import PHONE, Visitor
from .rehearsing import begin, begin_run, carry_on, carry_to_end, press, press_named, read_shown

pytestmark = pytest.mark.browser

SHEET = "Pair a turn key, fell family"
TIRED = "The battery is tired"
NARROW = {"width": 320, "height": 700}
# Counts what sounds, without anybody having to listen.
COUNT_TONES = """
window.tones = 0;
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (...at) { window.tones += 1; return start.apply(this, at); };
"""


def look_over(page: Page, name: str) -> None:
    """Look at the page as a narrow telephone, an accessibility scan light and dark, and a camera do."""
    for size in (NARROW, PHONE):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        steps.check_fits(page)
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        scan.check_page(page)
    camera.take(page, name)


def test_a_rehearsal_with_a_tired_battery(visit: Callable[..., Visitor]) -> None:
    page = visit("tobin", PHONE).page
    page.get_by_role("link", name="Rehearsal").click()
    look_over(page, "rehearsals")
    begin(page, SHEET, TIRED)
    expect(page.locator("header")).to_contain_text("No vehicle, no job: nothing here is real.")
    press_named(page, "Read the supply")
    expect(page.locator(".shown")).to_contain_text("The meter shows 1")
    look_over(page, "rehearsal-needs")
    press_named(page, "Connect the supply")
    expect(page.locator(".shown")).to_contain_text("You connected the steady supply.")
    begin_run(page)
    press_named(page, "Read the supply")
    expect(page.locator(".shown")).to_contain_text("steady enough")
    look_over(page, "rehearsal-step")
    seen = []
    while what := carry_on(page):
        if what not in seen:
            look_over(page, f"rehearsal-{what}")
        seen.append(what)
        assert len(seen) < 80
    assert "confirmed" in seen
    expect(page.get_by_role("heading", name="What the vehicle knew")).to_be_visible()
    expect(page.locator("main")).to_contain_text("The battery is tired")
    expect(page.locator(".score")).to_contain_text("of 100 points")
    page.get_by_text("What truly happened").click()
    look_over(page, "rehearsal-end")
    press_named(page, "Again, the same vehicle")
    expect(page.get_by_role("heading", name="Before the first step")).to_be_visible()


def test_deeds_that_arrive_at_the_same_moment_are_all_done(visit: Callable[..., Visitor]) -> None:
    page = visit("wren", PHONE).page
    begin(page, SHEET)
    statuses = page.evaluate(
        """async () => {
            const form = document.querySelector(".deeds");
            const token = form.querySelector("[name=csrfmiddlewaretoken]").value;
            const send = (id) => fetch(form.action, {
                method: "POST",
                body: new URLSearchParams({deed: "open-door", deed_id: id, csrfmiddlewaretoken: token}),
            });
            // The last one is the first one over again.
            const sent = await Promise.all(["a", "b", "c", "d", "e", "f", "a"].map(send));
            return sent.map((one) => one.status);
        }"""
    )
    assert statuses == [200] * 7
    page.reload()
    page.get_by_text("How it stands, in words").click()
    expect(page.locator(".vehicle dl")).to_contain_text("6 open")


def beeps(page: Page) -> bool:
    """Begin a rehearsal and carry it on to the vehicle's beep; False where it ends before."""
    begin(page, SHEET)
    begin_run(page)
    while "beeps" not in read_shown(page):
        if not carry_on(page):
            return False
    return True


def test_what_sounds_is_what_the_words_say_and_only_once_asked_for(visit: Callable[..., Visitor]) -> None:
    page = visit("tobin", PHONE).page
    page.add_init_script(COUNT_TONES)
    # Every rehearsal is another draw: one may fail before the vehicle beeps.
    assert any(beeps(page) for _ in range(6))
    assert page.evaluate("window.tones") == 0
    times = {"once": 1, "twice": 2}
    word = read_shown(page).rstrip(".").split()[-1]
    page.get_by_role("button", name="Hear it", exact=True).click()
    page.wait_for_function(f"window.tones === {times[word]}")


def test_a_rehearsal_without_script_goes_to_its_end(visit: Callable[..., Visitor]) -> None:
    with steps.without_script(visit("tobin", PHONE)) as page:
        begin(page, SHEET)
        begin_run(page)
        assert page.get_by_role("button", name="Hear it").count() == 0
        press_named(page, "Read the supply")
        assert "V" in read_shown(page)
        carry_to_end(page)
        expect(page.get_by_role("heading", name="What the vehicle knew")).to_be_visible()
        steps.check_fits(page)


def test_another_technician_does_not_see_it_and_the_owner_looks_on(visit: Callable[..., Visitor]) -> None:
    page = visit("tobin", PHONE).page
    begin(page, SHEET)
    address = page.url
    other = visit("wren", PHONE).page
    answer = other.request.get(address)
    assert answer.status == 404
    owner = visit("isolde", PHONE).page
    owner.goto(address)
    expect(owner.locator(".note")).to_contain_text("You look on")
    assert owner.locator("button[name=deed]").count() == 0
    owner.get_by_role("link", name="All rehearsals").click()
    expect(owner.get_by_role("heading", name="Who may do what alone")).to_be_visible()
    for one in owner.locator(".everybody summary").all():
        one.click()
    look_over(owner, "rehearsal-owner")
    press(page, page.get_by_role("link", name="All rehearsals"))
    expect(page.get_by_role("link", name=f"Go on with “{SHEET}”")).to_be_visible()


def test_a_lesson_of_the_course_is_begun_and_the_next_one_after_it(visit: Callable[..., Visitor]) -> None:
    page = visit("wren", PHONE).page
    page.goto("/rehearsals/")
    press(page, page.get_by_role("button", name="Begin Step by step"))
    begin_run(page)
    assert "done" in carry_to_end(page)
    press_named(page, "On to number 2 of the course")
    expect(page.get_by_role("heading", name="Before the first step")).to_be_visible()
    page.goto("/rehearsals/")
    expect(page.locator(".course > li").first).to_contain_text("of 100")
