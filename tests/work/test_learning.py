"""What a finished job teaches in memory: nothing of a person, nothing of a job that did not end well."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from bittern.demo.jobs import replay_jobs
from bittern.engines.key.learning import Lesson
from bittern.formats.packs import Pack
from bittern.work.errors import FieldsError, NotAllowedError, NotYetError
from bittern.work.facts import KeyChoice, Refused
from bittern.work.key import weigh
from bittern.work.learning import load_learnt, restore, take_back
from bittern.work.learnt_pack import make_learnt_pack
from bittern.work.lessons import KeptLesson, MemoryLessons, lessons_of
from bittern.work.memory import MemoryStore
from bittern.work.people import COUNTER, OWNER, TECHNICIAN, Person

from .conftest import DESK, OWN, TECH, Bench, flat_bitting

AT = datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
PEOPLE = {
    "owner": Person("olwen", "Olwen Fenner", OWNER),
    "technician": TECH,
    "colleague": Person("corin", "Corin Sallow", TECHNICIAN),
    "counter": Person("cora", "Cora Millpond", COUNTER),
}


def choice(article: str) -> KeyChoice:
    return KeyChoice(article=article, title=article, kind="remote", probability=0.9, settled=True)


def test_only_a_closed_job_teaches_and_a_refused_article_goes_with_it(bench: Bench) -> None:
    article = bench.carry_to_key()
    refused = (Refused(article="DUN-C1", why="blade"), Refused(article=article, why="pairing"))
    job = bench.job.model_copy(update={"key": choice(article), "refused": refused, "closed_at": AT})
    assert lessons_of(job) == []
    assert lessons_of(job.model_copy(update={"state": "withdrawn"})) == []
    found = [one.lesson for one in lessons_of(job.model_copy(update={"state": "closed"}))]
    # Refused once and fitted after all: it fitted.
    assert [(one.article, one.outcome) for one in found] == [(article, "fitted"), ("DUN-C1", "wrong")]
    assert {(one.case, one.day) for one in found} == {(job.number, date(2031, 3, 3))}
    for word in (job.request.customer, job.request.phone, job.request.plate, "tarn"):
        assert word not in repr(found)


def test_a_withdrawn_job_teaches_nothing(bench: Bench) -> None:
    bench.desk = replace(bench.desk, lessons=MemoryLessons())
    bench.carry_to_blade()
    bench.do("refuse-article", {"why": "blade"})
    bench.do("withdraw", {"because": "The customer gave up."})
    assert bench.desk.lessons is not None
    assert list(bench.desk.lessons.all()) == []


def test_a_refusal_keeps_the_bitting_and_clears_what_was_for_the_article(bench: Bench) -> None:
    bench.carry_to_blade()
    bench.do("enter-bitting", {"bitting": flat_bitting(bench.desk, bench.job)})
    key = bench.job.key
    assert key is not None
    before = {one.article: one.probability for one in weigh(bench.desk, bench.job).candidates}[key.article]
    with pytest.raises(FieldsError):
        bench.do("refuse-article", {"why": "other"})
    with pytest.raises(NotAllowedError):
        bench.do("refuse-article", {"why": "blade"}, DESK)
    bench.do("refuse-article", {"why": "blade"})
    job = bench.job
    assert (job.key, job.promise, job.pairing, job.proof) == (None, None, None, ())
    assert job.blade is not None
    after = {one.article: one.probability for one in weigh(bench.desk, job).candidates}.get(key.article, 0.0)
    odds = (after / (1 - after)) / (before / (1 - before))
    assert odds == pytest.approx(0.02, rel=1e-6)
    assert bench.kinds()[-1] == "key.refused"
    with pytest.raises(NotYetError):
        bench.do("refuse-article", {"why": "blade"})
    # The same blade standard again: the bitting stands. Another: it is gone with the article.
    bench.do("choose-article", {"article": key.article, "because": "A step had been left out."})
    assert bench.job.blade is not None
    bench.do("refuse-article", {"why": "blade"})
    other = next(a for a in bench.desk.pack.articles.values() if a.blade != key.blade)
    bench.do("choose-article", {"article": other.article, "because": "The supplier says so."})
    assert bench.job.blade is None


def test_lessons_are_folded_once_for_the_same_state_and_day(bench: Bench) -> None:
    desk = replace(bench.desk, lessons=MemoryLessons())
    assert desk.lessons is not None
    assert load_learnt(desk) is None
    row = desk.pack.fitments[0]
    lesson = Lesson(date(2031, 3, 3), row.make, row.model, row.year_from, row.start, row.article, case=5)
    desk.lessons.add([KeptLesson(0, 5, lesson)])
    first = load_learnt(desk)
    assert first is not None
    assert load_learnt(desk) is first
    assert take_back(desk, OWN, {"what": "job", "job": "5", "sure": "yes"}) == 1
    assert load_learnt(desk) is None
    assert restore(desk, OWN, {"what": "job", "job": "5", "sure": "yes"}) == 1
    again = load_learnt(desk)
    assert again is not None
    assert again.shares == first.shares
    with pytest.raises(NotAllowedError):
        take_back(desk, TECH, {"what": "all", "sure": "yes"})


def test_the_demo_shop_has_learnt_something(pack: Pack, bench: Bench) -> None:
    lessons = MemoryLessons()
    store = MemoryStore()
    replay_jobs(store, pack, PEOPLE, AT, lessons=lessons)
    closed = [job for job in store.jobs.values() if job.state == "closed"]
    assert {one.job for one in lessons.all()} == {job.number for job in closed}
    desk = replace(bench.desk, store=store, lessons=lessons)
    learnt = load_learnt(desk)
    assert learnt is not None
    assert len(learnt.shares.cells) > 10
    assert learnt.moved_rates
    made = make_learnt_pack(desk)
    assert {row.article for row in made.fitments} <= {job.key.article for job in closed if job.key}
