"""Processes that read, decide and write at once lose and double nothing; a killed one leaves no half."""

from __future__ import annotations

import json
from collections import Counter

import pytest

from tests.bench.jobs.conftest import Shop

pytestmark = pytest.mark.store

PROCESSES, ROUNDS = 4, 25


def test_nothing_is_lost_and_nothing_is_doubled(shop: Shop) -> None:
    ends = shop.run_together(PROCESSES, "race", str(ROUNDS))
    total = PROCESSES * ROUNDS
    found = shop.run("report")
    assert found["note"] == found["version"] == total
    assert [entry["value"] for entry in found["log"]] == list(range(total))
    assert set(Counter(entry["by"] for entry in found["log"]).values()) == {ROUNDS}
    # Every number once, in each process in rising order, and none left out.
    given = [number for end in ends for number in end["numbers"]]
    assert sorted(given) == list(range(2, total + 2))
    assert all(end["numbers"] == sorted(end["numbers"]) for end in ends)
    assert found["numbers"] == list(range(1, total + 2))
    last = found["log"][-1]
    assert found["sealed"]["1"] == f"{last['by']} {last['step']}"
    assert all(found["sealed"][str(number)].endswith(f" {number}") for number in range(2, total + 2))
    assert found["faults"] == []


def test_without_a_lock_the_version_lets_only_one_through(shop: Shop) -> None:
    ends = shop.run_together(PROCESSES, "race-unlocked", str(ROUNDS))
    found = shop.run("report")
    assert found["note"] == found["version"] == PROCESSES * ROUNDS
    assert found["faults"] == []
    assert len(ends) == PROCESSES


def test_numbers_of_jobs_opened_at_once_have_no_gap_and_no_double_from_the_first_on(empty_shop: Shop) -> None:
    empty_shop.run("prepare")
    ends = empty_shop.run_together(PROCESSES, "race-open", str(ROUNDS))
    given = sorted(number for end in ends for number in end["numbers"])
    assert given == list(range(1, len(given) + 1))
    # Every third was given up, and its number was given to the next.
    assert len(given) == PROCESSES * sum(step % 3 != 2 for step in range(ROUNDS))
    assert empty_shop.run("report")["faults"] == []


def test_a_process_killed_inside_a_transaction_leaves_nothing_of_it(shop: Shop) -> None:
    shop.run_together(1, "race", "3")
    before = shop.run("report")
    worker = shop.start("half")
    assert worker.stdout is not None
    assert json.loads(worker.stdout.readline()) == {"inside": True}
    worker.kill()
    worker.communicate(timeout=60)
    assert shop.run("report") == before
    assert before["faults"] == []
    # Its locks went with it, and so did the number it had taken.
    (end,) = shop.run_together(1, "race", "1")
    assert end["numbers"] == [before["numbers"][-1] + 1]


@pytest.mark.parametrize("kept", [1, 7])
def test_a_process_killed_anywhere_leaves_a_log_that_verifies(shop: Shop, kept: int) -> None:
    worker = shop.start("endless")
    assert worker.stdout is not None
    said = [json.loads(worker.stdout.readline())["number"] for _ in range(kept)]
    worker.kill()
    rest, _ = worker.communicate(timeout=60)
    said += [json.loads(line)["number"] for line in rest.splitlines() if line.endswith("}")]
    found = shop.run("report")
    # What was said to be done is there; what came after it is there whole or not at all.
    assert set(said) <= set(found["numbers"])
    assert found["note"] == found["version"] == len(found["log"]) == len(found["numbers"]) - 1
    assert [entry["value"] for entry in found["log"]] == list(range(found["note"]))
    assert found["faults"] == []


def test_several_first_starts_at_once_agree_on_keys_and_tables(empty_shop: Shop) -> None:
    ends = empty_shop.run_together(PROCESSES, "prepare")
    assert len({json.dumps(end["keys"]) for end in ends}) == 1
    assert len(set(ends[0]["keys"])) == 3
    names = sorted(path.name for path in (empty_shop.data / "keys").iterdir())
    assert names == ["log.key", "seal.key", "secret.key"]
    assert empty_shop.run("open") == {"number": 1}


def test_a_sealed_value_stands_nowhere_in_the_stored_bytes(shop: Shop) -> None:
    secret = "3 1 4 1 5 9 2 6 never-to-be-read"
    assert shop.run("keep-secret", secret) == {"sealed": secret, "draft": secret}
    stored = read_everything(shop)
    assert b"Ansel Quaking" in stored, "the customer's name is stored plain: this test must see it"
    assert secret.encode() not in stored
    assert b"never-to-be-read" not in stored


def read_everything(shop: Shop) -> bytes:
    """Return all bytes of the database: its files, or every row of every table."""
    if not shop.database:
        return b"".join(path.read_bytes() for path in shop.data.glob("bittern.sqlite3*"))
    import psycopg

    with psycopg.connect(shop.database) as connection:
        tables = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        rows = []
        for (table,) in tables:
            # In "escape" form, bytes that are text show as text.
            connection.execute("SET bytea_output = 'escape'")
            rows += connection.execute(f'SELECT t::text FROM "{table}" t'.encode()).fetchall()
    return "\n".join(row for (row,) in rows).encode()
