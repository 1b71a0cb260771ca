"""What the use cases need from outside, as Protocols; the bench implements them on Django."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Protocol

from bittern.engines.key.decision import Costs
from bittern.formats.packs import Pack
from bittern.work.chain import LogEntry, LogFault
from bittern.work.facts import JobFile, Request

if TYPE_CHECKING:
    from bittern.engines.link.heard import Heard
    from bittern.work.code_tables import TableStore
    from bittern.work.cutter_use import UseStore
    from bittern.work.lessons import KeptLesson, LessonNote
    from bittern.work.sheets import SheetStore


class Clock(Protocol):
    """Tells the time."""

    def now(self) -> datetime:
        """Return the present moment, aware, in UTC."""
        ...


class JobStore(Protocol):
    """Keeps jobs, their logs and their sealed values. Every change happens inside :meth:`transaction`."""

    def transaction(self) -> AbstractContextManager[None]:
        """Open a transaction; it is undone when an error leaves it."""
        ...

    def new_job(self, request: Request, opened_by: str, at: datetime) -> JobFile:
        """Create a job with the next free number (no gaps, no doubles, also under concurrency)."""
        ...

    def load(self, number: int) -> JobFile:
        """Return the job; raises NoSuchJobError."""
        ...

    def load_for_change(self, number: int) -> JobFile:
        """Return the job with its row locked until the transaction ends; raises NoSuchJobError."""
        ...

    def save(self, job: JobFile, *, waits_for: str) -> JobFile:
        """Store ``job`` if its version is still the stored one, else ConflictError.

        Returns the job with its new version.
        """
        ...

    def append(
        self, number: int, *, at: datetime, person: str, kind: str, payload: Mapping[str, object]
    ) -> LogEntry:
        """Append to the job's log, chained; only inside the transaction that holds the job."""
        ...

    def entries(self, number: int, kind: str = "") -> Sequence[LogEntry]:
        """Return the job's log in order, or only its entries of one kind."""
        ...

    def all_entries(self, kinds: Sequence[str]) -> Sequence[LogEntry]:
        """Return the entries of these kinds of every job's log, job by job, each job's in order."""
        ...

    def seal(self, number: int, name: str, secret: str) -> None:
        """Keep ``secret`` encrypted under the job and ``name``, in place of an earlier one."""
        ...

    def unseal(self, number: int, name: str) -> str | None:
        """Return the secret or None; raises SealBrokenError. The caller logs the look first."""
        ...

    def drop_seal(self, number: int, name: str) -> bool:
        """Destroy a secret; return whether there was one."""
        ...

    def verify_logs(self) -> Iterator[LogFault]:
        """Verify every job's log, yielding each fault."""
        ...


class LessonStore(Protocol):
    """Keeps what finished jobs taught. Changes happen inside the job store's transaction."""

    def add(self, lessons: Sequence[KeptLesson]) -> None:
        """Keep new lessons; their numbers are given here."""
        ...

    def all(self) -> Sequence[KeptLesson]:
        """Return every lesson, those that are taken back too, oldest first."""
        ...

    def state(self) -> Hashable:
        """Return what changes whenever :meth:`all` would; one quick look."""
        ...

    def set_taken(self, ids: Sequence[int], note: LessonNote, *, taken: bool) -> int:
        """Take lessons back or restore them, with a note of who did it; return how many changed."""
        ...

    def notes(self) -> Sequence[LessonNote]:
        """Return who took back or restored what, newest first."""
        ...


class Adapter(Protocol):
    """What reads the vehicle's number and supply voltage."""

    def hear(self, job: int) -> Heard:
        """Return what it has said for ``job`` so far; it is asked for nothing."""
        ...


@dataclass(frozen=True, slots=True)
class ShopTerms:
    """What the shop has set: names on papers, prices, how sure is sure enough, what mistakes cost."""

    name: str = "Unnamed shop"
    town: str = ""
    labour_per_hour: Decimal = Decimal("72.00")
    tax_percent: Decimal = Decimal("20")
    cutting_minutes: int = 20
    proof_minutes: int = 15
    bar: float = 0.9
    unit: str = "mm"
    cutter_life_min: int = 120
    inspection_risk: float = 0.05
    costs: Costs = field(default_factory=Costs)


@dataclass(frozen=True, slots=True)
class Desk:
    """Everything a use case works with."""

    store: JobStore
    clock: Clock
    pack: Pack
    terms: ShopTerms = field(default_factory=ShopTerms)
    # Without one the shop learns nothing, and everything is as the pack has it.
    lessons: LessonStore | None = None
    # Without one no code table is kept.
    tables: TableStore | None = None
    # Without one no cutter's use is counted.
    uses: UseStore | None = None
    # Without one, number and voltage are read at the vehicle and typed.
    adapter: Adapter | None = None
    # Without one the pack's run sheets are in use as they are.
    sheets: SheetStore | None = None
