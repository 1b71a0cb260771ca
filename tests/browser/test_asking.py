"""The bench asks: three questions to the article on a telephone, a question sent, a double press."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, ViewportSize, expect

from bittern.demo import PACK_DIR
from bittern.formats.packs import read_pack

from . import steps
from .conftest import PHONE, Visitor
from .scan import check_page

pytestmark = pytest.mark.browser

NARROW = ViewportSize(width=320, height=640)
LEAST_TARGET = 48
# Told by telephone without a number: the vehicle takes this article.
MAKE, MODEL, YEAR, ARTICLE, START = "Corrigell", "Backwater", "2025", "COR-P4", "push"
SHARING = """
  window.shared = null;
  navigator.canShare = (data) => data.files.every((file) => file.type === "image/png");
  navigator.share = async (data) => {
    const [file] = data.files;
    window.shared = { text: data.text, name: file.name, size: file.size };
  };
"""


def open_by_telephone(visitor: Visitor, *, year: str = YEAR) -> int:
    """Open a job whose vehicle is known by make, model and year alone."""
    number = steps.open_job(visitor)
    steps.record_authority(visitor)
    form = visitor.page.locator("#vehicle-form")
    form.get_by_label("Make").fill(MAKE)
    form.get_by_label("Model", exact=True).fill(MODEL)
    form.get_by_label("Model year").fill(year)
    form.get_by_label("Reason to accept it in doubt").fill("asked by telephone; the number is read later")
    visitor.send("record-vehicle", button="Record the vehicle")
    return number


def find_lead(page: Page) -> Locator:
    return page.locator("div.question")


def find_kind(page: Page) -> str:
    field = find_lead(page).locator('form[data-act="observe"] input[name="kind"]')
    return field.input_value() if field.count() else ""


def open_sheet(page: Page, kind: str) -> Locator:
    """Open what the customer is sent about ``kind``."""
    unfold(page, kind)
    sheet = page.locator("details.ask-customer", has=page.locator(f"#message-{kind}"))
    sheet.locator("> summary").click()
    expect(sheet.locator(f"#message-{kind}")).to_be_visible()
    return sheet


def unfold(page: Page, kind: str) -> None:
    """Open the question about ``kind`` where it is folded away."""
    if page.locator(f'.ask-folded:not([open]) [name="kind"][value="{kind}"]').count():
        page.locator(".ask-folded > summary").click()
    if page.locator(f"details#ask-{kind}:not([open])").count():
        page.locator(f"details#ask-{kind} > summary").click()


def check_screen(page: Page) -> None:
    """The page passes the scan, fits the narrowest screen, and what is pressed can be pressed with gloves."""
    check_page(page)
    page.set_viewport_size(NARROW)
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    targets = page.locator("main button:visible, main summary:visible, main a.button:visible")
    for target in targets.all():
        box = target.bounding_box()
        assert box
        assert box["height"] >= LEAST_TARGET - 0.5, target.inner_text()
    page.set_viewport_size(ViewportSize(width=PHONE["width"], height=PHONE["height"]))


def test_three_questions_on_a_telephone_lead_to_the_article(visit: Callable[..., Visitor]) -> None:
    counter = visit("petra", size=PHONE)
    page = counter.page
    number = open_by_telephone(counter)
    article = read_pack(PACK_DIR).articles[ARTICLE]
    truth = {"start": START, "button_count": str(len(article.buttons)), "fcc_id": article.fcc_id}
    asked = []
    while kind := find_kind(page):
        asked.append(kind)
        assert len(asked) <= 3, asked
        # The button under the sentence leads to the question, which says what it is worth.
        page.locator(".next-step .button").click()
        expect(find_lead(page).locator(".ask")).to_be_in_viewport()
        expect(find_lead(page).locator(".ask-worth")).to_contain_text(
            re.compile(r"expected to save [\d.]+ \w+; asking costs [\d.]+ \w+ \(.* min\)")
        )
        check_screen(page)
        if kind == "fcc_id":
            sheet = open_sheet(page, kind)
            check_screen(page)
            with page.expect_navigation():
                sheet.get_by_role("button", name="It is sent: wait for the answer").click()
            expect(page.locator("#waiting")).to_contain_text("FCC identifier, since")
            expect(page.locator(".next .say")).to_contain_text("Record the customer's answer")
            expect(find_lead(page).get_by_label("How do you know?")).to_have_value("read-aloud")
            check_screen(page)
        steps.answer(counter, kind, truth[kind])
    assert sorted(asked) == sorted(truth)
    expect(page.locator("#waiting")).to_have_count(0)
    expect(find_lead(page)).to_contain_text(article.title)
    check_screen(page)
    steps.take_settled(counter, ARTICLE)
    page.goto(f"/jobs/{number}/log/")
    expect(page.locator(".log")).to_contain_text("Asked the customer: “FCC identifier”.")


def test_what_cannot_go_together_is_said_and_can_be_struck(visit: Callable[..., Visitor]) -> None:
    technician = visit("tobin", size=PHONE)
    page = technician.page
    open_by_telephone(technician)
    article = read_pack(PACK_DIR).articles[ARTICLE]
    unfold(page, "fcc_id")
    steps.answer(technician, "fcc_id", article.fcc_id, how="seen")
    expect(page.locator(".ask-conflict")).to_have_count(0)
    other_mhz = "902.5" if article.frequency_hz != 902.5e6 else "315"
    unfold(page, "frequency_hz")
    steps.answer(technician, "frequency_hz", other_mhz, how="measured")
    conflicts = page.locator(".ask-conflict")
    expect(conflicts).to_contain_text("The identifier and the frequency cannot both be right for any article")
    expect(conflicts).to_contain_text(re.compile(r"most likely .* \(.* 100\)"))
    check_screen(page)
    with page.expect_navigation():
        conflicts.get_by_role("button", name=re.compile("Strike.*Frequency")).first.click()
    expect(page.locator(".ask-conflict")).to_have_count(0)
    expect(page.locator(".seen").first).to_contain_text(article.fcc_id)
    expect(page.locator(".seen").first).not_to_contain_text("MHz")


def test_the_message_is_copied_and_shared_with_its_picture(
    visit: Callable[..., Visitor], tmp_path: Path
) -> None:
    counter = visit("petra", size=PHONE)
    page = counter.page
    counter.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.add_init_script(SHARING)
    number = open_by_telephone(counter)
    sheet = open_sheet(page, "fcc_id")
    message = page.locator("#message-fcc_id").input_value()
    assert f"ob {number}: a question about your key." in message
    assert steps.CUSTOMER not in message
    sheet.get_by_role("button", name="Copy the message").click()
    expect(sheet.get_by_role("status")).to_contain_text("Copied.")
    assert page.evaluate("navigator.clipboard.readText()") == message
    with page.expect_download() as saving:
        sheet.get_by_role("link", name="Save the picture").click()
    saved = tmp_path / saving.value.suggested_filename
    saving.value.save_as(saved)
    assert saved.name == "where-to-look-fcc-id.png"
    sheet.get_by_role("button", name="Share message and picture").click()
    expect(sheet.get_by_role("status")).to_contain_text("Handed to the telephone.")
    shared = page.evaluate("window.shared")
    assert shared == {"text": message, "name": saved.name, "size": saved.stat().st_size}


def test_without_script_the_message_is_there_to_be_selected(visit: Callable[..., Visitor]) -> None:
    counter = visit("petra")
    number = open_by_telephone(counter)
    browser = counter.context.browser
    assert browser
    plain = browser.new_context(
        base_url=counter.server.address,
        java_script_enabled=False,
        storage_state=counter.context.storage_state(),
    )
    page = plain.new_page()
    page.goto(f"/jobs/{number}/")
    sheet = open_sheet(page, "fcc_id")
    expect(page.locator("#message-fcc_id")).to_have_value(re.compile("after “FCC ID”"))
    for name in ("Copy the message", "Share message and picture"):
        expect(sheet.get_by_role("button", name=name)).to_have_count(0)
    for name in ("Text message", "E-mail", "Save the picture"):
        expect(sheet.get_by_role("link", name=name)).to_be_visible()
    with page.expect_navigation():
        sheet.get_by_role("button", name="It is sent: wait for the answer").click()
    expect(page.locator("#waiting")).to_be_visible()
    plain.close()


def test_a_tap_fills_in_what_a_telephone_would_not_list(visit: Callable[..., Visitor]) -> None:
    counter = visit("petra", size=PHONE)
    page = counter.page
    open_by_telephone(counter)
    page.get_by_text("Take an article for a reason of your own").click()
    page.locator('[data-taps="f-choose-article-article"] button').last.click()
    value = page.locator('[data-taps="f-choose-article-article"] button').last.get_attribute("value")
    expect(page.locator("#f-choose-article-article")).to_have_value(str(value))
    expect(page.locator("#f-choose-article-article[list]")).to_have_count(0)


def test_a_double_press_sends_once(visit: Callable[..., Visitor]) -> None:
    counter = visit("petra")
    page = counter.page
    open_by_telephone(counter)
    form = page.locator(f'form[data-act="observe"]:has([name="kind"][value="{find_kind(page)}"])').first
    field = form.locator('[name="value"]').first
    if field.get_attribute("type") == "radio":
        field.check()
    else:
        field.fill("4")
    # Whatever is not held back here would be sent; for the test nothing is.
    page.evaluate("""() => {
      window.presses = [];
      window.addEventListener("submit", (event) => {
        window.presses.push(event.defaultPrevented ? "held back" : "sent");
        event.preventDefault();
      });
    }""")
    form.get_by_role("button", name="Record the answer").dblclick()
    assert page.evaluate("window.presses") == ["sent", "held back"]
