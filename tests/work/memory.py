"""A job store in memory: the use cases are tested without a database."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

from bittern.work.chain import START, LogEntry, LogFault, LogHead, digest_entry, verify_chain
from bittern.work.errors import ConflictError, NoSuchJobError
from bittern.work.facts import JobFile, Request

KEY = b"a key for tests only"


class StepClock:
    """Starts at a fixed moment and moves on by ``step_s`` whenever it is read."""

    def __init__(self, start: datetime | None = None, step_s: float = 1.0) -> None:
        self.at = start or datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
        self.step = timedelta(seconds=step_s)

    def now(self) -> datetime:
        self.at += self.step
        return self.at


class MemoryStore:
    """Keeps everything in dictionaries; a transaction that fails is undone."""

    def __init__(self) -> None:
        self.jobs: dict[int, JobFile] = {}
        self.logs: dict[int, list[LogEntry]] = {}
        self.seals: dict[tuple[int, str], str] = {}
        self.waits: dict[int, str] = {}
        self.depth = 0

    @contextmanager
    def transaction(self) -> Iterator[None]:
        kept = copy.deepcopy((self.jobs, self.logs, self.seals, self.waits))
        self.depth += 1
        try:
            yield
        except BaseException:
            self.jobs, self.logs, self.seals, self.waits = kept
            raise
        finally:
            self.depth -= 1

    def new_job(self, request: Request, opened_by: str, at: datetime) -> JobFile:
        number = max(self.jobs, default=0) + 1
        job = JobFile(number=number, opened_at=at, opened_by=opened_by, request=request)
        self.jobs[number], self.logs[number] = job, []
        return job

    def load(self, number: int) -> JobFile:
        if number not in self.jobs:
            raise NoSuchJobError(f"job {number}", "the number of a job")
        return self.jobs[number]

    def load_for_change(self, number: int) -> JobFile:
        assert self.depth, "a change outside a transaction"
        return self.load(number)

    def save(self, job: JobFile, *, waits_for: str) -> JobFile:
        assert self.depth, "a change outside a transaction"
        if self.jobs[job.number].version != job.version:
            raise ConflictError(f"version {job.version}", "the stored one")
        # Through JSON and back, as a database would do it.
        saved = JobFile.model_validate_json(
            job.model_copy(update={"version": job.version + 1}).model_dump_json()
        )
        self.jobs[job.number], self.waits[job.number] = saved, waits_for
        return saved

    def append(
        self, number: int, *, at: datetime, person: str, kind: str, payload: Mapping[str, object]
    ) -> LogEntry:
        assert self.depth, "a change outside a transaction"
        log = self.logs[number]
        entry = LogEntry(number, len(log) + 1, at, person, kind, dict(payload))
        digest = digest_entry(KEY, log[-1].digest if log else START, entry)
        log.append(LogEntry(number, entry.sequence, at, person, kind, entry.payload, digest))
        return log[-1]

    def entries(self, number: int, kind: str = "") -> Sequence[LogEntry]:
        return [entry for entry in self.logs[number] if not kind or entry.kind == kind]

    def seal(self, number: int, name: str, secret: str) -> None:
        self.seals[number, name] = secret

    def unseal(self, number: int, name: str) -> str | None:
        return self.seals.get((number, name))

    def verify_logs(self) -> Iterator[LogFault]:
        for number, log in self.logs.items():
            yield from verify_chain(KEY, log, LogHead(number, len(log), log[-1].digest if log else START))
