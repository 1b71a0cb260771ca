"""The cut key inspected in the browser: a wrong one wasted, a right one recorded, a line on the Proof leg."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from bittern.demo import PACK_DIR
from bittern.formats.packs import read_pack
from tests.key_pictures import scan_finished

from . import camera, scan, steps
from .conftest import DESKTOP, PHONE, Visitor

pytestmark = pytest.mark.browser

Visit = Callable[..., Visitor]
BITTING, CUTTER = "2 1 3 4 2 2 1 3", "wheel-84"


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return scans of a good key and of one that did not lie against its stop."""
    pack = read_pack(PACK_DIR)
    standard = pack.blades[pack.articles[steps.EDGE_ARTICLE].blade]
    folder = tmp_path_factory.mktemp("cut keys")
    found = {}
    drawn = (("good", "good", 0.0, 600), ("shifted", "shifted", 0.4, 600), ("coarse", "good", 0.0, 300))
    for name, kind, amount, dpi in drawn:
        found[name] = folder / f"{name}.png"
        found[name].write_bytes(scan_finished(standard, BITTING, kind, amount, dpi=dpi).png)
    return found


def cut(page: Page) -> None:
    """Record a cut by hand."""
    page.locator("summary", has_text="Record the cut").click()
    form = page.locator('form[data-act="record-cut"]')
    form.get_by_label(CUTTER).check()
    form.locator('[name="eyes"]').check()
    form.locator('[name="guard"]').check()
    with page.expect_navigation():
        form.get_by_role("button", name="Record that it is cut").click()


def inspect(page: Page, path: Path) -> None:
    page.locator("summary", has_text="Scan the cut key on a flatbed").click()
    page.get_by_label("The scan", exact=True).locator("visible=true").set_input_files(path)
    with page.expect_navigation():
        page.get_by_role("button", name="Inspect the scan").click()


def look_over(page: Page, name: str) -> None:
    steps.check_fits(page)
    scan.check_page(page)
    camera.take(page, name)


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_a_wrong_key_is_wasted_and_a_right_one_recorded(
    size: dict[str, int], visit: Visit, keys: dict[str, Path]
) -> None:
    technician = visit("tobin", size=size)
    page = technician.page
    number = steps.carry_to_edge_blade(technician)
    page.get_by_label("Bitting", exact=True).fill(BITTING)
    with page.expect_navigation():
        page.get_by_role("button", name="Seal this bitting").click()
    cut(page)
    look_over(page, "inspection-leg")
    inspect(page, keys["shifted"])
    expect(page.get_by_role("heading", level=1)).to_have_text("The key is wrong")
    expect(page.locator(".read-again")).to_contain_text("stop")
    look_over(page, "inspection-wrong")
    page.get_by_label("What went wrong").fill("It did not lie against its stop.")
    with page.expect_navigation():
        page.get_by_role("button", name="This blank is wasted").click()
    expect(page.locator("#leg-blade")).to_contain_text("Blanks wasted: 1.")
    cut(page)
    inspect(page, keys["good"])
    expect(page.get_by_role("heading", level=1)).to_have_text("The key is right")
    assert page.locator(".key-drawing image").evaluate("node => node.getBBox().width") > 20
    look_over(page, "inspection-right")
    with page.expect_navigation():
        page.get_by_role("button", name="It fits", exact=True).click()
    page.goto(f"/jobs/{number}/?leg=proof")
    expect(page.locator("#leg-proof")).to_contain_text("measured from a scan: all 8 cuts within 0.05 mm")
    look_over(page, "inspection-proof")
    page.goto(f"/jobs/{number}/log/")
    expect(page.locator("main")).to_contain_text("Measured the cut key from a scan: fail; seen: shifted.")
    assert BITTING not in page.content()


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_a_verdict_left_open_is_settled_with_the_caliper(
    size: dict[str, int], visit: Visit, keys: dict[str, Path]
) -> None:
    technician = visit("tobin", size=size)
    page = technician.page
    steps.carry_to_edge_blade(technician)
    page.get_by_label("Bitting", exact=True).fill(BITTING)
    with page.expect_navigation():
        page.get_by_role("button", name="Seal this bitting").click()
    cut(page)
    inspect(page, keys["coarse"])
    expect(page.get_by_role("heading", level=1)).to_have_text("The picture cannot tell")
    # Each open cut is named once.
    expect(page.locator(".read-again li", has_text="caliper")).to_have_count(
        page.locator('form[data-act="inspect-key"] [name^="reading-"]').count()
    )
    look_over(page, "inspection-open")
    again = page.locator('form[data-act="inspect-key"]')
    standard = read_pack(PACK_DIR).blades["heron-8"]
    for place, label in enumerate(BITTING.split(), start=1):
        field = again.locator(f'[name="reading-{place}"]')
        if field.count():
            field.fill(f"{standard.depths_mm[standard.labels.index(label)]:.2f}")
    again.get_by_label("The caliper's plus-minus").fill("0.01")
    again.get_by_label("The same picture").set_input_files(keys["coarse"])
    again.scroll_into_view_if_needed()
    camera.take(page, "inspection-caliper")
    with page.expect_navigation():
        again.get_by_role("button", name="Weigh it in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("The key is right")
    expect(page.locator("main")).to_contain_text("and with the caliper at cut")
    look_over(page, "inspection-weighed")


def test_what_is_no_key_gives_a_sentence_and_no_verdict(visit: Visit, tmp_path: Path) -> None:
    technician = visit("tobin", size=PHONE)
    page = technician.page
    steps.carry_to_edge_blade(technician)
    page.get_by_label("Bitting", exact=True).fill(BITTING)
    with page.expect_navigation():
        page.get_by_role("button", name="Seal this bitting").click()
    cut(page)
    broken = tmp_path / "broken.png"
    broken.write_bytes(b"\x89PNG\r\n\x1a\n broken off")
    inspect(page, broken)
    expect(page.locator("main")).to_contain_text("picture")
    assert page.get_by_role("heading", name="The key is right").count() == 0
    look_over(page, "inspection-refused")
