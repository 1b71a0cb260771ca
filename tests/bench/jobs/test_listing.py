"""Today and search: by what jobs wait for, and by whatever scrap somebody remembers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from pytest_django import DjangoAssertNumQueries

from bittern.bench.jobs.store import DjangoStore
from bittern.work.facts import JobFile, Request, Vehicle
from bittern.work.nextstep import WAITS

pytestmark = [pytest.mark.store, pytest.mark.django_db]

AT = datetime(2031, 3, 3, 9, 0, tzinfo=UTC)


@pytest.fixture
def store() -> DjangoStore:
    return DjangoStore()


def add(
    store: DjangoStore,
    waits_for: str,
    *,
    customer: str = "Ansel Quaking",
    plate: str = "",
    vin: str = "",
    phone: str = "",
) -> JobFile:
    """Open a job that waits for something."""
    request = Request(want="spare", customer=customer, plate=plate, phone=phone)
    with store.transaction():
        job = store.new_job(request, "tamsin", AT)
        store.append(job.number, at=AT + timedelta(minutes=job.number), person="tamsin", kind="k", payload={})
        job = job.model_copy(update={"vehicle": Vehicle(vin=vin), "state": "open" if waits_for else "closed"})
        return store.save(job, waits_for=waits_for)


def test_open_jobs_stand_in_the_travellers_order_longest_waiting_first(
    store: DjangoStore, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for waits_for in ("proof", "authority", "", "proof", "acceptance"):
        add(store, waits_for)
    with store.transaction():
        # Something happens to the older one, yet it goes on waiting for the same thing.
        store.append(1, at=AT + timedelta(days=1), person="tamsin", kind="k", payload={})
        store.save(store.load(1), waits_for="proof")
    with django_assert_num_queries(1):
        found = store.today()
    assert {wait: [line.number for line in lines] for wait, lines in found.items()} == {
        "authority": [2], "acceptance": [5], "proof": [1, 4],
    }  # fmt: skip
    assert list(found) == [wait for wait in WAITS if wait in found]
    assert found["proof"][0].waits_since == AT + timedelta(minutes=1)
    assert found["proof"][0].last_at == AT + timedelta(days=1)


def test_what_a_job_waits_for_begins_anew_when_it_changes(store: DjangoStore) -> None:
    job = add(store, "proof")
    with store.transaction():
        store.append(1, at=AT + timedelta(days=1), person="tamsin", kind="k", payload={})
        store.save(job, waits_for="signature")
    (line,) = store.today()["signature"]
    assert line.waits_since == AT + timedelta(days=1)


def test_no_open_job_is_no_group(store: DjangoStore) -> None:
    add(store, "")
    assert store.today() == {}


@pytest.fixture
def shop(store: DjangoStore) -> DjangoStore:
    add(
        store,
        "proof",
        customer="Ødegård Émile",
        plate="KL-07 XQ",
        vin="1M8GDM9AXKP042788",
        phone="+99 (0)555 010-203",
    )
    add(store, "", customer="Straße 50 % Söhne", plate="ab 123", vin="1M8GDM9A1KP000001")
    add(store, "proof", customer="Plain_Name", plate="", vin="")
    return store


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("odegard", [1]), ("ødegård", [1]), ("ØDEGÅRD", [1]), ("emile", [1]), ("gard  EM", [1]),
        ("strasse", [2]), ("STRASSE", [2]), ("sohne", [2]), ("50 %", [2]), ("plain_", [3]), ("plain%", []),
        ("kl07xq", [1]), ("KL 07-xq", [1]), ("07 x", [1]), ("AB-123", [2]),
        ("kp042", [1]), ("1m8gdm9a", [2, 1]), ("1M8-GDM 9AX", [1]),
        ("555010203", [1]), ("555 010 203", [1]), ("3", [3, 2]), ("#2", [2, 1]),
        ("", []), ("   ", []), ("-", []), ("\x00", []), ("zebra", []), ("9" * 60, []), ("x" * 5000, []),
    ],
)  # fmt: skip
def test_a_scrap_finds_its_jobs(shop: DjangoStore, text: str, numbers: list[int]) -> None:
    assert [line.number for line in shop.search(text)] == numbers


def test_the_number_asked_for_comes_first_and_is_never_cut_off(store: DjangoStore) -> None:
    for _ in range(6):
        add(store, "proof", plate="X1Y")
    assert [line.number for line in store.search("1", limit=3)] == [1, 6, 5]


def test_closed_jobs_are_found_too_and_say_so(shop: DjangoStore) -> None:
    (line,) = shop.search("strasse")
    assert (line.state, line.waits_for, line.vin) == ("closed", "", "1M8GDM9A1KP000001")
