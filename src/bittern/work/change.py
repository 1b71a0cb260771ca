"""One change of one job: read under lock, decide, log and save in one transaction."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime

from bittern.work.errors import ClosedError
from bittern.work.facts import JobFile
from bittern.work.nextstep import name_wait
from bittern.work.people import Person, require
from bittern.work.ports import Desk

SEAL_READING = "reading"
"""A reading of the old key that waits to be taken: sealed like the bitting, and gone when the job ends."""
SEAL_LADDER = "ladder"
"""A plan of ladders that has not turned yet: sealed like the bitting, and gone when the job ends."""


class Change:
    """The job as it will be saved, and what will be logged."""

    def __init__(self, job: JobFile, person: Person, now: datetime) -> None:
        self.job = job
        self.person = person
        self.now = now
        self.notes: list[tuple[str, Mapping[str, object]]] = []

    def put(self, **facts: object) -> None:
        """Replace facts of the job."""
        self.job = self.job.model_copy(update=facts)

    def log(self, kind: str, **payload: object) -> None:
        """Append to the job's log when the change is saved; payloads carry no secret."""
        self.notes.append((kind, payload))


@contextmanager
def changing(desk: Desk, number: int, person: Person, ability: str) -> Iterator[Change]:
    """Open a change of job ``number``; it is saved when the block ends well and undone otherwise.

    Raises
    ------
    NotAllowedError
        The person's role does not carry ``ability``.
    ClosedError
        The job is closed or withdrawn.
    """
    require(person, ability)
    with desk.store.transaction():
        job = desk.store.load_for_change(number)
        if job.state != "open":
            raise ClosedError(f"job {number} {job.state}", "an open job", where=f"job {number}")
        change = Change(job, person, desk.clock.now())
        yield change
        for kind, payload in change.notes:
            desk.store.append(number, at=change.now, person=person.login, kind=kind, payload=payload)
        if change.job.state != "open":
            for name in (SEAL_READING, SEAL_LADDER):
                desk.store.drop_seal(number, name)
        if change.job is not job:
            desk.store.save(change.job, waits_for=name_wait(change.job))
