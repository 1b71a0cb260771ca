"""The course: eight rehearsals out of any pack, from easy to hard, each of which can be done well."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.pairing.course import KEYS, Lesson, make_course, measure_shape
from bittern.engines.pairing.sheet import RunSheet, Step
from bittern.engines.pairing.vehicle import make_vehicle
from bittern.engines.pairing.vehicle_faults import FAULTS, list_fitting_faults
from tests.engines.pairing.rehearsal_machine import DEMO_SHEETS
from tests.engines.pairing.students import Student
from tests.strategies.sheets import make_sheet, sound_sheets

BY_ID = {sheet.id: sheet for sheet in DEMO_SHEETS}
COURSE = make_course(DEMO_SHEETS)


def test_eight_lessons_each_with_its_own_sheet_and_title() -> None:
    assert [lesson.place for lesson in COURSE] == list(range(1, 9))
    assert len({lesson.title for lesson in COURSE}) == len({lesson.sheet_id for lesson in COURSE}) == 8
    assert {name for lesson in COURSE for name in lesson.faults} == set(FAULTS)


def test_it_gets_harder() -> None:
    shapes = [measure_shape(BY_ID[lesson.sheet_id]) for lesson in COURSE]
    assert [bool(shape.points) for shape in shapes] == [False] * 3 + [True] * 5
    assert shapes[0].load == min(measure_shape(sheet).load for sheet in DEMO_SHEETS)
    assert [len(lesson.faults) for lesson in COURSE] == [0, 1, 1, 0, 1, 2, 2, 3]
    assert BY_ID[COURSE[-1].sheet_id].census == "new-only"
    keeping = [shape.load for shape in shapes[3:7]]
    assert keeping == sorted(keeping)


@pytest.mark.parametrize("lesson", COURSE, ids=lambda lesson: lesson.title)
def test_whoever_is_careful_does_every_lesson_well(lesson: Lesson) -> None:
    sheet = BY_ID[lesson.sheet_id]
    student = Student(sheet, make_vehicle(sheet, lesson.keys, lesson.faults, lesson.seed))
    score = student.run()
    assert (score.success, score.points) == (True, 100)
    wrong = "wrong-article" in lesson.faults
    assert student.state.outcome == student.vehicle.outcome == ("unchanged" if wrong else "good")


@pytest.mark.parametrize("lesson", COURSE, ids=lambda lesson: lesson.title)
def test_its_words_give_nothing_away(lesson: Lesson) -> None:
    assert lesson.title and lesson.about.endswith(".")
    assert not any(name in lesson.about for name in FAULTS)
    assert "wrong article" not in lesson.about and "at home" not in lesson.about


def test_the_order_of_the_pack_does_not_matter() -> None:
    shuffled = list(DEMO_SHEETS)
    Random(3).shuffle(shuffled)
    assert make_course(shuffled) == COURSE


def test_without_a_sound_sheet_there_is_no_course() -> None:
    assert make_course([]) == ()
    assert make_course([make_sheet(Step("a", "act", "A.", then="nowhere"))]) == ()


@settings(max_examples=30, deadline=None)
@given(st.lists(sound_sheets(), min_size=1, max_size=3))
def test_any_pack_makes_a_course_of_eight_whose_vehicles_can_be_made(sheets: list[RunSheet]) -> None:
    named = {f"sheet-{number}": sheet for number, sheet in enumerate(sheets)}
    pack = [
        RunSheet(name, s.title, s.start, s.census, s.needs, s.steps, s.supply) for name, s in named.items()
    ]
    course = make_course(pack)
    assert len(course) == 8
    for lesson in course:
        sheet = next(sheet for sheet in pack if sheet.id == lesson.sheet_id)
        assert set(lesson.faults) <= set(list_fitting_faults(sheet, KEYS))
        vehicle = make_vehicle(sheet, lesson.keys, lesson.faults, lesson.seed)
        assert 0 <= lesson.seed < 2**31
        assert vehicle.place == sheet.start
