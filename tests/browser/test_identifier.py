"""Told the wrong identifier: the bench doubts, asks one more question, and ends at the right article."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import expect

from . import steps
from .conftest import Visitor

pytestmark = pytest.mark.browser

# The vehicle takes QUI-P5; the customer reads the identifier off a remote of another vehicle, QUI-R2.
RIGHT, TOLD = "QUI-P5", "9ZZQM-QMR523K"


def test_a_wrong_identifier_ends_in_the_right_article_after_one_more_question(
    visit: Callable[..., Visitor],
) -> None:
    counter = visit("petra")
    steps.open_job(counter)
    steps.record_authority(counter)
    steps.record_vehicle(counter, "Quillmoor", "Bulrush", 2017)
    steps.answer(counter, "fcc_id", TOLD, how="told")
    # It does not settle on what the identifier says, nor on anything else: it asks.
    expect(counter.page.get_by_role("button", name="Take QUI-R2", exact=True)).to_have_count(0)
    expect(counter.page.get_by_role("button", name=f"Take {RIGHT}", exact=True)).to_have_count(0)
    expect(counter.page.locator(".question .ask")).to_have_text("How many buttons has the remote?")
    steps.answer(counter, "button_count", "5")
    steps.take_settled(counter, RIGHT)
    key = counter.page.locator("#leg-key")
    expect(key).to_contain_text(RIGHT)
    expect(key).to_contain_text("settled", ignore_case=True)


def test_below_the_bar_taking_an_article_needs_a_reason_and_keeps_what_was_typed(
    visit: Callable[..., Visitor],
) -> None:
    counter = visit("petra")
    steps.open_job(counter)
    steps.record_authority(counter)
    steps.record_vehicle(counter, "Quillmoor", "Bulrush", 2017)
    page = counter.page
    page.get_by_text("Take an article for a reason of your own").click()
    form = page.locator('form[data-act="choose-article"]').last
    form.get_by_label("Article").fill("QUI-P4")
    with page.expect_navigation():
        form.get_by_role("button", name="Take it for this reason").click()
    form = page.locator('form[data-act="choose-article"]').last
    expect(form.get_by_label("Article")).to_have_value("QUI-P4")
    expect(form).to_contain_text("below the bar")
