"""Lessons of finished jobs as they are kept, and a store of them in memory."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from bittern.engines.key.evidence import Observation
from bittern.engines.key.learning import Lesson
from bittern.work.facts import JobFile, Seen

WHY_REFUSED = {
    # Chance that the right article is refused like this all the same: a faulty remote, a cut gone wrong, a
    # step left out. Set by us ("common practice"), not measured.
    "pairing": ("It does not pair.", 0.05),
    "blade": ("The blade does not enter.", 0.02),
    "other": ("Another reason.", 0.10),
}
"""Reasons to refuse an article: the word, and how often they befall the right one."""
OTHER_REASON = WHY_REFUSED["other"]


@dataclass(frozen=True, slots=True)
class KeptLesson:
    """A lesson with its number, its job and whether it was taken back."""

    id: int
    job: int
    lesson: Lesson
    taken: bool = False


@dataclass(frozen=True, slots=True)
class LessonNote:
    """Who took back or restored what, and when; ``count`` is how many lessons it changed."""

    at: datetime
    person: str
    act: str
    what: str
    count: int = 0


def lessons_of(job: JobFile) -> list[KeptLesson]:
    """Return what a finished job teaches; a job that is open or withdrawn teaches nothing.

    No name, number, plate or vehicle number is in it, nor who worked on it.
    """
    v, key = job.vehicle, job.key
    if v is None or key is None or job.state != "closed" or job.closed_at is None:
        return []
    day = job.closed_at.date()
    common = {"make": v.make, "model": v.model, "year": v.year, "start": v.start, "case": job.number}
    seen = tuple(to_observation(one) for one in job.observations)
    wrong = sorted({one.article for one in job.refused} - {key.article})
    return [
        KeptLesson(0, job.number, Lesson(day, article=key.article, observations=seen, **common)),  # type: ignore[arg-type]
        *(
            KeptLesson(0, job.number, Lesson(day, article=article, outcome="wrong", **common))  # type: ignore[arg-type]
            for article in wrong
        ),
    ]


class MemoryLessons:
    """A :class:`~bittern.work.ports.LessonStore` of lists."""

    def __init__(self) -> None:
        self.kept: list[KeptLesson] = []
        self.noted: list[LessonNote] = []
        # Two stores in one process are told apart, also when one is gone and the next has its address.
        self.mark = object()

    def add(self, lessons: Sequence[KeptLesson]) -> None:
        """Keep new lessons."""
        for one in lessons:
            self.kept.append(replace(one, id=len(self.kept) + 1))

    def all(self) -> Sequence[KeptLesson]:
        """Return every lesson."""
        return tuple(self.kept)

    def state(self) -> Hashable:
        """Return count, how often something was taken back or restored, and which store it is."""
        return self.mark, len(self.kept), len(self.noted)

    def set_taken(self, ids: Sequence[int], note: LessonNote, *, taken: bool) -> int:
        """Take lessons back or restore them."""
        wanted = {one.id for one in self.kept if one.id in set(ids) and one.taken != taken}
        self.kept = [replace(one, taken=taken) if one.id in wanted else one for one in self.kept]
        if wanted:
            self.noted.append(replace(note, count=len(wanted)))
        return len(wanted)

    def notes(self) -> Sequence[LessonNote]:
        """Return the notes, newest first."""
        return tuple(reversed(self.noted))


def to_observation(seen: Seen) -> Observation:
    """Return what was seen as the engine takes it, without who saw it and when."""
    value = tuple(seen.value) if isinstance(seen.value, list) else seen.value
    return Observation(seen.kind, value, seen.how, seen.sd)
