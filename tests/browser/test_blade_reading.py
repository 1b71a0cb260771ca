"""The old key scanned, read, measured again at one cut, its bitting taken; what cannot be read is refused."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from playwright.sync_api import Page, expect

from bittern.demo import PACK_DIR
from bittern.formats.packs import read_pack
from bittern.work.blade_picture import read_blade_picture
from tests.key_pictures import scan_key, soil

from . import camera, scan, steps
from .conftest import DESKTOP, PHONE, Visitor

pytestmark = pytest.mark.browser

Visit = Callable[..., Visitor]
READ_MS = 60_000
BLADE, BITTING = "heron-8", "2 1 3 4 2 2 1 3"
CUT, HEIGHT = 4, "6.19"


@pytest.fixture(scope="module")
def dirty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a scan of a key with dirt in one cut, so much that the engines doubt it."""
    standard = read_pack(PACK_DIR).blades[BLADE]
    clean = scan_key(standard, BITTING, seed=5, turned_over=False)
    for width_mm in (1.6, 1.65, 1.7, 1.75, 1.55):
        png = soil(clean, CUT - 1, width_mm)
        if read_blade_picture(png, (standard,), dpi=600).measurement.cuts[CUT - 1].doubt:
            break
    else:
        raise AssertionError("no amount of dirt makes the cut doubtful")
    path = tmp_path_factory.mktemp("keys") / "old key.png"
    path.write_bytes(png)
    return path


@pytest.fixture(scope="module")
def coin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a scan of a coin."""
    rng = np.random.default_rng(3)
    grey = np.full((900, 1100), 215.0)
    cv2.circle(grey, (560, 430), 270, 120.0, -1, cv2.LINE_AA)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.0) + 3 * rng.standard_normal(grey.shape)
    path = tmp_path_factory.mktemp("coins") / "coin.png"
    path.write_bytes(cv2.imencode(".png", grey.clip(0, 255).astype(np.uint8))[1].tobytes())
    return path


def send(page: Page, path: Path, *, dpi: str = "") -> None:
    summary = page.get_by_text("Scan it on a flatbed")
    field = page.get_by_label("The scan", exact=True)
    if not field.is_visible():
        summary.click()
    field.set_input_files(path)
    if dpi:
        page.get_by_label("Dots per inch of the scan").fill(dpi)
    page.get_by_role("button", name="Read the scan").click()


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_a_scan_is_read_one_cut_measured_again_and_its_bitting_taken(
    size: dict[str, int], visit: Visit, dirty: Path
) -> None:
    technician = visit("tobin", size=size)
    page = technician.page
    number = steps.carry_to_edge_blade(technician)
    send(page, dirty)
    expect(page).to_have_url(re.compile("/blade-reading/"))
    result = page.locator("#reading")
    # What was read opens by itself for the one who sent it.
    expect(result).to_contain_text("Do not cut by this yet", timeout=READ_MS)
    expect(result).to_contain_text(f"Measure cut {CUT} again with the caliper, 12.00 mm from the shoulder.")
    expect(result.locator(".key-ring")).to_have_count(1)
    assert result.locator("image").evaluate("node => node.getBBox().width") > 20
    expect(result.get_by_role("button", name="Take this bitting", exact=True)).to_have_count(0)
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, "blade-doubt")

    page.get_by_label(f"Cut {CUT} in mm").fill(HEIGHT)
    page.get_by_role("button", name="Weigh it in").click()
    expect(result).to_contain_text("Nothing speaks against it", timeout=READ_MS)
    expect(result.locator(".bitting")).to_have_text(BITTING)
    expect(result.locator(".key-ring")).to_have_count(0)
    expect(result.locator("tr", has_text="with the caliper")).to_contain_text(HEIGHT)
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, "blade-reading")

    # Nothing is lost by a reload.
    page.reload()
    expect(result.locator(".bitting")).to_have_text(BITTING, timeout=READ_MS)
    expect(result).to_contain_text("with the caliper")
    with page.expect_navigation():
        page.get_by_role("button", name="Take this bitting", exact=True).click()
    expect(page.locator("#leg-blade")).to_contain_text("A bitting is on record, read from a picture")
    page.goto(f"/jobs/{number}/log/")
    for words in ("Began to read the old key from a scan", f"again: cut {CUT}.", "Sealed the bitting (read)"):
        expect(page.locator("main")).to_contain_text(words)
    assert BITTING not in page.content()


def test_a_page_reloaded_in_the_middle_finds_the_run_again(visit: Visit, dirty: Path) -> None:
    technician = visit("tobin")
    page = technician.page
    number = steps.carry_to_edge_blade(technician)
    send(page, dirty)
    # Away while it is read, or just after: the leg leads back.
    page.goto(f"/jobs/{number}/?leg=blade")
    page.get_by_role("link", name=re.compile("See how far it is|Show what was read")).click()
    page.reload()
    expect(page.locator("#reading")).to_contain_text("Do not cut by this yet", timeout=READ_MS)
    with page.expect_navigation():
        page.get_by_role("button", name="Throw this reading away").click()
    expect(page.locator("#leg-blade")).to_contain_text("Or read the old key from a picture")


def test_a_coin_is_refused_with_a_sentence(visit: Visit, coin: Path) -> None:
    technician = visit("tobin", size=PHONE)
    page = technician.page
    steps.carry_to_edge_blade(technician)
    send(page, coin, dpi="600")
    refused = page.locator("#reading .problem")
    expect(refused).to_contain_text("The picture was not read", timeout=READ_MS)
    expect(refused).to_contain_text(re.compile("Found .+; expected .+"))
    # The way on stands below it, with what was typed.
    expect(page.get_by_label("Dots per inch of the scan")).to_have_value("600")
    expect(page.get_by_role("button", name="Take this bitting")).to_have_count(0)
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, "blade-refused")


def test_in_the_dark_the_reading_can_be_read_as_well(visit: Visit, dirty: Path) -> None:
    technician = visit("tobin")
    page = technician.page
    page.emulate_media(color_scheme="dark")
    steps.carry_to_edge_blade(technician)
    page.get_by_text("Scan it on a flatbed").click()
    page.get_by_text("Photograph it on the measuring card").click()
    scan.check_page(page)
    send(page, dirty)
    expect(page.locator("#reading")).to_contain_text("Do not cut by this yet", timeout=READ_MS)
    page.locator("summary", has_text="Another cut").click()
    page.locator("summary", has_text="Take it although it is in doubt").click()
    scan.check_page(page)


def test_without_script_a_scan_is_read_as_well(visit: Visit, dirty: Path) -> None:
    technician = visit("tobin")
    number = steps.carry_to_edge_blade(technician)
    with steps.without_script(technician) as page:
        page.goto(f"/jobs/{number}/?leg=blade")
        send(page, dirty)
        for _ in range(60):
            if page.get_by_role("button", name="Show what was read").count():
                break
            page.get_by_role("link", name="Look again").click(timeout=READ_MS)
        page.get_by_role("button", name="Show what was read").click()
        page.get_by_label(f"Cut {CUT} in mm").fill(HEIGHT)
        page.get_by_role("button", name="Weigh it in").click()
        expect(page.locator("#reading .bitting")).to_have_text(BITTING)
