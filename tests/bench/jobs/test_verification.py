"""What somebody with the database in hand, but without the key file, changes in logs and records is found."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection

from bittern.bench.jobs.models import Counter, Job, LogRecord
from bittern.bench.jobs.store import DjangoStore
from bittern.work.facts import Request

pytestmark = [pytest.mark.store, pytest.mark.django_db]

AT = datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
ENTRIES = 5


@pytest.fixture
def store() -> DjangoStore:
    """Return a store with jobs 1 to 3, each with five entries."""
    store = DjangoStore()
    for number in (1, 2, 3):
        with store.transaction():
            job = store.new_job(Request(want="spare", customer=f"Customer {number}"), "tamsin", AT)
            assert job.number == number
            for i in range(ENTRIES):
                store.append(
                    number, at=AT, person="tamsin", kind=f"kind-{i}", payload={"i": i, "reason": "cutting"}
                )
            store.save(job, waits_for="authority")
    assert list(store.verify_logs()) == []
    return store


def run(sql: str, *values: Any) -> int:
    """Change the database behind the program's back; return how many rows it took."""
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.rowcount


def find_jobs(store: DjangoStore) -> set[int]:
    """Return the numbers of the jobs with faults."""
    return {fault.job for fault in store.verify_logs()}


def read_places(store: DjangoStore) -> list[tuple[int, int]]:
    """Return job and sequence of each fault."""
    return [(fault.job, fault.sequence) for fault in store.verify_logs()]


@pytest.mark.parametrize(
    ("column", "value"), [("digest", "é" * 64), ("payload", "[" * 60_000 + "]" * 60_000), ("payload", "NaN")]
)
def test_what_the_program_could_not_have_written_stops_no_verification(
    store: DjangoStore, column: str, value: str
) -> None:
    run(f"UPDATE jobs_logrecord SET {column} = %s WHERE job_id = 2 AND sequence = 3", value)
    run("UPDATE jobs_logrecord SET person = 'corin' WHERE job_id = 3 AND sequence = 4")
    assert {(2, 3), (3, 4)} <= set(read_places(store))


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL keeps a column to its type")
@pytest.mark.parametrize("value", ["soon", b"\xff\x00"])
@pytest.mark.parametrize("column", ["at", "sequence", "digest", "payload", "person"])
def test_a_value_of_another_type_stops_no_verification(
    store: DjangoStore, column: str, value: str | bytes
) -> None:
    run(f"UPDATE jobs_logrecord SET {column} = %s WHERE job_id = 2 AND sequence = 3", value)
    run("UPDATE jobs_logrecord SET person = 'corin' WHERE job_id = 3 AND sequence = 4")
    found = find_jobs(store)
    # Where even the driver gives up, that much is said.
    assert {2, 3} <= found or (column == "at" and 0 in found)


@pytest.mark.parametrize("sequence", range(1, ENTRIES + 1))
@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("payload", '{"i":0,"reason":"curiosity"}'),
        ("payload", '{"i": 0, "reason": "cutting"}'),
        ("payload", "not JSON"),
        ("person", "corin"),
        ("kind", "other"),
        ("at", "2031-03-03 09:00:00.000001+00:00"),
        ("digest", "0" * 64),
    ],
)
def test_a_changed_entry_is_found_where_it_stands(
    store: DjangoStore, column: str, value: str, sequence: int
) -> None:
    if connection.vendor == "sqlite":
        value = value.removesuffix("+00:00")
    assert (
        run(f"UPDATE jobs_logrecord SET {column} = %s WHERE job_id = 2 AND sequence = %s", value, sequence)
        == 1
    )
    places = read_places(store)
    assert places[0] == (2, sequence)
    assert find_jobs(store) == {2}


@pytest.mark.parametrize("sequence", range(1, ENTRIES + 1))
def test_a_removed_entry_is_found(store: DjangoStore, sequence: int) -> None:
    assert run("DELETE FROM jobs_logrecord WHERE job_id = 2 AND sequence = %s", sequence) == 1
    assert find_jobs(store) == {2}


def test_the_last_entry_removed_together_with_its_count_is_found(store: DjangoStore) -> None:
    before = LogRecord.objects.get(job_id=2, sequence=ENTRIES - 1).digest
    run("DELETE FROM jobs_logrecord WHERE job_id = 2 AND sequence = %s", ENTRIES)
    run("UPDATE jobs_job SET log_count = %s, log_digest = %s WHERE number = 2", ENTRIES - 1, before)
    assert read_places(store) == [(2, 0)]


def test_a_log_emptied_as_if_nothing_had_happened_is_found(store: DjangoStore) -> None:
    run("DELETE FROM jobs_logrecord WHERE job_id = 2")
    run("UPDATE jobs_job SET log_count = 0, log_digest = %s WHERE number = 2", "0" * 64)
    assert find_jobs(store) == {2}


def test_entries_in_another_order_are_found(store: DjangoStore) -> None:
    for old, new in ((2, 99), (3, 2), (99, 3)):
        assert (
            run("UPDATE jobs_logrecord SET sequence = %s WHERE job_id = 2 AND sequence = %s", new, old) == 1
        )
    assert read_places(store)[0] == (2, 2)
    assert find_jobs(store) == {2}


def test_entries_numbered_anew_over_a_gap_are_found(store: DjangoStore) -> None:
    run("DELETE FROM jobs_logrecord WHERE job_id = 2 AND sequence = 2")
    for old in range(3, ENTRIES + 1):
        run("UPDATE jobs_logrecord SET sequence = %s WHERE job_id = 2 AND sequence = %s", old - 1, old)
    run("UPDATE jobs_job SET log_count = %s WHERE number = 2", ENTRIES - 1)
    assert (2, 2) in read_places(store)


def test_an_entry_moved_to_another_job_is_found_in_both(store: DjangoStore) -> None:
    assert (
        run(
            "UPDATE jobs_logrecord SET job_id = 3, sequence = %s WHERE job_id = 2 AND sequence = %s",
            ENTRIES + 1,
            ENTRIES,
        )
        == 1
    )
    assert find_jobs(store) == {2, 3}


def test_an_entry_put_in_is_found(store: DjangoStore) -> None:
    last = LogRecord.objects.get(job_id=2, sequence=ENTRIES)
    LogRecord.objects.create(
        job_id=2, sequence=ENTRIES + 1, at=AT, person="tamsin", kind="k", payload="{}", digest=last.digest
    )
    assert (2, ENTRIES + 1) in read_places(store)


@pytest.mark.parametrize(
    ("sql", "places"),
    [
        ("UPDATE jobs_job SET facts = replace(facts, 'Customer 2', 'Customer 9') WHERE number = 2", [(2, 0)]),
        ("UPDATE jobs_job SET version = version + 1 WHERE number = 2", [(2, 0)]),
        ("UPDATE jobs_counter SET value = value + 1", [(0, 0), (4, 0)]),
    ],
)
def test_a_record_changed_behind_the_program_is_found(
    store: DjangoStore, sql: str, places: list[tuple[int, int]]
) -> None:
    assert run(sql) == 1
    assert read_places(store) == places


def test_one_jobs_record_in_place_of_another_is_found(store: DjangoStore) -> None:
    other = Job.objects.get(number=1)
    run("UPDATE jobs_job SET facts = %s, facts_seal = %s WHERE number = 2", other.facts, other.facts_seal)
    assert read_places(store) == [(2, 0)]


@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_job_taken_out_with_its_log_leaves_a_gap_that_is_found(store: DjangoStore, number: int) -> None:
    run("DELETE FROM jobs_logrecord WHERE job_id = %s", number)
    run("DELETE FROM jobs_job WHERE number = %s", number)
    assert read_places(store) == [(number, 0)]


def test_the_last_job_taken_out_and_the_counter_set_back_is_found(store: DjangoStore) -> None:
    run("DELETE FROM jobs_logrecord WHERE job_id = 3")
    run("DELETE FROM jobs_job WHERE number = 3")
    run("UPDATE jobs_counter SET value = 2")
    assert read_places(store) == [(0, 0)]


def test_jobs_without_the_counter_are_found(store: DjangoStore) -> None:
    Counter.objects.all().delete()
    assert read_places(store) == [(1, 0), (2, 0), (3, 0)]


@pytest.fixture
def _whole_again() -> Iterator[None]:
    """Take the entries of no job away again: the test's own end looks at foreign keys."""
    yield
    run("DELETE FROM jobs_logrecord WHERE job_id = 2")


@pytest.mark.usefixtures("_whole_again")
def test_entries_whose_job_is_gone_are_found(store: DjangoStore) -> None:
    run("DELETE FROM jobs_job WHERE number = 2")
    assert read_places(store) == [(2, 0), (2, 0)]


def test_another_key_file_verifies_nothing(store: DjangoStore, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bittern.bench.keys.get_key", lambda name: b"another key of thirty-two bytes!")
    assert find_jobs(store) == {0, 1, 2, 3}
