"""What a person does on each leg, as a test does it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Locator, Page, expect

from bittern.demo import PACK_DIR
from bittern.demo.numbers import make_number
from bittern.formats.packs import read_pack

from .conftest import Visitor

CUSTOMER = "Sorrel Fallowgate"
# Of an edge blade with eight cuts on one edge.
EDGE_ARTICLE = "QUI-H3"


def open_job(visitor: Visitor, *, customer: str = CUSTOMER, plate: str = "KE 481 B") -> int:
    page = visitor.page
    page.goto("/")
    page.get_by_role("link", name="New job").last.click()
    form = page.locator('form[data-act="open-job"]')
    form.get_by_label("One more key").check()
    form.get_by_label(re.compile("customer|name", re.I)).first.fill(customer)
    form.get_by_label(re.compile("plate", re.I)).fill(plate)
    visitor.send("open-job")
    found = re.search(r"/jobs/(\d+)/", page.url)
    assert found
    return int(found[1])


def record_authority(visitor: Visitor, *, holder: str = CUSTOMER) -> None:
    form = visitor.page.locator('form[data-act="record-authority"]')
    form.get_by_label("Photo identity of the person").check()
    form.get_by_label("Registration paper of the vehicle").check()
    form.get_by_label("Name that the papers show").fill(holder)
    form.get_by_label(re.compile("Local rules were considered")).check()
    visitor.send("record-authority")


def record_vehicle(visitor: Visitor, make: str, model: str, year: int, *, start: str = "push") -> str:
    number = make_number(read_pack(PACK_DIR), make, model, year, 4711, start)
    form = visitor.page.locator("#vehicle-form")
    form.get_by_label("Vehicle number").fill(number)
    form.get_by_role("button", name="Check the number").click()
    expect(visitor.page.locator("#number-study")).to_contain_text(model)
    form = visitor.page.locator("#vehicle-form")
    form.get_by_label("Make").fill(make)
    form.get_by_label("Model", exact=True).fill(model)
    form.get_by_label("Model year").fill(str(year))
    form.get_by_label("How it starts").select_option(start)
    visitor.send("record-vehicle", button="Record the vehicle")
    return number


def answer(visitor: Visitor, kind: str, value: str, *, how: str | None = None) -> None:
    """Answer the question of ``kind``, the one asked first or one of those folded below."""
    page = visitor.page
    form = page.locator(f'form[data-act="observe"]:has(input[name="kind"][value="{kind}"])').first
    if not form.is_visible():
        page.locator(f'details:has(form input[name="kind"][value="{kind}"]) > summary').first.click()
    field = form.locator('[name="value"], [name="mhz"]').first
    if field.get_attribute("type") in ("radio", "checkbox"):
        form.locator(f'[name="value"][value="{value}"]').check()
    else:
        field.fill(value)
    if how:
        form.locator('select[name="how"]').select_option(how)
    with page.expect_navigation():
        form.get_by_role("button", name="Record the answer").click()


def get_next(page: Page) -> str:
    """Return the sentence that says what to do next."""
    return page.locator(".next, #next").first.inner_text()


def take_settled(visitor: Visitor, article: str) -> None:
    button = visitor.page.get_by_role("button", name=f"Take {article}", exact=True)
    expect(button).to_be_visible()
    with visitor.page.expect_navigation():
        button.click()


def agree(visitor: Visitor) -> None:
    visitor.send("offer")
    form = visitor.page.locator('form[data-act="accept"]')
    form.locator('[name="accepted_how"][value="in-person"]').check()
    visitor.send("accept")


def begin_pairing(visitor: Visitor, keys: dict[str, bool]) -> None:
    """Tick every need, count the keys (name -> is it here; all of them worked) and begin the run sheet."""
    form = visitor.page.locator('form[data-act="begin-pairing"]')
    for box in form.locator('input[name="needs"]').all():
        box.check()
    for place, (name, present) in enumerate(keys.items(), start=1):
        form.locator(f'[name="key-{place}-name"]').fill(name)
        form.locator(f'[name="key-{place}-worked"]').select_option("yes")
        if present:
            form.locator(f'[name="key-{place}-present"]').check()
    if not all(keys.values()):
        form.locator('[name="customer_knows"]').check()
    visitor.send("begin-pairing")


def press(visitor: Visitor, form: Locator) -> None:
    """Press a form's button in the runner and wait until its script has sent what was done."""
    box = visitor.page.locator(".runner.carried")
    before = box.get_attribute("data-at") or ""
    form.locator("button").first.click()
    expect(box).not_to_have_attribute("data-at", before)
    await_sent(visitor.page)


def await_sent(page: Page) -> None:
    """Wait until the runner's script carries the run here and everything is sent."""
    expect(page.locator(".runner.carried .kept-line")).to_have_text("All sent.")
    if page.locator("[data-take-over]").count():
        # Another test has carried it in a browser of its own.
        page.locator("[data-take-over]").click()
        expect(page.locator("[data-aside]")).to_be_hidden()


def move_on(visitor: Visitor) -> str:
    """Take the step at hand as working; return its sentence, or "" at the end."""
    page = visitor.page
    if page.locator(".step-say").count() == 0 and page.locator(".no-return.point").count() == 0:
        return ""
    await_sent(page)
    if page.locator(".no-return.point").count():
        said = page.locator(".no-return.point").inner_text()
        page.locator('.no-return.point [name="sure"]').check()
        press(visitor, page.locator('form:has(input[name="kind"][value="confirmed"])').first)
        return said
    said = page.locator(".step-say").inner_text()
    if page.locator('[name="volts"]').count():
        page.locator('[name="volts"]').fill("12.6")
        press(visitor, page.locator('form:has([name="volts"])').first)
        return said
    press(visitor, page.locator(".moves form").first)
    return said


def prove_all(visitor: Visitor) -> int:
    """Answer every test as passed; return how many there were."""
    page = visitor.page
    total = page.locator("li.test").count()
    for _ in range(total):
        # Those that passed are folded away; when the last has passed the leg is settled and closes.
        button = page.locator("li.test button:visible", has_text="It passed").first
        if not button.count():
            break
        with page.expect_navigation():
            button.click()
    return total


def sign(visitor: Visitor, *, name: str = CUSTOMER) -> None:
    page = visitor.page
    form = page.locator('form[data-act="sign"]')
    form.get_by_label("Keys handed over").fill("2")
    form.get_by_label("Payment reference").fill("P-4711")
    form.get_by_label("Name of the person who signs").fill(name)
    pad = form.locator("canvas.pad")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box
    page.mouse.move(box["x"] + 30, box["y"] + 40)
    page.mouse.down()
    for place in range(12):
        page.mouse.move(box["x"] + 30 + 15 * place, box["y"] + 40 + 25 * (place % 2))
    page.mouse.up()
    with page.expect_navigation():
        form.locator("button.main").click()


def take_article(visitor: Visitor, article: str) -> None:
    """Take an article in doubt, with a reason."""
    form = visitor.page.locator('form[data-act="choose-article"]').last
    if not form.is_visible():
        visitor.page.locator('details:has(form[data-act="choose-article"]) > summary').last.click()
    form.locator('[name="article"]').fill(article)
    form.locator('[name="because"]').fill("the customer showed its twin")
    with visitor.page.expect_navigation():
        form.locator("button:not([type=button])").last.click()


def carry_to_edge_blade(visitor: Visitor) -> int:
    """Carry a job to the accepted promise of an article with an edge blade of eight cuts."""
    number = open_job(visitor)
    record_authority(visitor)
    record_vehicle(visitor, "Quillmoor", "Whimbrel", 2012, start="turn")
    take_article(visitor, EDGE_ARTICLE)
    agree(visitor)
    return number


def check_fits(page: Page) -> None:
    """Fail where the page is wider than the screen."""
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"{page.url} is {wide} pixels too wide"


@contextmanager
def without_script(visitor: Visitor) -> Iterator[Page]:
    """Give a page of the same person in which no script runs."""
    context = visitor.context.browser.new_context(  # type: ignore[union-attr]
        java_script_enabled=False,
        base_url=visitor.server.address,
        storage_state=visitor.context.storage_state(),
    )
    yield context.new_page()
    context.close()
