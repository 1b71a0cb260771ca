"""A wrong character in a vehicle number: marked, corrected by a click, recorded."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from bittern.demo import PACK_DIR
from bittern.demo.numbers import make_number
from bittern.formats.packs import read_pack

from . import steps
from .conftest import DESKTOP, Visitor
from .scan import check_page

pytestmark = pytest.mark.browser

NARROW = {"width": 320, "height": 700}
RIGHT = make_number(read_pack(PACK_DIR), "Quillmoor", "Oxbow", 2021, 4811)
PLACE = RIGHT.index("8", 11) + 1
WRONG = RIGHT[: PLACE - 1] + "B" + RIGHT[PLACE:]


def find_overflow(page: Page) -> int:
    return int(page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))


@pytest.mark.parametrize("size", [DESKTOP, NARROW], ids=["desktop", "narrow"])
def test_a_wrong_character_is_corrected_by_a_click_and_recorded(
    visit: Callable[..., Visitor], size: dict[str, int]
) -> None:
    visitor = visit("petra", size)
    page = visitor.page
    steps.open_job(visitor)
    steps.record_authority(visitor)
    field = page.locator("#vehicle-form").get_by_label("Vehicle number")
    field.press_sequentially(WRONG)
    study = page.locator("#number-study")
    expect(study).to_contain_text("cannot be right as it stands")
    expect(study.locator("mark.doubtful")).to_have_text("B")
    expect(study.locator("#doubtful-places")).to_contain_text(f"Position {PLACE} is the likeliest slip")
    expect(field).to_have_value(WRONG)
    first = study.get_by_role("button", name=RIGHT)
    expect(first).to_have_accessible_description(re.compile(f"Position {PLACE}: B → 8.*Quillmoor Oxbow 2021"))
    assert find_overflow(page) <= 0
    check_page(page)
    first.click()
    expect(page.locator("#vehicle-form").get_by_label("Vehicle number")).to_have_value(RIGHT)
    expect(study).to_contain_text("The check digit agrees")
    page.get_by_role("button", name="Fill in what it says").click()
    expect(page.locator("#vehicle-form").get_by_label("Make")).to_have_value("Quillmoor")
    visitor.send("record-vehicle", button="Record the vehicle")
    expect(page.locator("#leg-vehicle")).to_contain_text(RIGHT)


def test_how_the_number_came_is_weighed_again(visit: Callable[..., Visitor]) -> None:
    visitor = visit("petra")
    page = visitor.page
    steps.open_job(visitor)
    steps.record_authority(visitor)
    form = page.locator("#vehicle-form")
    form.get_by_label("Vehicle number").fill(WRONG)
    chance = page.locator("#number-study .candidates .chance-figure").first
    expect(chance).to_be_visible()
    seen = chance.inner_text()
    form.get_by_label("How the number came").select_option("told")
    expect(chance).not_to_have_text(seen)
