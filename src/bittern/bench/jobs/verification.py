"""Are logs and records as the program left them? All is read so that work may go on meanwhile."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import groupby
from typing import Any

from django.db.models import Exists, OuterRef

from bittern.bench import keys
from bittern.bench.jobs.models import Counter, Job, LogRecord
from bittern.bench.jobs.rows import write_canonical
from bittern.bench.jobs.sealing import mark, same_mark
from bittern.work.chain import LogEntry, LogFault, LogHead, verify_chain

CHUNK = 2000


def read_entry(record: LogRecord) -> LogEntry:
    """Return a row of the log as an entry."""
    return LogEntry(
        record.job_id,
        record.sequence,
        record.at,
        record.person,
        record.kind,
        json.loads(record.payload),
        record.digest,
    )


def verify_logs() -> Iterator[LogFault]:
    """Yield every fault: job numbers, each job's record, each job's log."""
    yield from _verify_numbers()
    yield from _verify_facts()
    try:
        yield from _verify_chains()
    except ValueError:
        # The database's driver reads moments, and gives up the whole answer at one that is none.
        yield LogFault(0, 0, "a log holds a value that cannot be read; logs after it are not verified")


def count_checked() -> tuple[int, int]:
    """Return how many jobs and log entries there are."""
    return Job.objects.count(), LogRecord.objects.count()


def _verify_numbers() -> Iterator[LogFault]:
    # A number is counted before its job is there: read in this order, a job that comes meanwhile is no gap.
    before = Counter.objects.filter(name="job").first()
    there = set(Job.objects.values_list("number", flat=True))
    with_job = Exists(Job.objects.filter(number=OuterRef("job_id")))
    orphans = set(LogRecord.objects.filter(~with_job).values_list("job_id", flat=True))
    after = Counter.objects.filter(name="job").first()
    counted = before.value if before else 0
    if before and not same_mark(before.seal, mark("counter", "job", before.value)):
        yield LogFault(0, 0, "the counter of job numbers was changed outside the program")
    for number in sorted(set(range(1, counted + 1)) - there):
        yield LogFault(number, 0, "the job is missing: its number was given out")
    for number in sorted(number for number in there if number > (after.value if after else 0)):
        yield LogFault(number, 0, "the job's number was never given out")
    for number in sorted(orphans):
        yield LogFault(number, 0, "log entries without their job")


def _verify_facts() -> Iterator[LogFault]:
    found = Job.objects.order_by("number").values_list("number", "version", "facts", "facts_seal")
    for number, version, facts, seal in found.iterator(CHUNK):
        if not same_mark(seal, mark("facts", number, version, facts)):
            yield LogFault(number, 0, "the job's record was changed outside the program")


def _verify_chains() -> Iterator[LogFault]:
    # One statement sees one moment: heads and entries belong together, whoever appends meanwhile.
    columns = (
        "number", "log_count", "log_digest", "log_seal", "entries__sequence", "entries__at",
        "entries__person", "entries__kind", "entries__payload", "entries__digest",
    )  # fmt: skip
    found = Job.objects.order_by("number", "entries__sequence", "entries__id").values_list(*columns)
    for (number, count, digest, seal), group in groupby(found.iterator(CHUNK), key=lambda row: row[:4]):
        if not same_mark(seal, mark("log", number, count, digest)):
            yield LogFault(number, 0, "what the job says of its log was changed outside the program")
        entries = [
            LogEntry(number, sequence, at, person, kind, _read_payload(payload), found_digest)
            for _, _, _, _, sequence, at, person, kind, payload, found_digest in group
            if sequence is not None
        ]
        try:
            yield from verify_chain(keys.get_key(keys.LOG), entries, LogHead(number, count, digest))
        except (AttributeError, TypeError, ValueError, RecursionError):
            yield LogFault(number, 0, "the log holds values that the program never wrote")


def _read_payload(text: str) -> Any:
    """Return the payload; what the program did not write stays a text, which cannot verify."""
    try:
        payload = json.loads(text)
        return payload if write_canonical(payload) == text else text
    except (ValueError, RecursionError):
        return text
