"""The append-only log of a job: each entry carries the keyed digest of all before it.

HMAC-SHA-256 (RFC 2104, FIPS 180-4) with a key that is kept outside the database: who can write to the
database but has no key cannot make an entry, or a chain, that verifies.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

START = "0" * 64


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One thing that happened on a job; ``sequence`` counts from 1 within the job."""

    job: int
    sequence: int
    at: datetime
    person: str
    kind: str
    payload: Mapping[str, object]
    digest: str = ""


@dataclass(frozen=True, slots=True)
class LogHead:
    """What the job's row says of its log: how many entries, and the digest of the last."""

    job: int
    count: int
    digest: str


@dataclass(frozen=True, slots=True)
class LogFault:
    """One place where a log does not verify."""

    job: int
    sequence: int
    problem: str


def digest_entry(key: bytes, previous: str, entry: LogEntry) -> str:
    """Return the hexadecimal digest that binds ``entry`` to everything before it."""
    text = json.dumps(
        [
            previous,
            entry.job,
            entry.sequence,
            entry.at.astimezone(UTC).isoformat(timespec="microseconds"),
            entry.person,
            entry.kind,
            entry.payload,
        ],
        sort_keys=True,
        ensure_ascii=True,
        allow_nan=False,
        separators=(",", ":"),
    )
    return hmac.new(key, text.encode(), hashlib.sha256).hexdigest()


def verify_chain(key: bytes, entries: Iterable[LogEntry], head: LogHead) -> list[LogFault]:
    """Return every fault of one job's log, in the order of its entries.

    Parameters
    ----------
    key
        The shop's log key.
    entries
        The job's entries in the order of ``sequence``.
    head
        What the job's own row says: it shows when the last entries were removed.
    """
    faults: list[LogFault] = []
    previous, expected = START, 1
    for entry in entries:
        if entry.sequence != expected:
            faults.append(
                LogFault(head.job, entry.sequence, f"entry {expected} is missing or the order was changed")
            )
        # As bytes: a text with other letters than ASCII would be an error, not a fault.
        if not hmac.compare_digest(entry.digest.encode(), digest_entry(key, previous, entry).encode()):
            faults.append(LogFault(head.job, entry.sequence, "the entry or one before it was changed"))
        previous, expected = entry.digest, entry.sequence + 1
    if expected - 1 != head.count or previous != head.digest:
        faults.append(
            LogFault(
                head.job, expected, f"the job counts {head.count} entries, its log ends after {expected - 1}"
            )
        )
    return faults
