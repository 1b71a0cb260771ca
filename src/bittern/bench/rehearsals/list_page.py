"""What the page of all rehearsals shows: the course, any sheet, one's own, how well each family is known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from bittern.bench.people.models import User
from bittern.core.phrases import join_words
from bittern.engines.pairing.course import Lesson
from bittern.engines.pairing.skill import FAMILIES, Skill, SkillRules
from bittern.engines.pairing.vehicle_faults import FAULTS
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.rehearsal_begin import list_course, list_sheets
from bittern.work.rehearsal_skill import weigh_everybodys_skill, weigh_own_skill
from bittern.work.rehearsals import Rehearsal, RehearsalStore

BEGIN = "begin-rehearsal"
FAULT_WORDS = {
    "low-supply": "The battery is tired",
    "key-at-home": "A key was left at home",
    "cable-pulled": "The supply's cable is pulled out on the way",
    "signal-missed": "A signal comes while you look elsewhere",
    "wrong-article": "The new key is the wrong article",
}
SHOWN = 12


@dataclass(frozen=True, slots=True)
class LessonView:
    """A rehearsal of the course, its sheet's title, and what was reached in it (None: not ended yet)."""

    lesson: Lesson
    sheet: str
    best: int | None
    tries: int
    open_number: int


@dataclass(frozen=True, slots=True)
class SkillView:
    """How well a family is known: shares as numbers for the bar, and the same in words."""

    title: str
    low: float
    high: float
    mean: float
    words: str
    rehearsed: str
    may_alone: bool
    because: str

    @property
    def span(self) -> float:
        """Length of the range."""
        return self.high - self.low


def build_list(desk: Desk, store: RehearsalStore, person: Person) -> dict[str, Any]:
    """Return everything of the page; an owner sees everybody's skill."""
    sheets, now = list_sheets(desk), desk.clock.now()
    mine = store.list_of(person.login)
    context: dict[str, Any] = {
        "course": [_view_lesson(lesson, sheets[lesson.sheet_id].title, mine) for lesson in list_course(desk)],
        "sheet_words": {name: sheet.title for name, sheet in sheets.items()},
        "fault_words": {name: FAULT_WORDS.get(name, name) for name in FAULTS},
        "going": next((one for one in mine if one.ended_at is None), None),
        "mine": mine[:SHOWN],
        "earlier": mine[SHOWN:],
        "skills": [view_skill(skill) for skill in weigh_own_skill(store, person, now)],
        "rules": SkillRules(),
        "begin_act": BEGIN,
    }
    if person.may("owner"):
        people = [one for one in User.objects.filter(is_active=True) if one.role != "counter"]
        skills = weigh_everybodys_skill(store, person, [one.login for one in people], now)
        context["everybody"] = [(one.name, _view_of_person(skills[one.login])) for one in people]
    return context


def view_skill(skill: Skill) -> SkillView:
    """Return a skill in words: never a share without its range."""
    words = f"between {skill.low:.0%} and {skill.high:.0%}".replace("%", " %")
    rehearsed = f"{skill.successes} of {skill.rehearsals} rehearsals went well"
    if skill.rehearsals == 0:
        words, rehearsed = "nothing known yet", "Not rehearsed yet"
    elif skill.rehearsals == 1:
        rehearsed = "One rehearsal, which " + ("went well" if skill.successes else "did not go well")
    return SkillView(
        title=FAMILIES[skill.family],
        low=skill.low,
        high=skill.high,
        mean=skill.share,
        words=words,
        rehearsed=rehearsed,
        may_alone=skill.may_alone,
        because=skill.because.replace("%", " %"),
    )


def _view_of_person(skills: Iterable[Skill]) -> dict[str, Any]:
    views = [view_skill(skill) for skill in skills]
    alone = [view.title for view in views if view.may_alone]
    return {"skills": views, "alone": join_words(alone)}


def _view_lesson(lesson: Lesson, sheet: str, mine: Iterable[Rehearsal]) -> LessonView:
    tries = [one for one in mine if one.place == lesson.place]
    points = [one.points for one in tries if one.points is not None]
    going = next((one.id for one in tries if one.ended_at is None), 0)
    return LessonView(lesson, sheet, max(points, default=None), len(points), going)
