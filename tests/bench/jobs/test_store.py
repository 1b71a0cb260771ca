"""The store keeps what it is given, refuses what is out of turn, and counts without gaps."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bittern.bench.jobs.errors import AppendOnlyError, TransactionError
from bittern.bench.jobs.models import Job, LogRecord
from bittern.bench.jobs.store import DjangoStore
from bittern.work.errors import ConflictError, NoSuchJobError
from bittern.work.facts import Authority, JobFile, KeyChoice, Promise, Request, Vehicle

pytestmark = [pytest.mark.store, pytest.mark.django_db]

AT = datetime(2031, 3, 3, 9, 0, 0, 123456, tzinfo=UTC)
REQUEST = Request(want="spare", customer="Ansel Quaking", phone="0555 010 203", plate="KL-07 XQ")


@pytest.fixture
def store() -> DjangoStore:
    return DjangoStore()


def open_job(store: DjangoStore, request: Request = REQUEST) -> JobFile:
    with store.transaction():
        return store.save(store.new_job(request, "tamsin", AT), waits_for="authority")


def test_a_job_is_loaded_as_it_was_saved(store: DjangoStore) -> None:
    job = open_job(store).model_copy(
        update={
            "authority": Authority(
                documents=("photo-identity",), holder="Ä “Q” \U0001f511", seen_by="tamsin", at=AT
            ),
            "vehicle": Vehicle(vin="1M8GDM9AXKP042788", valid=True, make="Marsh", model="Teal", year=2019),
            "key": KeyChoice(
                article="a",
                title="A",
                kind="remote",
                price=Decimal("89.90"),
                probability=0.1 + 0.2,
                settled=True,
            ),
            "promise": Promise(
                lines=(), currency="EUR", net=Decimal("1.10"), tax=Decimal("0.22"), total=Decimal("1.32")
            ),
        }
    )
    with store.transaction():
        saved = store.save(job, waits_for="offer")
    assert saved == job.model_copy(update={"version": job.version + 1})
    assert store.load(job.number) == saved
    with store.transaction():
        assert store.load_for_change(job.number) == saved


def test_the_columns_follow_the_facts(store: DjangoStore) -> None:
    job = open_job(store)
    vehicle = Vehicle(vin="1M8GDM9AXKP042788", make="Marsh", model="Teal", year=2019)
    with store.transaction():
        store.save(
            job.model_copy(update={"vehicle": vehicle, "state": "closed", "closed_at": AT}), waits_for=""
        )
    row = Job.objects.get(number=job.number)
    assert (row.make, row.model, row.year, row.vin_key, row.plate_key, row.phone_key) == (
        "Marsh", "Teal", 2019, "1M8GDM9AXKP042788", "KL07XQ", "0555010203",
    )  # fmt: skip
    assert (row.state, row.waits_for, row.closed_at, row.customer_key) == ("closed", "", AT, "ansel quaking")


@pytest.mark.parametrize("customer", ["a" * 5000, "nul \x00 inside"])
def test_a_text_that_no_column_holds_is_kept_in_the_facts(store: DjangoStore, customer: str) -> None:
    job = open_job(store, REQUEST.model_copy(update={"customer": customer}))
    assert store.load(job.number).request.customer == customer


def test_numbers_follow_each_other_and_an_undone_transaction_gives_its_number_back(
    store: DjangoStore,
) -> None:
    first = open_job(store).number
    with pytest.raises(RuntimeError), store.transaction():
        store.new_job(REQUEST, "tamsin", AT)
        raise RuntimeError
    assert [open_job(store).number, open_job(store).number] == [first + 1, first + 2]


def test_a_stale_version_is_refused_and_changes_nothing(store: DjangoStore) -> None:
    job = open_job(store)
    with store.transaction():
        newer = store.save(job, waits_for="vehicle")
    with pytest.raises(ConflictError), store.transaction():
        store.save(job.model_copy(update={"state": "withdrawn"}), waits_for="")
    assert store.load(job.number) == newer


@pytest.mark.parametrize("number", [0, -1, 999, 2**31, 10**30])
def test_a_job_that_is_not_there_is_said_so(store: DjangoStore, number: int) -> None:
    open_job(store)
    with pytest.raises(NoSuchJobError):
        store.load(number)
    for change in (
        lambda: store.load_for_change(number),
        lambda: store.append(number, at=AT, person="p", kind="k", payload={}),
        lambda: store.seal(number, "bitting", "1 2"),
    ):
        with pytest.raises(NoSuchJobError), store.transaction():
            change()
    assert store.entries(number) == []
    assert store.unseal(number, "bitting") is None


def test_saving_a_job_that_was_never_opened_is_refused(store: DjangoStore) -> None:
    job = JobFile(number=77, opened_at=AT, opened_by="tamsin", request=REQUEST)
    with pytest.raises(NoSuchJobError), store.transaction():
        store.save(job, waits_for="")


@pytest.mark.django_db(transaction=True)
def test_every_change_needs_a_transaction(store: DjangoStore) -> None:
    job = open_job(store)
    for change in (
        lambda: store.new_job(REQUEST, "tamsin", AT),
        lambda: store.load_for_change(job.number),
        lambda: store.save(job, waits_for=""),
        lambda: store.append(job.number, at=AT, person="p", kind="k", payload={}),
        lambda: store.seal(job.number, "bitting", "1 2"),
        lambda: store.drop_seal(job.number, "bitting"),
    ):
        with pytest.raises(TransactionError):
            change()
    assert store.load(job.number) == job
    assert store.entries(job.number) == []


@pytest.mark.django_db(transaction=True)
def test_an_error_undoes_everything_of_its_transaction(store: DjangoStore) -> None:
    job = open_job(store)
    with pytest.raises(RuntimeError), store.transaction():
        store.append(job.number, at=AT, person="p", kind="k", payload={})
        store.seal(job.number, "bitting", "1 2")
        store.save(job, waits_for="proof")
        raise RuntimeError
    assert (store.load(job.number), store.entries(job.number), store.unseal(job.number, "bitting")) == (
        job,
        [],
        None,
    )
    assert list(store.verify_logs()) == []


def test_entries_come_back_in_order_and_by_kind(store: DjangoStore) -> None:
    number = open_job(store).number
    with store.transaction():
        made = [
            store.append(number, at=AT + timedelta(seconds=i), person="tamsin", kind=kind, payload={"i": i})
            for i, kind in enumerate(["a", "b", "a"])
        ]
    assert store.entries(number) == made
    assert [entry.payload["i"] for entry in store.entries(number, "a")] == [0, 2]
    assert [entry.sequence for entry in made] == [1, 2, 3]


def test_entries_of_all_jobs_come_job_by_job_and_by_kind(store: DjangoStore) -> None:
    first, second = open_job(store).number, open_job(store).number
    with store.transaction():
        for number, kind in ((second, "a"), (first, "b"), (first, "a"), (second, "c"), (first, "b")):
            store.append(number, at=AT, person="tamsin", kind=kind, payload={})
    found = [(entry.job, entry.kind) for entry in store.all_entries(("a", "b"))]
    assert found == [(first, "b"), (first, "a"), (first, "b"), (second, "a")]


def test_a_moment_keeps_its_microseconds_and_any_zone_verifies(store: DjangoStore) -> None:
    number = open_job(store).number
    moments = [
        AT,
        AT.replace(microsecond=0),
        AT.replace(microsecond=999999),
        AT.astimezone(timezone(timedelta(hours=5.5))),
    ]
    with store.transaction():
        for at in moments:
            store.append(number, at=at, person="tamsin", kind="k", payload={})
    assert [entry.at for entry in store.entries(number)] == moments
    assert list(store.verify_logs()) == []


def test_a_moment_without_a_zone_is_refused(store: DjangoStore) -> None:
    number = open_job(store).number
    with pytest.raises(ValueError, match="time zone"), store.transaction():
        store.append(number, at=AT.replace(tzinfo=None), person="p", kind="k", payload={})


@pytest.mark.parametrize("value", [math.nan, math.inf, object(), b"bytes"])
def test_a_payload_that_json_has_no_word_for_is_refused(store: DjangoStore, value: object) -> None:
    number = open_job(store).number
    with pytest.raises((ValueError, TypeError)), store.transaction():
        store.append(number, at=AT, person="p", kind="k", payload={"value": value})
    assert store.entries(number) == []


PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(payload=st.dictionaries(st.text(), PLAIN, max_size=5), at=st.datetimes(timezones=st.just(UTC)))
def test_any_payload_survives_and_verifies(store: DjangoStore, payload: dict[str, Any], at: datetime) -> None:
    number = open_job(store).number
    with store.transaction():
        made = store.append(number, at=at, person="tamsin", kind="k", payload=payload)
    (read,) = store.entries(number)
    assert read == made
    assert json.dumps(read.payload, sort_keys=True) == json.dumps(payload, sort_keys=True)
    assert list(store.verify_logs()) == []


def test_numbers_as_keys_and_tuples_verify_as_they_are_read_back(store: DjangoStore) -> None:
    number = open_job(store).number
    with store.transaction():
        store.append(number, at=AT, person="p", kind="k", payload={"steps": {10: ("a",), 9: ("b",)}})
    assert store.entries(number)[0].payload == {"steps": {"10": ["a"], "9": ["b"]}}
    assert list(store.verify_logs()) == []


def test_log_entries_are_neither_changed_nor_removed_through_the_models(store: DjangoStore) -> None:
    number = open_job(store).number
    with store.transaction():
        store.append(number, at=AT, person="p", kind="k", payload={})
    record = LogRecord.objects.get(job_id=number)
    record.kind = "other"
    for attempt in (
        record.save,
        record.delete,
        LogRecord.objects.all().delete,
        lambda: LogRecord.objects.update(kind="other"),
        lambda: LogRecord.objects.bulk_update([record], ["kind"]),
        lambda: Job.objects.get(number=number).entries.all().delete(),
    ):
        with pytest.raises(AppendOnlyError):
            attempt()
    assert LogRecord.objects.get(job_id=number).kind == "k"
