"""A supplier's faulty list: its columns put right, imported, found by a job, undone."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from . import scan, steps
from .conftest import PHONE, Visitor

pytestmark = pytest.mark.browser

Visit = Callable[..., Visitor]
NARROW = {"width": 320, "height": 700}
# The last column's name says nothing, and row 6 has an identifier that cannot be.
FAULTY = """Moorland Parts;;;;;;;;
Art.-Nr.;Bezeichnung;FCC ID;Frequenz;Tasten;Marke;Modell;Baujahr;Betrag
ML-123;Klappschlüssel;9ZZMR-TL565K;433,92 MHz;Zu / Auf / Kofferraum;Moorhen;Teal;2014–2018;€ 12,50
ML-124;Handsender;9ZZMR-TL565L;433.920;3 Tasten;Moorhen;Teal;2019+;1.234,50 €
ML-125;Funkschlüssel;9ZZMR-TL565M;433,92;Zu, Auf, Zauber;Moorhen;Godwit;14-18;9,-
ML-126;Schlüssel;K0Z-11;433;Zu, Auf;Moorhen;Godwit;14-18;9,-
"""


def keep_picture(page: Page, name: str) -> None:
    folder = os.environ.get("BITTERN_SHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def press(page: Page, name: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=name, exact=True).click()


def upload(page: Page, text: str, name: str = "moorland.csv") -> None:
    page.goto("/packs/")
    page.get_by_label("A supplier’s list").set_input_files(
        {"name": name, "mimeType": "text/csv", "buffer": text.encode("cp1252")}
    )
    press(page, "Read this list")


def test_a_faulty_list_is_mended_imported_and_undone(visit: Visit) -> None:
    owner = visit("isolde")
    page = owner.page
    upload(page, FAULTY)
    expect(page.get_by_role("heading", name="moorland.csv")).to_be_visible()
    expect(page.get_by_text("Windows-1252")).to_be_visible()
    expect(page.get_by_label("Betrag")).to_have_value("")
    scan.check_page(page)
    keep_picture(page, "desktop-list-columns")
    # What a column means is changed; the first rows follow without a press.
    page.get_by_label("Betrag").select_option("cost")
    expect(page.locator("#preview")).to_contain_text("1234.50")
    expect(page.locator("#preview")).to_contain_text("lock|unlock|boot")
    press(page, "Check the whole list")
    found = page.locator("#found")
    expect(found).to_contain_text("1 fault")
    expect(found).to_contain_text("Row 6, column FCC ID")
    expect(found).to_contain_text("it may be KOZ")
    scan.check_page(page)
    keep_picture(page, "desktop-list-found")
    press(page, "Import into the pack")
    expect(page.get_by_text("imported", exact=False).first).to_be_visible()
    page.goto("/packs/")
    expect(page.get_by_role("link", name="moorland.csv")).to_be_visible()
    keep_picture(page, "desktop-packs")
    scan.check_page(page)
    job = open_teal(owner)
    assert is_offered(page, job, "ML-123")
    keep_picture(page, "desktop-list-candidate")
    page.goto("/packs/")
    with page.expect_navigation():
        page.get_by_role("link", name="moorland.csv").click()
    press(page, "Undo this import")
    expect(page.get_by_role("status").first).to_contain_text("as if this list had never been read")
    scan.check_page(page)
    assert not is_offered(page, job, "ML-123")


def open_teal(visitor: Visitor) -> int:
    """Open a job for a vehicle that only the list knows, up to its Key leg."""
    number = steps.open_job(visitor)
    steps.record_authority(visitor)
    form = visitor.page.locator("#vehicle-form")
    form.get_by_label("Make").fill("Moorhen")
    form.get_by_label("Model", exact=True).fill("Teal")
    form.get_by_label("Model year").fill("2016")
    form.get_by_label("How it starts").select_option("turn")
    form.locator('[name="accepted_because"]').fill("The number is not at hand.")
    visitor.send("record-vehicle", button="Record the vehicle")
    return number


def is_offered(page: Page, number: int, article: str) -> bool:
    page.goto(f"/jobs/{number}/?leg=key")
    return page.locator(".candidates", has_text=article).count() > 0


@pytest.mark.parametrize("size", [PHONE, NARROW], ids=["phone", "narrow"])
def test_the_pages_of_a_list_fit_a_phone(size: dict[str, int], visit: Visit) -> None:
    owner = visit("isolde", size)
    page = owner.page
    upload(page, FAULTY, "fits.csv")
    for name, step in (("columns", ""), ("found", "Check the whole list")):
        if step:
            press(page, step)
        scan.check_page(page)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, name
        keep_picture(page, f"{'phone' if size is PHONE else 'narrow'}-list-{name}")
    press(page, "Throw this list away")
    expect(page.get_by_role("status").first).to_contain_text("thrown away")
