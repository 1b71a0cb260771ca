"""Inspecting the cut key from a picture: the verdict, what is kept of it, what a person records."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.models import Sealed
from bittern.demo import PACK_DIR
from bittern.formats.images import decode_picture
from bittern.formats.packs import read_pack
from bittern.work.handover import compose_sheet
from bittern.work.ports import Desk
from bittern.work.prooflist import say_inspection
from tests.bench.pages.journey import read_words
from tests.bench.pages.test_label import dump_tables
from tests.bench.pages.walk import BITTING, act, carry_to_blade
from tests.conftest import Cast
from tests.key_pictures import scan_finished

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
STANDARD = read_pack(PACK_DIR).blades["heron-8"]


@pytest.fixture(scope="module")
def good() -> bytes:
    """Return a scan of a key as it should be."""
    return scan_finished(STANDARD, BITTING, dpi=600).png


@pytest.fixture(scope="module")
def shifted() -> bytes:
    """Return a scan of a key that did not lie against its stop."""
    return scan_finished(STANDARD, BITTING, "shifted", 0.4, dpi=600).png


@pytest.fixture
def number(desk: Desk) -> int:
    return carry_to_blade(desk, cut=True)


@pytest.fixture
def client(cast: Cast, log_in: LogIn) -> Client:
    return log_in(cast.technician)


def send(client: Client, number: int, png: bytes, **more: str) -> Any:
    fields = {"how": "scan", "dpi": "600", "reason": "to inspect it", **more}
    file = SimpleUploadedFile("key.png", png, "image/png")
    return client.post(reverse("inspection", args=[number]), {**fields, "picture": file})


def test_a_good_key_passes_and_its_proof_line_appears(
    client: Client, number: int, desk: Desk, good: bytes
) -> None:
    page = send(client, number, good)
    words = read_words(page)
    assert page.status_code == 200
    assert page["Cache-Control"] == "private, no-store"
    assert "The key is right" in words
    assert b"data:image/jpeg;base64," in page.content
    kinds = [entry.kind for entry in desk.store.entries(number)]
    assert kinds[-2:] == ["seal.looked", "blade.inspection-measured"]
    assert (
        client.post(reverse("act", args=[number, "record-inspection"]), {"result": "fits"}).status_code == 302
    )
    job = desk.store.load(number)
    line = say_inspection(job)
    assert line.startswith("The cut key was measured from a scan: all 8 cuts within 0.05 mm, sure to 9")
    assert compose_sheet(job, desk.terms).tests[0] == (line, "passed")
    assert line in read_words(client.get(f"/jobs/{number}/?leg=proof"))


def test_what_is_kept_tells_no_height(client: Client, number: int, desk: Desk, good: bytes) -> None:
    send(client, number, good)
    note = desk.store.load(number).blade.inspection  # type: ignore[union-attr]
    assert note is not None
    assert set(note.model_dump()) == {
        "how", "verdict", "cuts", "by_caliper", "p_conform", "worst_mm", "limit_mm", "risk", "by", "at",
    }  # fmt: skip
    assert list(Sealed.objects.values_list("name", flat=True)) == ["bitting"]
    tables = dump_tables()
    for depth in STANDARD.depths_mm:
        assert f"{depth:.3f}" not in tables


def test_a_wrong_key_fails_with_what_to_adjust_and_is_wasted(
    client: Client, number: int, desk: Desk, shifted: bytes
) -> None:
    words = read_words(send(client, number, shifted))
    assert "The key is wrong" in words
    assert "stop" in words
    answer = client.post(reverse("act", args=[number, "record-inspection"]), {"result": "fits"})
    assert answer.status_code == 422
    assert "what the caliper says instead" in read_words(answer)
    fields = {"result": "wasted", "note": "not against the stop"}
    assert client.post(reverse("act", args=[number, "record-inspection"]), fields).status_code == 302
    blade = desk.store.load(number).blade
    assert blade is not None
    assert (blade.blanks_wasted, blade.cut_at, blade.inspection) == (1, None, None)


def test_a_new_cut_forgets_what_the_last_one_measured(
    client: Client, number: int, desk: Desk, good: bytes
) -> None:
    send(client, number, good)
    act(desk, number, "record-cut", cutter="wheel-90", eyes="yes", guard="yes")
    assert desk.store.load(number).blade.inspection is None  # type: ignore[union-attr]


def test_a_smaller_risk_leaves_more_open(
    client: Client, cast: Cast, log_in: LogIn, number: int, good: bytes
) -> None:
    from dataclasses import replace

    from bittern.bench.jobs.shop import load_terms, save_terms

    save_terms(replace(load_terms(), inspection_risk=0.0001))
    words = read_words(send(client, number, good))
    assert "The picture cannot tell" in words
    assert "caliper" in words


HEIGHTS = [STANDARD.depths_mm[STANDARD.labels.index(label)] for label in BITTING.split()]


def test_caliper_readings_are_weighed_in_and_settle_what_the_picture_left_open(
    client: Client, number: int, desk: Desk, good: bytes
) -> None:
    from dataclasses import replace

    from bittern.bench.jobs.shop import load_terms, save_terms

    save_terms(replace(load_terms(), inspection_risk=0.0001))
    asked = sorted(set(re.findall(r'name="reading-(\d)"', send(client, number, good).content.decode())))
    assert asked
    typed = {f"reading-{cut}": f"{HEIGHTS[int(cut) - 1]:.3f}" for cut in asked}
    words = read_words(send(client, number, good, sd_mm="0.005", **typed))
    assert "The key is right" in words
    assert f"with the caliper at cut {', '.join(asked)}." in words
    note = desk.store.load(number).blade.inspection  # type: ignore[union-attr]
    assert note is not None
    assert (note.verdict, note.by_caliper) == ("pass", len(asked))
    tables = dump_tables()
    assert all(f"{height:.3f}" not in tables for height in HEIGHTS)
    client.post(reverse("act", args=[number, "record-inspection"]), {"result": "fits"})
    line = say_inspection(desk.store.load(number))
    assert f"from a scan, {len(asked)} cut" in line
    assert "by caliper as well: all 8" in line


@pytest.mark.parametrize(
    ("typed", "expected"),
    [("2.0", "brush the cut clean"), ("tall", "the height at cut 3"), ("-", "the height at cut 3")],
)
def test_a_caliper_that_contradicts_the_picture_gives_no_verdict(
    client: Client, number: int, desk: Desk, good: bytes, typed: str, expected: str
) -> None:
    page = send(client, number, good, **{"reading-3": typed})
    assert page.status_code in (409, 422)
    assert expected in read_words(page)
    assert f"{HEIGHTS[2]:.2f}" not in read_words(page).split("Chart")[0].split("Record the cut")[0][:600]
    assert desk.store.load(number).blade.inspection is None  # type: ignore[union-attr]


def test_two_keys_on_the_glass_give_no_verdict(client: Client, number: int, desk: Desk, good: bytes) -> None:
    import cv2

    grey = decode_picture(good)[:, :, 0]
    png = cv2.imencode(".png", np.vstack([grey, grey]))[1].tobytes()
    page = send(client, number, png)
    assert page.status_code in (409, 422)
    assert "one key" in read_words(page)
    assert desk.store.load(number).blade.inspection is None  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("what", "expected"),
    [
        ({"reason": " "}, "expected why you look at the bitting"),
        ({"how": "guess"}, "expected one of those below"),
        ({"dpi": "7"}, "pixels per inch"),
        ({"dpi": "300"}, "about the standard's size"),
    ],
)
def test_a_wrong_entry_is_said_and_gives_no_verdict(
    client: Client, number: int, desk: Desk, good: bytes, what: dict[str, str], expected: str
) -> None:
    page = send(client, number, good, **what)
    assert page.status_code in (409, 422)
    assert expected in read_words(page)
    assert desk.store.load(number).blade.inspection is None  # type: ignore[union-attr]


def test_no_picture_and_no_cut_key_are_said(client: Client, number: int, desk: Desk, good: bytes) -> None:
    assert "picture" in read_words(send(client, number, b"no picture at all"))
    answer = client.post(reverse("inspection", args=[number]), {"how": "scan", "reason": "to inspect"})
    assert answer.status_code == 422
    other = carry_to_blade(desk)
    assert "the cut recorded first" in read_words(send(client, other, good))
