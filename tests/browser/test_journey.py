"""A spare proximity key with an emergency blade, through all eight legs, as people would do it."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from collections.abc import Callable

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from bittern.demo import PACK_DIR
from bittern.formats.packs import read_pack

from . import camera, scan, steps
from .conftest import PHONE, DemoServer, Visitor

pytestmark = pytest.mark.browser

ARTICLE = "QUI-P5"


def see(visitor: Visitor, name: str) -> None:
    """Look at the page as a person, a camera and an accessibility scan do."""
    scan.check_page(visitor.page)
    camera.take(visitor.page, name)


def make_bitting(blade: str) -> str:
    """Return a bitting that climbs and falls by one depth, which every demo standard allows."""
    standard = read_pack(PACK_DIR).blades[blade]
    count = len(standard.positions_mm)
    wave = [0, 1, 2, 1] if len(standard.labels) > 2 else [0, 1]
    text = " ".join(standard.labels[wave[place % len(wave)]] for place in range(count))
    return f"{text} / {text}" if standard.sides == "split" else text


def test_a_spare_proximity_key_goes_through_all_eight_legs(
    visit: Callable[..., Visitor], server: DemoServer
) -> None:
    counter = visit("petra")
    see(counter, "today")
    number = counter_legs(counter)
    technician = visit("tobin")
    technician.page.goto(f"/jobs/{number}/")
    bitting = blade_leg(technician, number)
    at_vehicle = visit("wren", PHONE)
    pairing_leg(at_vehicle, number)
    proof_leg(technician, number)
    handover_leg(counter, number, bitting)
    check_log(counter, number, bitting)
    check_from_outside(server, number)


def counter_legs(counter: Visitor) -> int:
    """Request, Vehicle, Key, Promise, at the counter."""
    number = steps.open_job(counter)
    see(counter, "request")
    steps.record_authority(counter)
    steps.record_vehicle(counter, "Quillmoor", "Bulrush", 2017)
    steps.answer(counter, "button_count", "5")
    see(counter, "key")
    steps.take_settled(counter, ARTICLE)
    counter.page.goto(f"/jobs/{number}/?leg=vehicle")
    see(counter, "vehicle")
    counter.page.goto(f"/jobs/{number}/")
    see(counter, "promise")
    steps.agree(counter)
    return number


def blade_leg(technician: Visitor, number: int) -> str:
    """One that breaks a rule is refused with the cuts named; a good one is sealed, shown, cut, inspected."""
    page = technician.page
    blade = read_pack(PACK_DIR).articles[ARTICLE].blade
    standard = read_pack(PACK_DIR).blades[blade]
    form = page.locator('form[data-act="enter-bitting"]')
    steep = [standard.labels[0], standard.labels[-1]] * len(standard.positions_mm)
    steep_text = " ".join(steep[: len(standard.positions_mm)])
    form.get_by_label("Bitting").fill(
        f"{steep_text} / {steep_text}" if standard.sides == "split" else steep_text
    )
    technician.send("enter-bitting")
    expect(page.locator("#leg-blade")).to_contain_text("at cuts 1 and 2")
    scan.check_page(page)
    bitting = make_bitting(blade)
    page.locator('form[data-act="enter-bitting"]').get_by_label("Bitting").fill(bitting)
    technician.send("enter-bitting")
    expect(page.locator("body")).not_to_contain_text(bitting)
    page.get_by_label("Why do you look?").fill("Cutting the spare")
    with page.expect_navigation():
        page.get_by_role("button", name="Open the seal and show the chart").click()
    expect(page.locator(".bitting")).to_have_text(bitting)
    expect(page.locator(".chart svg")).to_be_visible()
    see(technician, "blade")
    form = page.locator('form[data-act="record-cut"]')
    form.locator('[name="cutter"]').first.check()
    form.locator('[name="eyes"]').check()
    form.locator('[name="guard"]').check()
    technician.send("record-cut")
    page.locator('form[data-act="record-inspection"] [name="result"][value="fits"]').check()
    technician.send("record-inspection")
    return bitting


def pairing_leg(technician: Visitor, number: int) -> None:
    """On a phone at the vehicle; the key left at home is named before the point of no return."""
    page = technician.page
    page.goto(f"/jobs/{number}/?leg=pairing")
    scan.check_page(page)
    steps.begin_pairing(technician, {"The daily key": True, "The key at home": False})
    page.goto(f"/jobs/{number}/pairing/")
    see(technician, "pairing")
    warned, walked = False, 0
    while page.locator(".step-say, .no-return.point").count():
        before = page.locator(".no-return.point").count()
        if before and not warned:
            warned = True
            expect(page.locator(".no-return.point .lost")).to_have_text(re.compile("The key at home"))
            see(technician, "no-return")
            # Without the tick nothing happens but a sentence.
            page.get_by_role("button", name="Go past the point of no return").click()
            expect(page.locator(".problem")).to_contain_text("Tick that you have read which keys are lost")
            expect(page.locator(".no-return.point")).to_be_visible()
        steps.move_on(technician)
        walked += 1
        assert walked < 60
    assert warned
    expect(page.locator(".forecast")).to_contain_text("The key at home")
    see(technician, "pairing-end")


def proof_leg(technician: Visitor, number: int) -> None:
    """Every test that the article calls for, one of them failed first."""
    page = technician.page
    page.goto(f"/jobs/{number}/?leg=proof")
    see(technician, "proof")
    first = page.locator("li.test").first
    first.locator("details.it-failed > summary").click()
    first.get_by_label("What happened instead?").fill("Battery askew")
    with page.expect_navigation():
        first.get_by_role("button", name="Record that it failed").click()
    expect(page.locator("li.test").first).to_contain_text("Battery askew")
    assert steps.prove_all(technician) >= 9


def handover_leg(counter: Visitor, number: int, bitting: str) -> None:
    """Counted, signed on the screen, closed; the paper tells everything but the bitting."""
    page = counter.page
    page.goto(f"/jobs/{number}/?leg=handover")
    see(counter, "handover")
    steps.sign(counter)
    expect(page.locator("body")).to_contain_text("signed by Sorrel Fallowgate")
    scan.check_page(page)
    answer = page.request.get(f"/jobs/{number}/handover.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    text = " ".join(part.extract_text() for part in PdfReader(io.BytesIO(answer.body())).pages)
    flat = " ".join(text.split())
    for word in ("Sorrel Fallowgate", ARTICLE, "The daily key", "The key at home", "P-4711", "coin cell"):
        assert word.casefold() in flat.casefold(), word
    assert bitting not in flat
    assert bitting.replace(" ", "") not in flat.replace(" ", "")


def check_log(counter: Visitor, number: int, bitting: str) -> None:
    """The log tells who looked and why, and no secret."""
    counter.page.goto(f"/jobs/{number}/log/")
    body = counter.page.locator("main")
    expect(body).to_contain_text("Cutting the spare")
    expect(body).not_to_contain_text(bitting)
    see(counter, "log")


def check_from_outside(server: DemoServer, number: int) -> None:
    """The command line sees the same job and verifies every log."""
    program = [sys.executable, "-m", "bittern"]
    end = ["--data", str(server.folder), "--json"]
    shown = subprocess.run([*program, "job", "show", str(number), *end], capture_output=True, check=True)
    assert json.loads(shown.stdout)["state"] == "closed"
    verified = subprocess.run([*program, "log", "verify", *end], capture_output=True, check=True)
    assert json.loads(verified.stdout)["ok"] is True
