"""Handover: the sheet on the screen and on paper, keys counted, a signature drawn or on the printed sheet."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from django.test import Client, override_settings
from django.urls import reverse
from pypdf import PdfReader

from bittern.bench.desk import open_desk
from bittern.work.memory import StepClock
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.bench.pages.walk import BITTING, carry_to_handover, carry_to_run
from tests.conftest import Cast

LogIn = Callable[[Any], Client]
STROKES = [[[10, 20], [500, 900], [990, 100]], [[500, 500]]]
SIGNED = {"keys_handed": "2", "signed_by": "Ansel Quaking", "strokes": json.dumps(STROKES)}


def sign(client: Client, number: int, **data: str) -> Any:
    return client.post(reverse("act", args=[number, "sign"]), data)


def read_pdf(response: Any) -> str:
    pages = PdfReader(io.BytesIO(response.content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_a_drawn_signature_closes_the_job(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_handover(desk)
    client = log_in(cast.counter)
    response = sign(client, number, **SIGNED)
    assert response.status_code == 302
    job = desk.store.load(number)
    assert job.state == "closed"
    assert job.handover is not None
    assert [[list(point) for point in stroke] for stroke in job.handover.strokes] == STROKES
    assert "Signed by Ansel Quaking" in read_words(client.get(f"/jobs/{number}/?leg=handover"))


def test_the_printed_sheet_can_be_signed_instead(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_handover(desk)
    client = log_in(cast.counter)
    response = client.get(f"/jobs/{number}/")
    assert find_inputs(response, name="on_paper", type="checkbox")
    sign(client, number, keys_handed="2", signed_by="Ansel Quaking", on_paper="yes")
    assert "on the printed sheet" in read_words(client.get(f"/jobs/{number}/?leg=handover"))
    assert "Signed on the printed sheet." in read_pdf(client.get(f"/jobs/{number}/handover.pdf"))


@pytest.mark.parametrize(
    "strokes", ["", "[]", "[[[1,2]]]", "[[[0,0],[0,1001]]]", "[[[-1,0],[0,1]]]", "{", "[[[1]]]", "<svg>"]
)
def test_a_signature_that_is_none_keeps_what_was_typed(
    strokes: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_handover(desk)
    typed = {**SIGNED, "signed_by": "Oda <Quaking>", "strokes": strokes}
    response = sign(log_in(cast.counter), number, **typed)
    assert response.status_code == 422
    assert desk.store.load(number).state == "open"
    for name in ("keys_handed", "signed_by", "strokes"):
        assert [one["value"] for one in find_inputs(response, name=name)] == [typed[name]]
    assert "Signature : Found" in read_words(response)


def test_a_mistake_elsewhere_keeps_the_drawing(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_handover(desk)
    response = sign(log_in(cast.counter), number, **{**SIGNED, "keys_handed": "many"})
    assert response.status_code == 422
    (field,) = find_inputs(response, name="strokes")
    assert json.loads(field["value"]) == STROKES


def test_what_is_still_open_is_named_instead_of_the_form(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_run(desk)
    client = log_in(cast.counter)
    response = client.get(f"/jobs/{number}/?leg=handover")
    assert "Signed once these are settled: Pairing, Proof." in read_words(response)
    assert find_inputs(response, name="signed_by") == []
    assert sign(client, number, **SIGNED).status_code == 409


def test_the_sheet_shows_the_keys_before_and_after(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_handover(desk)
    client = log_in(cast.counter)
    words = read_words(client.get(f"/jobs/{number}/"))
    assert "The daily one yes yes yes" in words
    assert "The one at home no yes no" in words
    assert "The new key yes new yes" in words
    printed = read_pdf(client.get(f"/jobs/{number}/handover.pdf"))
    assert "The one at home no yes no" in printed
    assert "Ansel Quaking" in printed


def test_no_bitting_on_any_paper_or_page(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_handover(desk)
    client = log_in(cast.owner)
    assert BITTING not in read_pdf(client.get(f"/jobs/{number}/handover.pdf"))
    for leg in ("blade", "handover", "proof", "pairing"):
        assert BITTING not in read_words(client.get(f"/jobs/{number}/?leg={leg}"))


def test_the_pdf_is_kept_by_no_cache_and_shown_to_no_stranger(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    response = log_in(cast.counter).get(f"/jobs/{number}/handover.pdf")
    assert response["Content-Type"] == "application/pdf"
    assert "no-store" in response["Cache-Control"]
    assert f"handover-{number}.pdf" in response["Content-Disposition"]
    assert log_in(None).get(f"/jobs/{number}/handover.pdf").status_code == 302


def test_no_sheet_before_a_promise_and_none_of_a_job_that_is_not(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "vehicle")
    client = log_in(cast.counter)
    assert client.get(f"/jobs/{number}/handover.pdf").status_code == 409
    assert client.get("/jobs/4711/handover.pdf").status_code == 404
    assert "drawn up once an article is chosen" in read_words(client.get(f"/jobs/{number}/?leg=handover"))


@override_settings(TIME_ZONE="Pacific/Auckland")
def test_the_day_on_the_sheet_is_the_shops_day(cast: Cast, log_in: LogIn, db: None) -> None:
    # 23:30 UTC is already the next day in Auckland (UTC+12 in June).
    desk = open_desk(clock=StepClock(datetime(2026, 6, 1, 23, 0, tzinfo=UTC)))
    number = carry_to_handover(desk)
    client = log_in(cast.counter)
    sign(client, number, **SIGNED)
    signed = desk.store.load(number).handover
    assert signed is not None
    job = desk.store.load(number)
    late = signed.model_copy(update={"at": datetime(2026, 6, 1, 23, 30, tzinfo=UTC)})
    with desk.store.transaction():
        desk.store.load_for_change(number)
        desk.store.save(job.model_copy(update={"handover": late}), waits_for="")
    assert "2 June 2026" in read_pdf(client.get(f"/jobs/{number}/handover.pdf"))
