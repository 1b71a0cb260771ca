"""The log of a job shows every kind of meddling."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.work.chain import START, LogEntry, LogHead, digest_entry, verify_chain

KEY = b"k" * 32
payloads = st.dictionaries(
    st.text(max_size=8), st.one_of(st.none(), st.booleans(), st.integers(), st.text(max_size=20)), max_size=3
)


def make_chain(contents: list[dict[str, object]]) -> tuple[list[LogEntry], LogHead]:
    entries: list[LogEntry] = []
    previous = START
    for number, payload in enumerate(contents, start=1):
        at = datetime(2031, 1, 1, tzinfo=UTC) + timedelta(seconds=number)
        entry = LogEntry(7, number, at, "ada", "note", payload)
        previous = digest_entry(KEY, previous, entry)
        entries.append(replace(entry, digest=previous))
    return entries, LogHead(7, len(entries), previous)


@given(st.lists(payloads, max_size=6))
def test_an_untouched_log_verifies(contents: list[dict[str, object]]) -> None:
    entries, head = make_chain(contents)
    assert verify_chain(KEY, entries, head) == []


@given(st.lists(payloads, min_size=1, max_size=6), st.data())
def test_a_removed_entry_is_found_wherever_it_stood(
    contents: list[dict[str, object]], data: st.DataObject
) -> None:
    entries, head = make_chain(contents)
    del entries[data.draw(st.integers(0, len(entries) - 1))]
    assert verify_chain(KEY, entries, head)


@given(st.lists(payloads, min_size=2, max_size=6), st.data())
def test_two_entries_in_the_wrong_order_are_found(
    contents: list[dict[str, object]], data: st.DataObject
) -> None:
    entries, head = make_chain(contents)
    i = data.draw(st.integers(0, len(entries) - 2))
    entries[i], entries[i + 1] = entries[i + 1], entries[i]
    assert verify_chain(KEY, entries, head)


@pytest.mark.parametrize(
    "change",
    [
        {"person": "eve"},
        {"kind": "other"},
        {"payload": {"a": 2}},
        {"at": datetime(2031, 1, 1, tzinfo=UTC)},
        {"sequence": 9},
        {"job": 8},
        {"digest": "f" * 64},
    ],
)
def test_a_changed_field_is_found_and_its_entry_named(change: dict[str, object]) -> None:
    entries, head = make_chain([{"a": 1}, {"a": 1}, {"a": 1}])
    entries[1] = replace(entries[1], **change)  # type: ignore[arg-type]
    faults = verify_chain(KEY, entries, head)
    assert faults
    assert faults[0].sequence == entries[1].sequence


def test_a_chain_made_anew_without_the_key_does_not_verify() -> None:
    entries, _ = make_chain([{"a": 1}, {"a": 2}])
    forged: list[LogEntry] = []
    previous = START
    for entry in entries:
        previous = digest_entry(b"guess", previous, entry)
        forged.append(replace(entry, digest=previous))
    assert len(verify_chain(KEY, forged, LogHead(7, 2, previous))) == 2
