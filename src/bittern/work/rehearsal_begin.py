"""Rehearsals begun: a lesson of the course, any sheet with faults, or one like another."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence

from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.course import KEYS, Lesson, make_course
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.skill import find_family
from bittern.engines.pairing.vehicle import make_vehicle
from bittern.engines.pairing.vehicle_faults import FAULTS, list_fitting_faults
from bittern.formats.runsheets import parse_runsheet, write_runsheet
from bittern.work.entry import Entry
from bittern.work.people import Person, require
from bittern.work.ports import Desk
from bittern.work.rehearsals import Rehearsal, RehearsalStore, get_rehearsal
from bittern.work.sheets import list_sheets_in_use

MOST_SEED = 2**31 - 1


def list_sheets(desk: Desk) -> dict[str, RunSheet]:
    """Return the sheets that can be rehearsed by id: those without faults."""
    return {name: sheet for name, sheet in list_sheets_in_use(desk).items() if not find_sheet_faults(sheet)}


def list_course(desk: Desk) -> tuple[Lesson, ...]:
    """Return the course of eight, from easy to hard, out of the shop's sheets."""
    return make_course(list_sheets(desk).values())


def begin_lesson(desk: Desk, store: RehearsalStore, person: Person, data: Mapping[str, object]) -> int:
    """Begin a rehearsal of the course: field place, 1 to 8; its vehicle is the same for everybody."""
    require(person, "bench")
    entry = Entry(data)
    course = {lesson.place: lesson for lesson in list_course(desk)}
    place = entry.whole("place", 1, len(course), required=True)
    entry.finish()
    lesson = course[place or 1]
    sheet = list_sheets(desk)[lesson.sheet_id]
    return keep_rehearsal(
        desk, store, person, sheet, lesson.faults, lesson.seed, lesson.title, lesson.place, lesson.keys
    )


def begin_rehearsal(desk: Desk, store: RehearsalStore, person: Person, data: Mapping[str, object]) -> int:
    """Make a vehicle and keep the rehearsal: fields sheet, faults (names), surprise (tick: drawn)."""
    require(person, "bench")
    entry, sheets = Entry(data), list_sheets(desk)
    sheet = sheets.get(entry.choice("sheet", tuple(sheets)))
    faults = entry.words("faults", tuple(FAULTS))
    seed = draw_seed()
    fitting = list_fitting_faults(sheet, KEYS) if sheet else []
    for name in faults:
        if sheet and name in FAULTS and name not in fitting:
            entry.fault("faults", name, "faults that can happen with this sheet")
    entry.finish()
    assert sheet is not None
    if entry.flag("surprise"):
        # The seed draws them, so that the same rehearsal can be done again.
        faults = tuple(name for place, name in enumerate(fitting) if seed >> place & 1)
    return keep_rehearsal(desk, store, person, sheet, faults, seed)


def repeat_rehearsal(
    desk: Desk, store: RehearsalStore, number: int, person: Person, data: Mapping[str, object]
) -> int:
    """Begin one like another: field faults_how, same (the very same vehicle) or other (drawn anew)."""
    before = get_rehearsal(store, number, person)
    entry = Entry(data)
    how = entry.choice("faults_how", ("same", "other"))
    entry.finish()
    sheet = parse_runsheet(before.sheet_text, before.sheet)
    if how == "same":
        return keep_rehearsal(
            desk, store, person, sheet, before.faults, before.seed, before.title, before.place
        )
    seed = draw_seed()
    fitting = list_fitting_faults(sheet, KEYS)
    faults = tuple(name for place, name in enumerate(fitting) if seed >> place & 1)
    return keep_rehearsal(desk, store, person, sheet, faults, seed)


def keep_rehearsal(
    desk: Desk,
    store: RehearsalStore,
    person: Person,
    sheet: RunSheet,
    faults: Sequence[str],
    seed: int,
    title: str = "",
    place: int = 0,
    keys: Sequence[KeyInHand] = KEYS,
) -> int:
    """Keep a new rehearsal and return its number."""
    vehicle = make_vehicle(sheet, keys, faults, seed)
    with store.transaction():
        return store.add(
            Rehearsal(
                id=0,
                person=person.login,
                title=title or sheet.title,
                family=find_family(sheet),
                sheet=sheet.id,
                sheet_text=write_runsheet(sheet),
                seed=seed,
                begun_at=desk.clock.now(),
                place=place,
                faults=vehicle.faults,
                vehicle=vehicle.as_dict(),
            )
        )


def draw_seed() -> int:
    """Return a seed that nobody can foresee."""
    return uuid.uuid4().int % MOST_SEED
