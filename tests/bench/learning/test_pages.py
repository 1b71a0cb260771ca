"""A handed-over job teaches; Packs shows it; the owner takes it back by a second act, and exports it."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.learning.models import LessonRecord, NoteRecord
from bittern.bench.learning.store import DjangoLessons
from bittern.engines.key.learning import Lesson
from bittern.engines.key.rates import Rates
from bittern.formats.packs import check_pack, read_pack
from bittern.work.facts import JobFile
from bittern.work.learning import load_learnt
from bittern.work.learnt_pack import SOURCE, make_learnt_pack
from bittern.work.lessons import KeptLesson
from bittern.work.ports import Desk
from tests.bench.pages.journey import ARTICLE, ODILE, carry, read_words
from tests.bench.pages.walk import act, carry_to_handover
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
SIGNED = {"keys_handed": "2", "signed_by": "Ansel Quaking", "on_paper": "yes"}
PRIVATE = ("Ansel", "Quaking", "0555", "KL-07", "1X0K2K", "odile", "tamsin")


def finish(desk: Desk) -> JobFile:
    number = carry_to_handover(desk)
    act(desk, number, "sign", **SIGNED)
    return desk.store.load(number)


def teach(desk: Desk, count: int, article: str = ARTICLE, start: int = 100) -> None:
    """Keep lessons of jobs like the journey's."""
    job = desk.store.load(carry(desk, "vehicle"))
    v = job.vehicle
    assert v is not None
    day = desk.clock.now().date()
    DjangoLessons().add(
        [
            KeptLesson(0, n, Lesson(day, v.make, v.model, v.year, v.start, article, case=n))
            for n in range(start, start + count)
        ]
    )


def test_a_signed_handover_teaches_and_says_nothing_about_the_customer(cast: Cast, desk: Desk) -> None:
    job = finish(desk)
    rows = list(LessonRecord.objects.values())
    assert [(row["job"], row["article"], row["outcome"]) for row in rows] == [(job.number, ARTICLE, "fitted")]
    for word in PRIVATE:
        assert word not in repr(rows)


def test_a_handover_that_is_refused_teaches_nothing(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_handover(desk)
    answer = log_in(cast.counter).post(reverse("act", args=[number, "sign"]), {"keys_handed": "2"})
    assert answer.status_code == 422
    assert not LessonRecord.objects.exists()


def test_a_refused_article_is_weighed_against_logged_and_taught(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.technician)
    typed = {"why": "pairing", "note": "Three tries."}
    answer = client.post(reverse("act", args=[number, "refuse-article"]), typed)
    assert answer.status_code == 422
    assert desk.store.load(number).key is not None
    assert "on record would be cleared" in read_words(answer)
    answer = client.post(reverse("act", args=[number, "refuse-article"]), {**typed, "sure": "yes"})
    assert answer.status_code == 302
    job = desk.store.load(number)
    assert (job.key, job.promise) == (None, None)
    assert [(one.article, one.why) for one in job.refused] == [(ARTICLE, "pairing")]
    page = read_words(client.get(f"/jobs/{number}/?leg=key"))
    assert f"Not {ARTICLE} : It does not pair. Three tries." in page
    assert "taken for this vehicle before and refused: it does not pair" in page
    assert f"Article {ARTICLE} was the wrong one. It does not pair. Three tries." in read_words(
        client.get(f"/jobs/{number}/log/")
    )
    # Another vehicle has refused nothing.
    other = {"vin": "", "make": "Quillmoor", "model": "Oxbow", "year": "2021"}
    act(desk, number, "record-vehicle", **other, accepted_because="The plate is gone.")
    assert desk.store.load(number).refused == ()


def test_jobs_move_the_weighing_and_the_reasons_say_so(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "vehicle")
    client = log_in(cast.technician)
    assert "finished jobs of this shop" not in read_words(client.get(f"/jobs/{number}/"))
    teach(desk, 9)
    teach(desk, 2, article="DUN-C1", start=200)
    page = read_words(client.get(f"/jobs/{number}/"))
    assert "in 9 of 11 finished jobs of this shop such a vehicle took it: its share was" in page
    assert "in 2 of 11 finished jobs of this shop such a vehicle took it; the pack does not list it" in page


def test_packs_shows_what_was_learnt_to_a_technician_who_cannot_change_it(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    client = log_in(cast.technician)
    assert "Nothing yet: a job teaches" in read_words(client.get("/packs/"))
    teach(desk, 5)
    words = read_words(client.get("/packs/"))
    assert "From 5 finished jobs." in words
    assert ARTICLE in words
    assert "fitted 5" in words
    assert "own fitments as a pack" not in words
    page = read_words(client.get(reverse("learnt")))
    assert "5 finished jobs count" in page
    assert "Take back" not in page
    answer = client.post(reverse("learnt-change", args=["take-back"]), {"what": "all", "sure": "yes"})
    assert answer.status_code == 403
    assert not NoteRecord.objects.exists()
    assert log_in(cast.counter).get(reverse("learnt")).status_code == 403


@pytest.mark.parametrize("what", ["job", "vehicle", "all"])
def test_the_owner_takes_back_by_a_second_act_and_restores(
    what: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    teach(desk, 4)
    DjangoLessons().add(
        [
            KeptLesson(
                0, 900, Lesson(desk.clock.now().date(), "Wader", "Nine", 2012, "turn", ARTICLE, case=900)
            )
        ]
    )
    taught = next(one.lesson for one in DjangoLessons().all())
    client = log_in(cast.owner)
    typed = {"what": what, "job": "101", "make": taught.make, "model": taught.model}
    address = reverse("learnt-change", args=["take-back"])
    assert client.get(address, typed).status_code == 200
    asked = client.post(address, typed)
    assert asked.status_code == 422
    assert "Found not ticked" in read_words(asked)
    assert LessonRecord.objects.filter(taken=True).count() == 0
    expected = {"job": 1, "vehicle": 4, "all": 5}[what]
    done = client.post(address, {**typed, "sure": "yes"}, follow=True)
    assert f"{expected} lesson" in read_words(done)
    assert LessonRecord.objects.filter(taken=True).count() == expected
    learnt = load_learnt(desk)
    assert (learnt.lessons if learnt else 0) == 5 - expected
    assert "odile: " in read_words(client.get(reverse("learnt")))
    client.post(reverse("learnt-change", args=["restore"]), {**typed, "sure": "yes"})
    assert LessonRecord.objects.filter(taken=True).count() == 0
    assert [note.act for note in DjangoLessons().notes()] == ["restored", "taken back"]


@pytest.mark.parametrize(
    "typed", [{}, {"what": "nothing"}, {"what": "job"}, {"what": "vehicle", "make": "X"}]
)
def test_what_to_take_back_has_to_be_said(typed: dict[str, str], cast: Cast, log_in: LogIn) -> None:
    client, address = log_in(cast.owner), reverse("learnt-change", args=["take-back"])
    assert client.get(address, typed).status_code == 200
    assert client.post(address, {**typed, "sure": "yes"}).status_code == 422
    assert client.post(reverse("learnt-change", args=["burn"]), {"sure": "yes"}).status_code == 404


def test_one_models_page_lists_its_jobs(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    teach(desk, 3)
    lesson = next(one.lesson for one in DjangoLessons().all())
    page = log_in(cast.owner).get(reverse("learnt"), {"make": lesson.make, "model": lesson.model})
    words = read_words(page)
    assert "Job 101" in words
    assert "Take back job 101" in words
    assert f"Take back everything about {lesson.make} {lesson.model}" in words


def test_own_fitments_are_a_sound_pack_without_customers(
    cast: Cast, log_in: LogIn, desk: Desk, tmp_path: Path
) -> None:
    assert log_in(cast.owner).get(reverse("own-fitments")).status_code == 409
    finish(desk)
    teach(desk, 3, article="DUN-C1")
    answer = log_in(cast.owner).get(reverse("own-fitments"))
    assert answer["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        archive.extractall(tmp_path)
    folder = tmp_path / "own-fitments"
    assert check_pack(folder).ok
    made, read = make_learnt_pack(desk), read_pack(folder)
    assert list(read.fitments) == list(made.fitments)
    assert {row.article for row in read.fitments} == {ARTICLE, "DUN-C1"}
    assert read.source == SOURCE
    learnt = load_learnt(desk)
    assert learnt is not None
    by_article = {one.article: one.learnt for cell in learnt.shares.cells for one in cell.shares}
    for row in read.fitments:
        assert row.share == pytest.approx(by_article[row.article] / (1 - Rates().outside_floor), abs=1e-4)
    text = "".join(path.read_text() for path in folder.rglob("*") if path.is_file())
    for word in PRIVATE:
        assert word not in text


def test_what_was_taken_back_is_not_weighed(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    from bittern.work.learning import take_back

    number = carry(desk, "vehicle")
    teach(desk, 9)
    take_back(desk, ODILE, {"what": "all", "sure": "yes"})
    page = read_words(log_in(cast.technician).get(f"/jobs/{number}/"))
    assert "finished jobs of this shop" not in page
