"""A photo of a label: chosen, read, its boxes shown, the number and the identifier taken."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from bittern.demo import PACK_DIR
from bittern.demo.numbers import make_number
from bittern.formats.packs import read_pack
from tests.label_images import Camera, draw_code, draw_print, photograph, save

from . import camera, scan, steps
from .conftest import PHONE, Visitor

pytestmark = pytest.mark.browser

READ_MS = 60_000
IDENTIFIER = "9ZZQM-QMR523K"


def take_photos(folder: Path, vin: str) -> tuple[Path, Path]:
    """Return a photo of a door frame's bar code and one of a remote's print."""
    rng = np.random.default_rng(4)
    door, remote = folder / "door.jpg", folder / "remote.png"
    seen = photograph(draw_code(vin, "Code39", 2), Camera(turn_deg=14, light=0.4), rng)
    door.write_bytes(save(seen, "JPEG"))
    print_ = draw_print(["MODEL QM-523", f"FCC ID: {IDENTIFIER}", "433.92 MHz"], 32)
    remote.write_bytes(save(photograph(print_, Camera(turn_deg=-6, blur_px=0.7), rng)))
    return door, remote


def test_the_numbers_bar_code_and_the_remotes_print_are_read_and_taken(
    visit: Callable[..., Visitor], tmp_path: Path
) -> None:
    vin = make_number(read_pack(PACK_DIR), "Quillmoor", "Bulrush", 2017, 4711, "push")
    door, remote = take_photos(tmp_path, vin)
    counter = visit("petra", size=PHONE)
    page = counter.page
    steps.open_job(counter)
    steps.record_authority(counter)

    page.get_by_text("Read the number from a photo").click()
    field = page.get_by_label("Photo of the label or plate with the vehicle number")
    assert field.get_attribute("capture") == "environment"
    assert (field.bounding_box() or {"height": 0})["height"] >= 48
    field.set_input_files(door)
    page.get_by_role("button", name="Read the photo").click()
    result = page.locator("#photo-result")
    expect(result.locator(".label-box")).to_have_count(1, timeout=READ_MS)
    expect(result).to_contain_text("Compare each with the label")
    # The picture itself is there, not only its frame.
    assert result.locator("image").evaluate("node => node.getBBox().width") > 200
    scan.check_page(page)
    # Beside the number stands the part of the photo that it was read from.
    assert result.locator(".label-crop use").evaluate("node => node.getBBox().width") > 200
    page.locator(".label-found").scroll_into_view_if_needed()
    camera.take(page, "photo")
    page.get_by_role("button", name=f"Put {vin} into the form").click()
    expect(page.get_by_label("Vehicle number", exact=True)).to_have_value(vin)
    expect(page.get_by_label("How the number came")).to_have_value("photographed")
    expect(page.locator("#number-study")).to_contain_text("Bulrush")
    counter.send("record-vehicle", button="Record the vehicle")

    read_remote(page, remote)


def read_remote(page: Page, remote: Path) -> None:
    """Read the remote's identifier from its photo on the Key leg, and record it."""
    # On the Key leg the identifier's question may be the first or folded below.
    summary = page.get_by_text("Read it from a photo")
    if not summary.is_visible():
        page.locator("#ask-fcc_id > summary").click()
    summary.click()
    page.get_by_label(re.compile("Photo of the label on the remote")).set_input_files(remote)
    page.get_by_role("button", name="Read the photo").click()
    result = page.locator("#photo-result")
    expect(result.locator(".label-box")).to_have_count(1, timeout=READ_MS)
    scan.check_page(page)
    camera.take(page, "photo-key")
    with page.expect_navigation():
        result.get_by_role("button", name=f"Record {IDENTIFIER}", exact=True).click()
    expect(page.locator(".seen").last).to_contain_text(IDENTIFIER)
    expect(page.locator(".seen").last).to_contain_text(re.compile("photo", re.I))


def test_what_is_no_picture_is_said_beside_the_field(visit: Callable[..., Visitor], tmp_path: Path) -> None:
    note = tmp_path / "note.jpg"
    note.write_bytes(b"not a picture")
    counter = visit("petra")
    steps.open_job(counter)
    steps.record_authority(counter)
    page = counter.page
    page.get_by_text("Read the number from a photo").click()
    page.get_by_label("Photo of the label or plate").set_input_files(note)
    page.get_by_role("button", name="Read the photo").click()
    expect(page.locator("#photo-result")).to_contain_text("no picture of a known kind")
    expect(page.get_by_role("button", name="Read the photo")).to_be_enabled()


def test_without_script_a_photo_is_sent_as_a_plain_form(
    visit: Callable[..., Visitor], tmp_path: Path
) -> None:
    vin = make_number(read_pack(PACK_DIR), "Quillmoor", "Bulrush", 2017, 4712, "push")
    door = tmp_path / "door.png"
    door.write_bytes(save(draw_code(vin, "DataMatrix", 5)))
    counter = visit("petra")
    number = steps.open_job(counter)
    steps.record_authority(counter)
    context = counter.context.browser.new_context(  # type: ignore[union-attr]
        java_script_enabled=False,
        base_url=counter.server.address,
        storage_state=counter.context.storage_state(),
    )
    page = context.new_page()
    page.goto(f"/jobs/{number}/")
    page.get_by_text("Read the number from a photo").click()
    page.get_by_label("Photo of the label or plate").set_input_files(door)
    page.get_by_role("button", name="Read the photo").click(timeout=READ_MS)
    page.get_by_role("button", name=f"Put {vin} into the form").click(timeout=READ_MS)
    expect(page.get_by_label("Vehicle number", exact=True)).to_have_value(vin)
    context.close()
