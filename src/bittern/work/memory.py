"""A job store in memory: the use cases run without a database, in tests or in a notebook."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

from bittern.work.chain import START, LogEntry, LogFault, LogHead, digest_entry, verify_chain
from bittern.work.code_tables import TableNote
from bittern.work.errors import ConflictError, NoSuchJobError
from bittern.work.facts import JobFile, Request


class StepClock:
    """Starts at a fixed moment and moves on by ``step_s`` seconds whenever it is read."""

    def __init__(self, start: datetime | None = None, step_s: float = 1.0) -> None:
        self.at = start or datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
        self.step = timedelta(seconds=step_s)

    def now(self) -> datetime:
        """Return the next moment."""
        self.at += self.step
        return self.at


class MemoryStore:
    """A :class:`~bittern.work.ports.JobStore` of dictionaries; a transaction that fails is undone.

    Parameters
    ----------
    log_key
        Key of the log's digests; nothing here outlives the process, so any will do.
    """

    def __init__(self, log_key: bytes = b"in memory only") -> None:
        self.log_key = log_key
        self.jobs: dict[int, JobFile] = {}
        self.logs: dict[int, list[LogEntry]] = {}
        self.seals: dict[tuple[int, str], str] = {}
        self.waits: dict[int, str] = {}
        self.depth = 0

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Undo everything when an error leaves the block."""
        # Jobs and entries are frozen, so copies of the containers are enough.
        logs = {number: list(log) for number, log in self.logs.items()}
        kept = (dict(self.jobs), logs, dict(self.seals), dict(self.waits))
        self.depth += 1
        try:
            yield
        except BaseException:
            self.jobs, self.logs, self.seals, self.waits = kept
            raise
        finally:
            self.depth -= 1

    def new_job(self, request: Request, opened_by: str, at: datetime) -> JobFile:
        """Create a job with the next number."""
        number = max(self.jobs, default=0) + 1
        job = JobFile(number=number, opened_at=at, opened_by=opened_by, request=request)
        self.jobs[number], self.logs[number] = job, []
        return job

    def load(self, number: int) -> JobFile:
        """Return the job; raises NoSuchJobError."""
        if number not in self.jobs:
            raise NoSuchJobError(f"job {number}", "the number of a job")
        return self.jobs[number]

    def load_for_change(self, number: int) -> JobFile:
        """Return the job for a change."""
        self._require_transaction()
        return self.load(number)

    def save(self, job: JobFile, *, waits_for: str) -> JobFile:
        """Store the job if its version is the stored one."""
        self._require_transaction()
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
        """Append to the job's log, chained."""
        self._require_transaction()
        log = self.logs[number]
        entry = LogEntry(number, len(log) + 1, at, person, kind, dict(payload))
        digest = digest_entry(self.log_key, log[-1].digest if log else START, entry)
        log.append(LogEntry(number, entry.sequence, at, person, kind, entry.payload, digest))
        return log[-1]

    def entries(self, number: int, kind: str = "") -> Sequence[LogEntry]:
        """Return the job's log, or its entries of one kind."""
        return [entry for entry in self.logs[number] if not kind or entry.kind == kind]

    def all_entries(self, kinds: Sequence[str]) -> Sequence[LogEntry]:
        """Return the entries of these kinds of every job's log."""
        return [entry for _, log in sorted(self.logs.items()) for entry in log if entry.kind in kinds]

    def seal(self, number: int, name: str, secret: str) -> None:
        """Keep a secret; in memory it needs no lock."""
        self.seals[number, name] = secret

    def unseal(self, number: int, name: str) -> str | None:
        """Return the secret or None."""
        return self.seals.get((number, name))

    def drop_seal(self, number: int, name: str) -> bool:
        """Destroy a secret; return whether there was one."""
        return self.seals.pop((number, name), None) is not None

    def verify_logs(self) -> Iterator[LogFault]:
        """Yield every fault of every log."""
        for number, log in self.logs.items():
            yield from verify_chain(
                self.log_key, log, LogHead(number, len(log), log[-1].digest if log else START)
            )

    def _require_transaction(self) -> None:
        if not self.depth:
            raise RuntimeError("a change outside a transaction")


class MemoryTables:
    """A :class:`~bittern.work.code_tables.TableStore` of dictionaries."""

    def __init__(self) -> None:
        self.secrets: dict[str, tuple[str, TableNote]] = {}
        self.notes: list[TableNote] = []

    def keep(self, secret: str, note: TableNote) -> None:
        """Keep a table in place of an earlier one."""
        self.secrets[note.standard] = secret, note
        self.add_note(note)

    def unseal(self, standard: str) -> str | None:
        """Return the table or None."""
        return self.secrets[standard][0] if standard in self.secrets else None

    def drop(self, note: TableNote) -> None:
        """Destroy a table."""
        self.secrets.pop(note.standard, None)
        self.add_note(note)

    def add_note(self, note: TableNote) -> None:
        """Keep a note."""
        self.notes.append(note)

    def find(self, standard: str) -> TableNote | None:
        """Return the note of the table that is kept, or None."""
        return self.secrets[standard][1] if standard in self.secrets else None

    def list_notes(self) -> Sequence[TableNote]:
        """Return all notes, newest first."""
        return self.notes[::-1]
