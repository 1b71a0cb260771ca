"""The pages around a run sheet, on a telephone: list, sheet, file taken in, difference, runs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from bittern.demo import PACK_DIR
from bittern.formats.packs import read_pack
from bittern.formats.runsheets import write_runsheet

from . import camera, scan, steps
from .conftest import PHONE, Visitor

pytestmark = pytest.mark.browser
SHEET = "tide-push-pair"


def look_over(page: Page, name: str) -> None:
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, name)


def test_a_file_is_taken_in_and_compared_and_what_runs_say_is_shown(
    visit: Callable[..., Visitor], tmp_path: Path
) -> None:
    page = visit("tobin", PHONE).page
    page.goto("/run-sheets/")
    look_over(page, "sheets")
    sheet = read_pack(PACK_DIR).runsheets[SHEET]
    first = sheet.steps[sheet.start]
    changed = replace(first, say=f"Chock a wheel. {first.say}", slowest_s=first.slowest_s + 30)
    file = tmp_path / "own.toml"
    file.write_text(write_runsheet(replace(sheet, steps={**sheet.steps, first.id: changed})))
    page.get_by_label("Run sheet as TOML").set_input_files(file)
    page.get_by_role("button", name="Read this file").click()
    expect(page.get_by_text("Read in as version")).to_be_visible()
    expect(page.get_by_role("heading", name="What matters most")).to_be_visible()
    look_over(page, "sheet")
    page.get_by_role("link", name="All of it, line by line").click()
    expect(page.locator("main")).to_contain_text("Chock a wheel.")
    look_over(page, "sheet-difference")
    page.goto("/run-sheets/marsh-turn-pair/runs/")
    expect(page.get_by_role("button", name="Take what is ticked as a new version")).to_be_visible()
    look_over(page, "sheet-runs")
    page.get_by_role("button", name="Take what is ticked as a new version").click()
    expect(page.locator("fieldset.is-wrong")).to_contain_text("at least one")
