"""How somebody at the bench carries a rehearsal: does the step, watches the vehicle, says what it did."""

from __future__ import annotations

from playwright.sync_api import Locator, Page

AS_SAID = "It went as the step says."
NOTHING = ("You saw nothing.", "It did not work.")
UNCHANGED = "Nothing has changed."


def press(page: Page, button: Locator) -> None:
    with page.expect_navigation():
        button.click()


def press_named(page: Page, name: str) -> None:
    press(page, page.get_by_role("button", name=name, exact=True).locator("visible=true").first)


def begin(page: Page, sheet: str, *faults: str) -> None:
    """Begin a rehearsal of a sheet, by its title, with faults, by their words."""
    page.goto("/rehearsals/")
    page.get_by_label("Run sheet").select_option(label=sheet)
    if faults:
        page.get_by_text("Choose the faults").click()
        for fault in faults:
            page.get_by_label(fault).check()
    form = page.locator('form[data-act="begin-rehearsal"]')
    press(page, form.get_by_role("button", name="Begin it"))


def begin_run(page: Page, *, here: tuple[int, ...] = (1, 2)) -> None:
    """Tick every need, count these keys as here, and begin the sheet."""
    for box in page.locator('input[name="needs"]').all():
        box.check()
    for number in here:
        page.locator(f'[name="key-{number}-present"]').check()
    press_named(page, "Begin the run sheet")


def read_shown(page: Page) -> str:
    """Return what the vehicle did last."""
    return " ".join(page.locator(".shown-say").all_inner_texts())


def carry_on(page: Page) -> str:
    """Do what is at hand and say what is true of it; return what that was, or "" at the end."""
    if page.locator(".rehearsal-over").count():
        return ""
    if page.locator(".no-return.point").count():
        page.locator('.no-return.point [name="sure"]').check()
        press(page, page.locator('form:has(input[name="kind"][value="confirmed"]) button').first)
        return "confirmed"
    if not page.locator(".deed-main").count():
        press_named(page, "Read the supply")
        return "read"
    press(page, page.locator(".deed-main button"))
    shown = read_shown(page)
    if page.locator('.moves input[name="kind"][value="chosen"]').count():
        named = page.locator(".moves").get_by_role("button", name=shown, exact=True)
        press(page, named if named.count() else page.locator(".moves button").first)
        return "chosen"
    if shown in NOTHING:
        # Perhaps it was given while nobody looked.
        press_named(page, "Look again")
        shown = read_shown(page)
    expected = page.locator(".signal p")
    if shown == (expected.inner_text() if expected.count() else AS_SAID):
        press(page, page.locator(".moves > form button").first)
        return "done"
    page.locator(".did-not > summary").click()
    if not page.locator(".did-not button").count():
        give_up(page)
        return "gave up"
    named = page.locator(".did-not").get_by_role("button", name=shown.rstrip("."), exact=True)
    press(page, named if named.count() else page.locator(".did-not button").first)
    return "failed"


def give_up(page: Page) -> None:
    """Give the rehearsal up where the sheet knows no way on."""
    page.get_by_text("Give the rehearsal up").click()
    page.get_by_label("End this rehearsal here").check()
    press_named(page, "Give up")


def carry_to_end(page: Page, most: int = 80) -> list[str]:
    """Carry a rehearsal to its end; return what was done."""
    done: list[str] = []
    while (what := carry_on(page)) and len(done) < most:
        done.append(what)
    return done
