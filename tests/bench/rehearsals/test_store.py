"""The store of rehearsals: all comes back, changes are counted, and nobody overwrites a newer one."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from django.apps import apps

from bittern.bench.rehearsals.store import DjangoRehearsals
from bittern.work.errors import ConflictError, NoSuchRehearsalError, NotAllowedError
from bittern.work.people import COUNTER, OWNER, TECHNICIAN, Person
from bittern.work.rehearsals import Rehearsal, get_rehearsal

pytestmark = pytest.mark.django_db

BEGUN = datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
STORE = DjangoRehearsals()
TAMSIN = Person("tamsin", "Tamsin Reedmace", TECHNICIAN)
CORIN = Person("corin", "Corin Sallow", TECHNICIAN)
ODILE = Person("odile", "Odile Marram", OWNER)
CALLA = Person("calla", "Calla Withy", COUNTER)


def make(person: str = "tamsin", /, **more: object) -> Rehearsal:
    made = Rehearsal(0, person, "A first one", "fen turn", "fen-turn-pair", "id = 'x'", 7, BEGUN)
    return replace(made, **more)  # type: ignore[arg-type]


def test_everything_comes_back() -> None:
    kept = make(
        place=3,
        faults=("low-supply",),
        vehicle={"place": "settle", "volts": 12.5},
        events=({"kind": "begun", "event_id": "1"},),
        shown=({"at_s": 1.5, "signs": []},),
        ended_at=BEGUN + timedelta(minutes=5),
        points=81,
        success=True,
        reasons=({"points": 19, "say": "ä"},),
    )
    number = STORE.add(kept)
    assert STORE.find(number) == replace(kept, id=number)
    assert STORE.find(number + 1) is None


def test_of_two_changes_to_the_same_state_the_second_is_refused() -> None:
    number = STORE.add(make())
    first = STORE.find(number)
    assert first is not None
    STORE.save(replace(first, points=50))
    with pytest.raises(ConflictError):
        STORE.save(replace(first, points=90))
    again = STORE.find(number)
    assert again is not None
    assert (again.points, again.version) == (50, 1)


def test_lists_are_of_one_person_newest_first_and_of_all_that_were_started_oldest_first() -> None:
    started: dict[str, object] = {"events": ({"kind": "begun", "event_id": "1"},)}
    made = [make("tamsin", **started), make(), make("corin", ended_at=BEGUN, points=70, **started)]
    numbers = [STORE.add(one) for one in made]
    assert [one.id for one in STORE.list_of("tamsin")] == [numbers[1], numbers[0]]
    assert [one.id for one in STORE.list_started()] == [numbers[0], numbers[2]]
    assert all(one.vehicle is None for one in STORE.list_started())


def test_somebody_elses_rehearsal_is_as_if_it_were_not_there_but_for_an_owner() -> None:
    number = STORE.add(make())
    assert get_rehearsal(STORE, number, TAMSIN).id == number
    assert get_rehearsal(STORE, number, ODILE).id == number
    for other, of in ((CORIN, number), (TAMSIN, number + 1)):
        with pytest.raises(NoSuchRehearsalError):
            get_rehearsal(STORE, of, other)
    with pytest.raises(NotAllowedError):
        get_rehearsal(STORE, number, CALLA)


def test_no_table_of_rehearsals_knows_a_job() -> None:
    for model in apps.get_app_config("rehearsals").get_models():
        assert not [field for field in model._meta.get_fields() if field.is_relation]
