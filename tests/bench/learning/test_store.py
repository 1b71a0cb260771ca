"""Lessons are kept as they were given, counted by one query, taken back and restored with a note."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.management import call_command

from bittern.bench.jobs.store import DjangoStore
from bittern.bench.learning.models import LessonRecord
from bittern.bench.learning.store import DjangoLessons
from bittern.engines.key.evidence import Observation
from bittern.engines.key.learning import Lesson
from bittern.work.lessons import KeptLesson, LessonNote, MemoryLessons
from bittern.work.ports import LessonStore

pytestmark = [pytest.mark.store, pytest.mark.django_db]

SEEN = (
    Observation("buttons", ("lock", "unlock"), "told"),
    Observation("frequency_hz", 433.92e6, "measured", 2e4),
    Observation("fcc_id", None, "read-aloud"),
    Observation("button_count", 3),
)
FULL = Lesson(date(2031, 3, 3), "Marsh", "Teal Ä", 2019, "turn", "a-1", observations=SEEN, weight=0.5, case=7)
BARE = Lesson(date(2031, 3, 4), "Marsh", "Teal Ä", None, "", "a-2", outcome="wrong", case=7)
NOTE = LessonNote(datetime(2031, 3, 5, 9, 0, tzinfo=UTC), "odile", "taken back", "job 7")


@pytest.fixture(params=["database", "memory"])
def store(request: pytest.FixtureRequest) -> LessonStore:
    return DjangoLessons() if request.param == "database" else MemoryLessons()


def add(store: LessonStore) -> list[KeptLesson]:
    store.add([KeptLesson(0, 7, FULL), KeptLesson(0, 7, BARE)])
    store.add([KeptLesson(0, 8, FULL)])
    return list(store.all())


def test_lessons_come_back_as_they_were_given(store: LessonStore) -> None:
    kept = add(store)
    assert [(one.job, one.taken) for one in kept] == [(7, False), (7, False), (8, False)]
    assert kept[0].lesson == FULL
    assert kept[1].lesson == BARE
    assert len({one.id for one in kept}) == 3


def test_state_changes_with_everything_that_changes_the_lessons(store: LessonStore) -> None:
    seen = [store.state()]
    ids = [one.id for one in add(store)]
    seen.append(store.state())
    # One taken back and another restored leaves as many as before, and is another state all the same.
    for one, taken in ((ids[0], True), (ids[1], True), (ids[0], False), (ids[2], True), (ids[1], False)):
        assert store.set_taken([one], NOTE, taken=taken) == 1
        seen.append(store.state())
    assert len(set(seen)) == len(seen)
    assert store.set_taken([ids[0]], NOTE, taken=False) == 0
    assert store.state() == seen[-1]


def test_who_took_back_what_is_noted(store: LessonStore) -> None:
    ids = [one.id for one in add(store)]
    assert store.set_taken(ids[:2], NOTE, taken=True) == 2
    assert [one.taken for one in store.all()] == [True, True, False]
    assert store.set_taken(ids, NOTE, taken=True) == 1
    assert [(one.person, one.what, one.count) for one in store.notes()] == [
        ("odile", "job 7", 1),
        ("odile", "job 7", 2),
    ]


def test_the_state_takes_one_query_and_many_lessons_are_taken_back_at_once(
    django_assert_num_queries: Any,
) -> None:
    store = DjangoLessons()
    store.add([KeptLesson(0, number, FULL) for number in range(1, 1201)])
    with django_assert_num_queries(1):
        store.state()
    assert store.set_taken([one.id for one in store.all()], NOTE, taken=True) == 1200
    assert not LessonRecord.objects.filter(taken=False).exists()


def test_a_transaction_that_fails_leaves_no_lesson() -> None:
    with pytest.raises(RuntimeError), DjangoStore().transaction():
        add(DjangoLessons())
        raise RuntimeError
    assert DjangoLessons().all() == []


def test_the_tables_are_as_the_models_say() -> None:
    call_command("makemigrations", "learning", check=True, dry_run=True, verbosity=0)
