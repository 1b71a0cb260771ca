"""The lesson store on Django's models, the same on SQLite and PostgreSQL."""

from __future__ import annotations

import json
from collections.abc import Hashable, Sequence

from django.db.models import Count, Max

from bittern.bench.learning.models import LessonRecord, NoteRecord
from bittern.engines.key.evidence import Observation
from bittern.engines.key.learning import Lesson
from bittern.work.lessons import KeptLesson, LessonNote

# Numbers in one condition: SQLite takes no more than some thousands.
_AT_ONCE = 500


class DjangoLessons:
    """Keeps lessons; implements :class:`bittern.work.ports.LessonStore`."""

    def add(self, lessons: Sequence[KeptLesson]) -> None:
        """Keep new lessons; inside the transaction that closes their job."""
        LessonRecord.objects.bulk_create(_write(one) for one in lessons)

    def all(self) -> Sequence[KeptLesson]:
        """Return every lesson, oldest first."""
        return [_read(row) for row in LessonRecord.objects.order_by("id").iterator()]

    def state(self) -> Hashable:
        """Return count, last number, its time, and last note: one query."""
        # With the time, so that the numbers of another database do not pass for these.
        found = LessonRecord.objects.aggregate(
            count=Count("id"), last=Max("id"), at=Max("kept_at"), note=Max("note")
        )
        return found["count"], found["last"], found["at"], found["note"]

    def set_taken(self, ids: Sequence[int], note: LessonNote, *, taken: bool) -> int:
        """Take lessons back or restore them; inside a transaction."""
        wanted = list(ids)
        row = NoteRecord.objects.create(
            at=note.at, person=note.person, act=note.act, what=note.what[:240], count=0
        )
        changed = 0
        for first in range(0, len(wanted), _AT_ONCE):
            part = LessonRecord.objects.filter(id__in=wanted[first : first + _AT_ONCE], taken=not taken)
            changed += part.update(taken=taken, note=row.pk)
        if not changed:
            row.delete()
            return 0
        NoteRecord.objects.filter(pk=row.pk).update(count=changed)
        return changed

    def notes(self) -> Sequence[LessonNote]:
        """Return who took back or restored what, newest first."""
        rows = NoteRecord.objects.order_by("-id")
        return [LessonNote(row.at, row.person, row.act, row.what, row.count) for row in rows]


def _write(one: KeptLesson) -> LessonRecord:
    lesson = one.lesson
    seen = [{"kind": o.kind, "value": o.value, "how": o.how, "sd": o.sd} for o in lesson.observations]
    return LessonRecord(
        job=one.job,
        day=lesson.day,
        make=lesson.make[:80],
        model=lesson.model[:80],
        year=lesson.year,
        start=lesson.start,
        article=lesson.article[:80],
        outcome=lesson.outcome,
        observations=json.dumps(seen, sort_keys=True),
        weight=lesson.weight,
        taken=one.taken,
    )


def _read(row: LessonRecord) -> KeptLesson:
    seen = tuple(
        Observation(
            one["kind"],
            tuple(one["value"]) if isinstance(one["value"], list) else one["value"],
            one["how"],
            one["sd"],
        )
        for one in json.loads(row.observations)
    )
    lesson = Lesson(
        day=row.day,
        make=row.make,
        model=row.model,
        year=row.year,
        start=row.start,
        article=row.article,
        outcome="wrong" if row.outcome == "wrong" else "fitted",
        observations=seen,
        weight=row.weight,
        case=row.job,
    )
    return KeptLesson(row.pk, row.job, lesson, row.taken)
