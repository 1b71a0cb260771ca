"""The pages of ladders: counts without the seal, rungs after a look on record, tables that keep no codes."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.models import Job, LogRecord, Sealed
from bittern.bench.ladders.models import CodeTableRecord, TableNoteRecord
from bittern.work.blade import look_at_bitting
from bittern.work.ladder import look_at_ladder
from bittern.work.ports import Desk
from tests.bench.pages.journey import ODILE, carry, find_inputs, read_words
from tests.bench.pages.walk import TAMSIN
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
KNOWN = {f"known-{place}": label for place, label in enumerate("2134221", 1) if place not in (4, 5)}
KNOWN["known-8"] = "3"
REASON = "to cut it"


def address(number: int) -> str:
    return reverse("ladder", args=[number])


@pytest.fixture
def number(desk: Desk) -> int:
    return carry(desk, "promise")


@pytest.fixture
def client(cast: Cast, log_in: LogIn) -> Client:
    return log_in(cast.technician)


def plan(client: Client, number: int, **more: str) -> Any:
    return client.post(address(number), {"do": "plan-ladder", **KNOWN, **more})


def begin(client: Client, number: int) -> Any:
    fields = {"cutter": "wheel-90", "eyes": "yes", "guard": "yes", "reason": REASON, "show": "rung"}
    return client.post(address(number), {"do": "begin-ladder", **fields})


def answer(client: Client, number: int, kind: str, place: int) -> Any:
    fields = {"answer": kind, "place": str(place), "reason": REASON, "show": "rung"}
    return client.post(address(number), {"do": "ladder-rung", **fields})


def list_rungs(desk: Desk, number: int) -> list[str]:
    opened = look_at_ladder(desk, number, ODILE, "test")
    return [rung for ladder in opened.ladders for rung in ladder]


def holds(page: Any, bitting: str) -> bool:
    spelled = re.compile(r"[^0-9A-Za-z]{0,40}".join(bitting.split()))
    return bool(spelled.search(re.sub(r"<[^>]*>", " ", page.content.decode())))


def test_a_plan_is_shown_in_counts_and_opens_with_a_reason(client: Client, number: int, desk: Desk) -> None:
    answered = plan(client, number)
    assert (answered.status_code, answered["Location"]) == (302, address(number))
    page = client.get(address(number))
    words = read_words(page)
    rungs = list_rungs(desk, number)
    assert f"Bittings left {len(rungs)}" in words
    assert "no two can come from one blank" in words
    assert not [rung for rung in rungs if holds(page, rung)]
    assert page["Cache-Control"] == "private, no-store"
    refused = client.post(address(number), {"do": "look-ladder", "show": "list", "reason": " "})
    assert refused.status_code == 422
    assert not holds(refused, rungs[0])
    shown = client.post(address(number), {"do": "look-ladder", "show": "list", "reason": REASON})
    assert all(holds(shown, rung) for rung in rungs)
    assert "Known: 2 1 3 ? ? 2 1 3." in read_words(shown).replace(" .", ".")
    assert "destroyed as soon as one has turned" in read_words(shown)
    assert shown["Cache-Control"] == "private, no-store"
    look = LogRecord.objects.filter(job_id=number, kind="seal.looked").last()
    assert look is not None
    assert (look.person, REASON in look.payload) == ("tamsin", True)


def test_rung_by_rung_until_one_turns(client: Client, number: int, desk: Desk) -> None:
    plan(client, number)
    page = begin(client, number)
    rungs = list_rungs(desk, number)
    assert holds(page, rungs[0])
    assert "Take a new blank and cut every cut." in read_words(page)
    page = answer(client, number, "no", 0)
    assert holds(page, rungs[1])
    assert "Blank 1, cutting 2" in read_words(page)
    assert re.search(r"Make deeper: cut \d to depth \d", read_words(page))
    # The same press twice, as after a reload, shows the same rung.
    again = answer(client, number, "no", 0)
    assert (again.status_code, holds(again, rungs[1])) == (200, True)
    spoilt = answer(client, number, "spoilt", 1)
    assert "Blank 2, cutting 2" in read_words(spoilt)
    back = answer(client, number, "back", 2)
    assert "Blank 1, cutting 2" in read_words(back)
    turned = {"do": "ladder-turned", "place": "3", "reason": REASON}
    refused = client.post(address(number), turned)
    assert refused.status_code == 422
    assert holds(refused, rungs[1])
    assert "Found not ticked" in read_words(refused)
    # Without the reason of this opening the seal stays closed.
    closed = client.post(address(number), {**turned, "reason": ""})
    assert (closed.status_code, holds(closed, rungs[1])) == (422, False)
    done = client.post(address(number), {**turned, "sure": "yes"})
    assert done.status_code == 302
    assert look_at_bitting(desk, number, TAMSIN, "test") == rungs[1]
    assert not Sealed.objects.filter(job_id=number, name="ladder").exists()
    assert "bitting found by ladders, sealed" in read_words(client.get(done["Location"])).lower()


def test_a_late_press_is_refused_and_the_way_on_stays_open(client: Client, number: int) -> None:
    plan(client, number)
    begin(client, number)
    answer(client, number, "no", 0)
    late = answer(client, number, "spoilt", 0)
    assert late.status_code == 409
    words = read_words(late)
    assert "Somebody else was quicker" in words
    assert "Go on at blank 1, cutting 2" in words
    # The reason given at this opening need not be typed again.
    assert find_inputs(late, name="reason", value=REASON) or find_inputs(late, name="reason")


def test_every_rung_shown_is_a_look_on_record(client: Client, number: int) -> None:
    plan(client, number)
    count = LogRecord.objects.filter(job_id=number, kind="seal.looked").count
    before = count()
    begin(client, number)
    answer(client, number, "no", 0)
    answer(client, number, "no", 1)
    assert count() == before + 3


def test_a_plain_visit_never_opens_the_seal(client: Client, number: int, desk: Desk) -> None:
    plan(client, number)
    begin(client, number)
    rungs = list_rungs(desk, number)
    count = LogRecord.objects.count()
    page = client.get(address(number))
    assert "Go on at blank 1, cutting 1" in read_words(page)
    assert not [rung for rung in rungs if holds(page, rung)]
    assert LogRecord.objects.count() == count


def test_no_bitting_of_a_plan_stands_in_clear_in_the_database(
    client: Client, number: int, desk: Desk
) -> None:
    plan(client, number)
    begin(client, number)
    answer(client, number, "no", 0)
    rungs = list_rungs(desk, number)
    clear = Job.objects.get(number=number).facts
    clear += "".join(LogRecord.objects.filter(job_id=number).values_list("payload", flat=True))
    sealed = b"".join(bytes(one.ciphertext) for one in Sealed.objects.all())
    assert not [rung for rung in rungs if rung in clear or rung.encode() in sealed]


def test_too_many_says_which_cut_helps_most(client: Client, number: int) -> None:
    page = client.post(address(number), {"do": "plan-ladder", "known-1": "2"})
    assert page.status_code == 422
    words = read_words(page)
    assert "Too many are left for ladders" in words
    assert re.search(r"Find out cut \d first", words)
    # What was typed is still there.
    assert find_inputs(page, tag="option", value="2", selected="")
    assert not Sealed.objects.filter(job_id=number).exists()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({}, "Found no known cut"),
        ({"known-1": "1", "known-2": "4"}, "a step of 3 depths"),
        ({"known-1": "7"}, "Found 7"),
        ({"known-1": "2", "weigh_by": "stars"}, "Found stars"),
    ],
)
def test_wrong_entries_are_named(client: Client, number: int, typed: dict[str, str], said: str) -> None:
    page = client.post(address(number), {"do": "plan-ladder", **typed})
    assert page.status_code == 422
    assert said in read_words(page)


def test_an_act_of_another_leg_is_not_done_here(client: Client, number: int) -> None:
    page = client.post(address(number), {"do": "withdraw", "because": "x", "sure": "yes"})
    assert page.status_code in (404, 409, 422)
    assert Job.objects.get(number=number).state == "open"


def test_before_an_article_there_is_no_blade(client: Client, desk: Desk) -> None:
    page = client.get(address(carry(desk, "vehicle")))
    assert page.status_code == 409
    assert client.get(address(4711)).status_code == 404


def test_the_counter_is_kept_out(cast: Cast, log_in: LogIn, number: int) -> None:
    counter = log_in(cast.counter)
    assert counter.get(address(number)).status_code == 403
    assert plan(counter, number).status_code == 403


def test_caliper_readings_typed_on_the_leg_weigh_the_plan(client: Client, number: int, desk: Desk) -> None:
    draft = reverse("draft", args=[number, "enter-readings"])
    heights = ("7.40", "8.00", "6.80", "6.20", "7.40", "7.10", "8.00", "6.80")
    client.post(draft, {f"reading-{i}": one for i, one in enumerate(heights, 1)} | {"sd_mm": "0.03"})
    page = client.get(address(number))
    assert "caliper readings" in read_words(page)
    answered = client.post(address(number), {"do": "plan-ladder", "weigh_by": "caliper"})
    assert answered.status_code == 302
    # Cut 6 lies between two depths: both are on the list, and little else is.
    rungs = list_rungs(desk, number)
    assert {rung.split()[5] for rung in rungs} == {"2", "3"}
    assert len(rungs) <= 6


TABLE = "bitting,code,weight\n2 1 3 4 2 2 1 3,CODE-1,2\n2 1 3 3 2 2 1 3,CODE-2,1\n"


def send_table(client: Client, text: str, standard: str = "heron-8") -> Any:
    file = SimpleUploadedFile("own.csv", text.encode(), "text/csv")
    return client.post(reverse("code-tables"), {"standard": standard, "file": file})


def test_a_table_is_sealed_without_codes_and_its_use_is_on_record(
    client: Client, number: int, desk: Desk
) -> None:
    assert send_table(client, TABLE).status_code == 302
    row = CodeTableRecord.objects.get()
    assert (row.standard, row.bittings, row.person) == ("heron-8", 2, "tamsin")
    assert b"2 1 3" not in bytes(row.ciphertext)
    assert "CODE" not in (desk.tables.unseal("heron-8") or "CODE")  # type: ignore[union-attr]
    words = read_words(client.get(reverse("code-tables")))
    assert "2 bittings, kept by tamsin" in words
    plan(client, number, use_table="yes")
    assert sorted(list_rungs(desk, number)) == ["2 1 3 3 2 2 1 3", "2 1 3 4 2 2 1 3"]
    assert list(TableNoteRecord.objects.values_list("kind", "job")) == [("used", number), ("kept", 0)]
    assert "used for job" in read_words(client.get(reverse("code-tables")))


def test_a_table_is_destroyed_deliberately(client: Client) -> None:
    send_table(client, TABLE)
    drop = reverse("code-table-drop")
    assert client.post(drop, {"standard": "heron-8"}).status_code == 422
    assert CodeTableRecord.objects.exists()
    assert client.post(drop, {"standard": "heron-8", "sure": "yes"}).status_code == 302
    assert not CodeTableRecord.objects.exists()
    assert client.post(drop, {"standard": "heron-8", "sure": "yes"}).status_code == 409


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("bitting\n2 1 9\n", "row 2"),
        ("code\nx\n", "one column bitting"),
        ("", "no file"),
        ("bitting\n\0", "NUL byte"),
        ("bitting\n" + "2 1 9\n" * 60, "and 80 more rows"),
        ("x" * 5_000_001, "5,000,000 bytes"),
    ],
)
def test_a_table_that_cannot_be_kept_says_why(client: Client, text: str, said: str) -> None:
    page = send_table(client, text)
    assert page.status_code == 422
    assert said in read_words(page)
    assert not CodeTableRecord.objects.exists()


def test_a_table_for_no_blade_of_the_pack(client: Client) -> None:
    assert send_table(client, TABLE, "no-such").status_code == 409
    assert not CodeTableRecord.objects.exists()


def test_the_job_page_leads_to_the_ladders(client: Client, number: int) -> None:
    job_page = reverse("job", args=[number])
    before = client.get(job_page + "?leg=blade")
    assert "Find the rest by ladders" in read_words(before)
    plan(client, number)
    page = client.get(job_page)
    assert f'class="button main big" href="{address(number)}"' in page.content.decode()
    begin(client, number)
    answer(client, number, "no", 0)
    words = read_words(client.get(job_page))
    assert "Go on with the ladders: blank 1, cutting 2." in words
    assert "heron-8: ladders under way" in words
