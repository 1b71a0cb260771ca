"""Every page that the journey does not visit, light and dark: open to everybody, and fit for a phone."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import pytest
from django.template.loader import render_to_string
from playwright.sync_api import Browser, Page, StorageState, expect

from . import scan, steps
from .conftest import DESKTOP, PHONE, DemoServer, Visitor

pytestmark = pytest.mark.browser

NARROW = {"width": 320, "height": 700}
# In the demo this job is closed, and that one waits for its proof: every leg before it is settled.
CLOSED, SETTLED = 5, 46
LEGS = ("request", "vehicle", "key", "promise", "blade", "pairing", "proof", "handover")


@pytest.fixture(scope="module")
def logins(browser: Browser, server: DemoServer) -> dict[str, StorageState | None]:
    """Return the browser's state for each login, with nobody at ""."""
    states: dict[str, StorageState | None] = {"": None}
    for login in ("isolde", "tobin", "petra"):
        visitor = Visitor(browser, server, login, DESKTOP)
        states[login] = visitor.context.storage_state()
        visitor.context.close()
    return states


@pytest.fixture(scope="module")
def withdrawn(browser: Browser, server: DemoServer) -> int:
    """Return the number of a job that was withdrawn."""
    visitor = Visitor(browser, server, "petra", DESKTOP)
    number = steps.open_job(visitor)
    visitor.page.get_by_text("Withdraw this job").click()
    visitor.page.get_by_label("Why does the job end here?").fill("The key was under the seat.")
    visitor.page.get_by_label("End this job unfinished").check()
    visitor.send("withdraw")
    visitor.context.close()
    return number


def press(page: Page, name: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=name, exact=True).first.click()


def refuse_login(page: Page) -> None:
    page.goto("/login/")
    page.get_by_label("Login name").fill("tobin-of-old")
    page.get_by_label("Password", exact=True).fill("not this one")
    press(page, "Log in")
    expect(page.get_by_role("heading", name="Not logged in")).to_be_visible()
    expect(page.get_by_label("Login name")).to_have_value("tobin-of-old")


def lock_out(page: Page) -> None:
    for place in range(5):
        page.goto("/login/")
        page.get_by_label("Login name").fill("sedge-warbler")
        page.get_by_label("Password", exact=True).fill(f"guess {place}")
        press(page, "Log in")
    expect(page.get_by_role("heading", name="Too many wrong passwords")).to_be_visible()


def let_form_grow_old(page: Page) -> None:
    page.goto("/login/")
    page.context.clear_cookies()
    press(page, "Log in")
    expect(page.get_by_role("heading", name="The form was too old")).to_be_visible()


def open_empty(page: Page) -> None:
    page.goto("/jobs/new/")
    press(page, "Open the job")
    expect(page.get_by_role("alert")).to_contain_text("2 entries")


def find_nothing(page: Page) -> None:
    page.goto("/search?q=zzzz")
    expect(page.get_by_role("heading", name="Nothing found")).to_be_visible()


def doubt_number(page: Page) -> None:
    page.goto("/jobs/42/")
    # Published example with one character misread, 8 as B: its check digit does not agree.
    page.get_by_label("Vehicle number", exact=True).fill("1MBGDM9AXKP042788")
    page.get_by_role("button", name="Check the number").click()
    expect(page.get_by_role("button", name="1M8GDM9AXKP042788")).to_be_visible()


def add_nobody(page: Page) -> None:
    page.goto("/people/")
    page.get_by_label("Login name").fill("with space")
    press(page, "Add this person")
    expect(page.get_by_label("Login name")).to_have_value("with space")


def open_person(page: Page) -> None:
    page.goto("/people/wren/")
    for summary in page.locator("main summary").all():
        summary.click()


def shut_out_too_soon(page: Page) -> None:
    page.goto("/people/wren/")
    page.get_by_text("End access", exact=True).click()
    press(page, "End the access of Wren Sallow")
    expect(page.get_by_role("alert")).to_contain_text("expected a tick")


def keep_own_password(page: Page) -> None:
    page.goto("/password/")
    press(page, "Change my password")
    expect(page.get_by_role("alert")).to_contain_text("3 entries")


def show_chart(page: Page) -> None:
    page.goto(f"/jobs/{SETTLED}/?leg=blade")
    press(page, "Open the seal and show the chart")
    expect(page.locator(".chart svg")).to_be_visible()


def take_another(page: Page) -> None:
    page.goto(f"/jobs/{SETTLED}/?leg=key")
    page.get_by_text("Take an article for a reason of your own").click()
    form = page.locator('form[data-act="choose-article"]').last
    form.get_by_label("Article", exact=True).fill("YAR-P4")
    with page.expect_navigation():
        form.get_by_role("button", name="Take it for this reason").click()
    expect(page.get_by_role("alert")).to_contain_text("expected a tick")


def open_map(page: Page) -> None:
    page.goto("/jobs/45/pairing/")
    page.get_by_text("Map of the run sheet").click()
    expect(page.locator("#map-here")).to_be_in_viewport()


def go(address: str) -> Callable[[Page], None]:
    """Return a visit of ``address``."""

    def visit_it(page: Page) -> None:
        page.goto(address)

    return visit_it


def break_down(template: str) -> Callable[[Page], None]:
    """Return a visit that is answered with the page for a mistake of the bench itself."""

    def visit_it(page: Page) -> None:
        words = render_to_string(template)
        page.route("**/broken/", lambda route: route.fulfill(body=words, content_type="text/html"))
        page.goto("/broken/")

    return visit_it


# Name, who looks, how they get there.
SCREENS: dict[str, tuple[str, Callable[[Page], None]]] = {
    "login": ("", go("/login/")),
    "login-refused": ("", refuse_login),
    "locked-out": ("", lock_out),
    "form-too-old": ("", let_form_grow_old),
    "today": ("tobin", go("/")),
    "search": ("tobin", go("/search")),
    "search-found": ("tobin", go("/search?q=marsh")),
    "search-nothing": ("tobin", find_nothing),
    "new-job-empty": ("petra", open_empty),
    "number-in-doubt": ("petra", doubt_number),
    "another-article": ("tobin", take_another),
    "chart": ("tobin", show_chart),
    "map": ("tobin", open_map),
    "people": ("isolde", go("/people/")),
    "people-mistake": ("isolde", add_nobody),
    "person": ("isolde", open_person),
    "person-mistake": ("isolde", shut_out_too_soon),
    "own-password": ("petra", keep_own_password),
    "shop": ("isolde", go("/shop/")),
    "closed": ("petra", go(f"/jobs/{CLOSED}/")),
    "log": ("petra", go(f"/jobs/{CLOSED}/log/")),
    "not-for-this-role": ("petra", go("/people/")),
    "no-such-page": ("petra", go("/nowhere/")),
    "no-such-job": ("petra", go("/jobs/99999/")),
    "not-yet": ("petra", go("/jobs/41/handover.pdf")),
    "unreadable": ("petra", break_down("400.html")),
    "broken": ("petra", break_down("500.html")),
    **{f"settled-{leg}": ("tobin", go(f"/jobs/{SETTLED}/?leg={leg}")) for leg in LEGS},
}


def check_widths(page: Page) -> None:
    """Fail if the page itself must be scrolled sideways on a phone, or where WCAG 1.4.10 asks for reflow."""
    for size in (PHONE, NARROW):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over <= 0, f"{page.url} is {over} px too wide at {size['width']} px"


def check_dark(page: Page) -> None:
    """Fail if a contrast is too weak in the dark scheme; all but the colours was scanned in the light one."""
    page.emulate_media(color_scheme="dark")
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert sum(map(int, re.findall(r"\d+", paper)[:3])) < 200
    scan.check_page(page, rules=("color-contrast",))


@pytest.fixture
def look(
    browser: Browser, server: DemoServer, logins: dict[str, StorageState | None]
) -> Iterator[Callable[[str], Page]]:
    contexts = []

    def enter(login: str) -> Page:
        context = browser.new_context(
            viewport=DESKTOP,  # type: ignore[arg-type]
            base_url=server.address,
            storage_state=logins[login],
            color_scheme="light",
            reduced_motion="reduce",
        )
        context.set_default_timeout(30_000)
        contexts.append(context)
        return context.new_page()

    yield enter
    for context in contexts:
        context.close()


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_is_open_to_everybody_and_fits_a_phone(look: Callable[[str], Page], name: str) -> None:
    login, get_there = SCREENS[name]
    page = look(login)
    get_there(page)
    # Scanned at the narrow size, where all that can wrap has wrapped.
    check_widths(page)
    scan.check_page(page)
    check_dark(page)


def test_a_withdrawn_job_is_open_to_everybody_and_fits_a_phone(
    look: Callable[[str], Page], withdrawn: int
) -> None:
    page = look("petra")
    page.goto(f"/jobs/{withdrawn}/")
    expect(page.get_by_text("This job ended early.")).to_be_visible()
    check_widths(page)
    scan.check_page(page)
    check_dark(page)


def test_text_twice_as_large_loses_nothing(look: Callable[[str], Page]) -> None:
    page = look("tobin")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    for address in ("/", "/jobs/new/", "/jobs/42/", f"/jobs/{SETTLED}/?leg=handover", f"/jobs/{CLOSED}/log/"):
        page.goto(address)
        page.evaluate("document.documentElement.style.fontSize = '212.5%'")
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over <= 0, f"{address} is {over} px too wide with text twice as large"


def test_on_a_phone_the_next_step_fills_the_screen_and_leads_straight_to_its_form(
    look: Callable[[str], Page],
) -> None:
    page = look("tobin")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    for number, place in ((41, "Which papers did you see?"), (42, "Vehicle number"), (44, "Who agreed?")):
        page.goto(f"/jobs/{number}/")
        button = page.locator(".next-step .button")
        expect(button).to_be_in_viewport(ratio=1)
        expect(page.get_by_text(place, exact=True)).not_to_be_in_viewport()
        button.click()
        expect(page.get_by_text(place, exact=True)).to_be_in_viewport(ratio=1)
    page.goto("/jobs/45/")
    page.locator(".next-step .button").click()
    expect(page).to_have_url(re.compile(r"/jobs/45/pairing/$"))


def test_the_browser_has_nothing_to_say_about_the_headers(look: Callable[[str], Page]) -> None:
    page, said = look(""), []
    page.on("console", lambda message: said.append(message.text))
    page.goto("/login/")
    page.get_by_role("heading", name="Log in").wait_for()
    assert said == []


def test_a_password_can_be_looked_at_and_is_sent_as_a_password(look: Callable[[str], Page]) -> None:
    page = look("")
    page.goto("/login/")
    field = page.get_by_label("Password", exact=True)
    field.fill("cold-fingers")
    page.get_by_role("button", name="Show what I type").click()
    expect(field).to_have_attribute("type", "text")
    page.get_by_role("button", name="Show what I type").click()
    expect(field).to_have_attribute("type", "password")
    expect(field).to_have_value("cold-fingers")


FOCUS = """() => {
  const one = document.activeElement, style = getComputedStyle(one), box = one.getBoundingClientRect();
  return {
    name: `${one.tagName} ${one.textContent.trim().slice(0, 40)}`,
    drawn: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
    seen: box.width > 0 && box.height > 0 && box.bottom > 0 && box.top < innerHeight && box.right > 0,
  };
}"""


def tab_to(page: Page, selector: str, most: int = 80) -> None:
    """Press Tab until the first match of ``selector`` has the focus; every stop on the way is visible."""
    for _ in range(most):
        page.keyboard.press("Tab")
        stop = page.evaluate(FOCUS)
        assert stop["drawn"], f"no outline on {stop['name']}"
        assert stop["seen"], f"focus out of sight on {stop['name']}"
        if page.evaluate("(wanted) => document.activeElement === document.querySelector(wanted)", selector):
            return
    raise AssertionError(f"{selector} was not reached by Tab")


def send_by(page: Page, key: str) -> None:
    with page.expect_navigation():
        page.keyboard.press(key)


def test_proof_is_answered_by_keyboard_alone(look: Callable[[str], Page]) -> None:
    page = look("tobin")
    page.goto(f"/jobs/{SETTLED}/")
    left = re.compile(r"(\d+) of \d+ still to pass")
    before = int(left.findall(page.locator("#leg-proof").inner_text())[0])
    tab_to(page, 'li.test button[name="result"][value="passed"]')
    send_by(page, "Enter")
    assert int(left.findall(page.locator("#leg-proof").inner_text())[0]) == before - 1
    tab_to(page, "li.test details.it-failed > summary")
    page.keyboard.press("Space")
    tab_to(page, "li.test details.it-failed textarea")
    page.keyboard.type("The boot lid stays shut")
    tab_to(page, "li.test details.it-failed form button")
    send_by(page, "Enter")
    expect(page.locator("#leg-proof")).to_contain_text("The boot lid stays shut")


def test_the_run_sheet_is_walked_by_keyboard_alone(look: Callable[[str], Page]) -> None:
    page = look("tobin")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    for _ in range(2):
        page.goto("/jobs/45/pairing/")
        steps.await_sent(page)
        before = page.locator("main").inner_text()
        if page.locator(".no-return.point").count():
            tab_to(page, '.no-return.point input[name="sure"]')
            page.keyboard.press("Space")
            tab_to(page, ".no-return.point form button")
        elif page.locator('input[name="volts"]').count():
            tab_to(page, 'input[name="volts"]')
            page.keyboard.type("12.6")
        else:
            tab_to(page, ".moves form button")
        page.keyboard.press("Enter")
        expect(page.locator("main")).not_to_have_text(before, use_inner_text=True)
