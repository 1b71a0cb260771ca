"""The job store on Django's models, the same on SQLite and PostgreSQL."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import datetime

from django.db import connection, transaction
from django.db.models import Case, F, QuerySet, Value, When

from bittern.bench import keys
from bittern.bench.jobs import listing, rows, verification
from bittern.bench.jobs.errors import TransactionError
from bittern.bench.jobs.models import Counter, Job, LogRecord, Sealed
from bittern.bench.jobs.sealing import Box, close_box, mark, open_box
from bittern.work.chain import START, LogEntry, LogFault, digest_entry
from bittern.work.errors import ConflictError, NoSuchJobError
from bittern.work.facts import JobFile, Request

JOB_NUMBERS = "job"


class DjangoStore:
    """Keeps jobs, logs and sealed values; implements :class:`bittern.work.ports.JobStore`."""

    def transaction(self) -> AbstractContextManager[None]:
        """Open a transaction; inside another one it is a savepoint."""
        return transaction.atomic()

    def new_job(self, request: Request, opened_by: str, at: datetime) -> JobFile:
        """Create a job with the next number."""
        _need_transaction()
        job = JobFile(number=_take_number(), opened_at=at, opened_by=opened_by, request=request)
        facts = rows.write_facts(job)
        Job.objects.create(
            number=job.number,
            version=job.version,
            facts=facts,
            facts_seal=mark("facts", job.number, job.version, facts),
            last_at=at,
            waits_since=at,
            log_count=0,
            log_digest=START,
            log_seal=mark("log", job.number, 0, START),
            **rows.fill_columns(job),
        )
        # As it will be read back, so that nothing depends on whether it was loaded or made.
        return rows.read_facts(facts)

    def load(self, number: int) -> JobFile:
        """Return the job; raises NoSuchJobError."""
        facts = Job.objects.filter(number=_in_range(number)).values_list("facts", flat=True).first()
        if facts is None:
            raise _no_such(number)
        return rows.read_facts(facts)

    def load_for_change(self, number: int) -> JobFile:
        """Return the job with its row locked until the transaction ends."""
        _need_transaction()
        facts = _lock(number).values_list("facts", flat=True).first()
        if facts is None:
            raise _no_such(number)
        return rows.read_facts(facts)

    def save(self, job: JobFile, *, waits_for: str) -> JobFile:
        """Store the job if nobody else has stored a newer version."""
        _need_transaction()
        saved = job.model_copy(update={"version": job.version + 1})
        facts = rows.write_facts(saved)
        changed = Job.objects.filter(number=job.number, version=job.version).update(
            version=saved.version,
            facts=facts,
            facts_seal=mark("facts", job.number, saved.version, facts),
            waits_for=waits_for,
            waits_since=Case(When(waits_for=Value(waits_for), then=F("waits_since")), default=F("last_at")),
            **rows.fill_columns(saved),
        )
        if changed != 1:
            stored = Job.objects.filter(number=job.number).values_list("version", flat=True).first()
            if stored is None:
                raise _no_such(job.number)
            raise ConflictError(
                f"version {stored}", f"version {job.version}", where=f"job {job.number}", hint="read it again"
            )
        return rows.read_facts(facts)

    def append(
        self, number: int, *, at: datetime, person: str, kind: str, payload: Mapping[str, object]
    ) -> LogEntry:
        """Append to the job's log; the job's row is locked, so that the chain has one end only."""
        _need_transaction()
        if at.tzinfo is None:
            raise ValueError("the moment of a log entry needs a time zone")
        head = _lock(number).values_list("log_count", "log_digest").first()
        if head is None:
            raise _no_such(number)
        count, previous = head
        text = rows.write_canonical(payload)
        # Digested as it will be read back: a tuple is a list then, and a number as a key is a text.
        entry = LogEntry(number, count + 1, at, person, kind, json.loads(text))
        digest = digest_entry(keys.get_key(keys.LOG), previous, entry)
        LogRecord.objects.create(
            job_id=number,
            sequence=entry.sequence,
            at=at,
            person=person,
            kind=kind,
            payload=rows.write_canonical(entry.payload),
            digest=digest,
        )
        Job.objects.filter(number=number).update(
            log_count=entry.sequence,
            log_digest=digest,
            log_seal=mark("log", number, entry.sequence, digest),
            last_at=at,
        )
        return LogEntry(number, entry.sequence, at, person, kind, entry.payload, digest)

    def entries(self, number: int, kind: str = "") -> Sequence[LogEntry]:
        """Return the job's log in order, or only its entries of one kind."""
        records = LogRecord.objects.filter(job_id=_in_range(number)).order_by("sequence")
        if kind:
            records = records.filter(kind=kind)
        return [verification.read_entry(record) for record in records]

    def all_entries(self, kinds: Sequence[str]) -> Sequence[LogEntry]:
        """Return the entries of these kinds of every job's log, job by job, each job's in order."""
        records = LogRecord.objects.filter(kind__in=kinds).order_by("job_id", "sequence")
        return [verification.read_entry(record) for record in records.iterator()]

    def seal(self, number: int, name: str, secret: str) -> None:
        """Encrypt ``secret`` and keep it under the job and ``name``."""
        _need_transaction()
        if _lock(number).values_list("number").first() is None:
            raise _no_such(number)
        box = close_box(secret.encode(), "job", number, name)
        Sealed.objects.update_or_create(
            job_id=number, name=name, defaults={"nonce": box.nonce, "ciphertext": box.ciphertext}
        )

    def unseal(self, number: int, name: str) -> str | None:
        """Return the secret or None; raises SealBrokenError. The caller logs the look first."""
        row = Sealed.objects.filter(job_id=_in_range(number), name=name).first()
        if row is None:
            return None
        box = Box(bytes(row.nonce), bytes(row.ciphertext))
        return open_box(box, "job", number, name).decode()

    def drop_seal(self, number: int, name: str) -> bool:
        """Destroy a secret; return whether there was one."""
        _need_transaction()
        gone, _ = Sealed.objects.filter(job_id=_in_range(number), name=name).delete()
        return gone > 0

    def verify_logs(self) -> Iterator[LogFault]:
        """Verify every job's log and record, yielding each fault."""
        return verification.verify_logs()

    def today(self) -> dict[str, list[listing.JobLine]]:
        """Return the open jobs by what they wait for; see :func:`listing.list_open`."""
        return listing.list_open()

    def search(self, text: str, limit: int = 50) -> list[listing.JobLine]:
        """Return the jobs that match ``text``, newest first; see :func:`listing.search`."""
        return listing.search(text, limit)


def _take_number() -> int:
    """Return the next job number; the counter stays locked until the transaction ends.

    A transaction that is undone gives its number back, and nobody else has taken a later one meanwhile.
    """
    counters = Counter.objects.select_for_update()
    counter = counters.filter(name=JOB_NUMBERS).first()
    if counter is None:
        Counter.objects.get_or_create(name=JOB_NUMBERS)
        counter = counters.get(name=JOB_NUMBERS)
    counter.value += 1
    counter.seal = mark("counter", JOB_NUMBERS, counter.value)
    counter.save(update_fields=["value", "seal"])
    return counter.value


def _lock(number: int) -> QuerySet[Job]:
    return Job.objects.select_for_update().filter(number=_in_range(number))


def _need_transaction() -> None:
    # select_for_update checks this on PostgreSQL only; a fault must not wait for the other database to show.
    if not connection.in_atomic_block:
        raise TransactionError("no transaction", "a change inside DjangoStore.transaction()")


def _in_range(number: int) -> int:
    """Return ``number``, or 0, which is no job, where no column could hold it."""
    return number if 0 < number < 2**31 else 0


def _no_such(number: int) -> NoSuchJobError:
    return NoSuchJobError(f"job {number}", "the number of a job on record")
