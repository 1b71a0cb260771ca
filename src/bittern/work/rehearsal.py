"""A rehearsal: a run sheet done against a simulated vehicle, and scored once it has ended."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from bittern.core.errors import shorten
from bittern.core.phrases import join_words
from bittern.engines.pairing.census import KeyInHand, find_lost_keys, word_need
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.event import RunEvent, read_event
from bittern.engines.pairing.runner import apply_event, fold_events
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle import make_vehicle, respond
from bittern.engines.pairing.vehicle_faults import FAULTS, list_fitting_faults
from bittern.engines.pairing.vehicle_state import Deed, Sign, Vehicle, read_vehicle
from bittern.formats.runsheets import parse_runsheet, write_runsheet
from bittern.work.entry import Entry
from bittern.work.errors import NotAllowedError, NotYetError
from bittern.work.pairing import NEW_KEY, Run, read_census, read_event_entry
from bittern.work.people import Person, require
from bittern.work.ports import Desk
from bittern.work.rehearsal_link import judge_readings, make_rehearsal_number, read_number, read_supply
from bittern.work.rehearsals import Rehearsal, RehearsalStore, get_rehearsal

# What the customer of every rehearsal says that there is.
KEYS = (
    KeyInHand("The daily key", present=True, works_before=True),
    KeyInHand("The spare key", present=True, works_before=True),
    KeyInHand(NEW_KEY, present=True, works_before=False, new=True),
)
READ_SUPPLY, READ_NUMBER = "read-supply", "read-number"
DEEDS = ("do", "look", "connect-supply", "remove-supply", "fetch-key", "open-door", "close-doors")
MOST_SHOWN = 40
MOST_DEEDS = 600
MOST_SEED = 2**31 - 1


@dataclass(frozen=True, slots=True)
class Shown:
    """The last things done at the vehicle: which deed, and what came of it."""

    deed: str
    step: str
    at_s: float
    signs: tuple[Sign, ...]
    deed_id: str = ""

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data that :func:`read_shown` reads back."""
        signs = [
            {"kind": sign.kind, "count": sign.count, "text": sign.text, "at_s": sign.at_s}
            for sign in self.signs
        ]
        return {
            "deed": self.deed,
            "step": self.step,
            "at_s": self.at_s,
            "deed_id": self.deed_id,
            "signs": signs,
        }


@dataclass(frozen=True, slots=True)
class Scene:
    """A rehearsal as it stands: the run by its events, and the vehicle."""

    rehearsal: Rehearsal
    run: Run
    events: tuple[RunEvent, ...]
    vehicle: Vehicle
    shown: tuple[Shown, ...]

    @property
    def sheet(self) -> RunSheet:
        """The sheet as it was at the beginning."""
        return self.run.sheet


def list_sheets(desk: Desk) -> dict[str, RunSheet]:
    """Return the sheets that can be rehearsed by id: those without faults."""
    return {
        name: sheet for name, sheet in sorted(desk.pack.runsheets.items()) if not find_sheet_faults(sheet)
    }


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
) -> int:
    """Keep a new rehearsal and return its number."""
    vehicle = make_vehicle(sheet, KEYS, faults, seed)
    with store.transaction():
        return store.add(
            Rehearsal(
                id=0,
                person=person.login,
                title=title or sheet.title,
                family=sheet.id,
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


def load_scene(store: RehearsalStore, number: int, person: Person) -> Scene:
    """Return a rehearsal as it stands; raises NoSuchRehearsalError for one that the person may not see."""
    return open_scene(get_rehearsal(store, number, person))


def open_scene(rehearsal: Rehearsal) -> Scene:
    """Return the run by its events, and the vehicle."""
    sheet = parse_runsheet(rehearsal.sheet_text, rehearsal.sheet)
    events = tuple(read_event(plain) for plain in rehearsal.events)
    run = Run(sheet, fold_events(sheet, events), 1)
    vehicle = read_vehicle(rehearsal.vehicle or {})
    return Scene(rehearsal, run, events, vehicle, tuple(read_shown(one) for one in rehearsal.shown))


def read_shown(plain: Mapping[str, object]) -> Shown:
    """Return what :meth:`Shown.as_dict` made ``plain`` from."""
    signs = plain.get("signs")
    return Shown(
        deed=str(plain.get("deed")),
        step=str(plain.get("step")),
        at_s=float(str(plain.get("at_s"))),
        signs=tuple(
            Sign(str(one["kind"]), int(one["count"]), str(one["text"]), float(one["at_s"]))
            for one in (signs if isinstance(signs, list) else [])
        ),
        deed_id=str(plain.get("deed_id")),
    )


def begin_run(
    desk: Desk, store: RehearsalStore, number: int, person: Person, data: Mapping[str, object]
) -> None:
    """Begin the run: fields needs (ticked) and the key census, as at a real vehicle."""
    entry = Entry(data)
    keys, needs = read_census(entry), entry.words("needs")
    with store.transaction():
        scene = _load_own(store, number, person)
        if scene.run.state.phase != "needs":
            return
        missing = [word_need(need) for need in scene.sheet.needs if need not in needs]
        if missing:
            entry.fault(
                "needs", f"not ticked: {' '.join(missing)}", "every need ticked before the first step"
            )
        lost = find_lost_keys(scene.sheet, keys)
        if lost and not entry.flag("customer_knows"):
            entry.fault(
                "customer_knows",
                f"not ticked, and by this count {join_words(lost)} will stop working",
                "those keys fetched and counted, or a tick that the customer knows",
            )
        entry.finish()
        now = desk.clock.now()
        begun = RunEvent(str(uuid.uuid4()), "begun", person.login, now, needs=scene.sheet.needs)
        census = RunEvent(str(uuid.uuid4()), "census", person.login, now, keys=keys)
        _keep(store, _hear(_hear(scene, begun), census), now)


def record_event(
    desk: Desk, store: RehearsalStore, number: int, person: Person, data: Mapping[str, object]
) -> None:
    """Record what the person says of the run, with the fields of a real one; the vehicle goes its own way."""
    entry = Entry(data)
    made = read_event_entry(entry, person)
    entry.finish()
    with store.transaction():
        scene = _load_own(store, number, person)
        if made.event_id in scene.run.state.event_ids:
            return
        now = desk.clock.now()
        _keep(store, _hear(scene, replace(made, at=now)), now)


def do_deed(
    desk: Desk, store: RehearsalStore, number: int, person: Person, data: Mapping[str, object]
) -> None:
    """Do something at the vehicle: fields deed, step or key, and deed_id, so that it is done once."""
    entry = Entry(data)
    kind = entry.choice("deed", (*DEEDS, READ_SUPPLY, READ_NUMBER))
    step, key = entry.text("step", limit=80), entry.text("key", limit=60)
    deed_id = entry.text("deed_id", limit=64)
    entry.finish()
    if kind in (READ_SUPPLY, READ_NUMBER):
        _read_by_link(desk, store, number, person, kind, deed_id)
        return
    with store.transaction():
        scene = _load_own(store, number, person)
        if _is_done(scene, deed_id):
            return
        _require_going(scene)
        now = desk.clock.now()
        at_s = scene.rehearsal.find_at_s(now)
        vehicle, signs = respond(scene.sheet, scene.vehicle, Deed(kind, step, key), at_s)
        shown = Shown(kind, step or key, at_s, signs, deed_id)
        _keep(store, replace(scene, vehicle=vehicle, shown=(*scene.shown, shown)), now)


def _read_by_link(
    desk: Desk, store: RehearsalStore, number: int, person: Person, kind: str, deed_id: str
) -> None:
    """Read number or supply through the link; a reading of the supply is the run's, once it has begun."""
    scene = _load_own(store, number, person)
    if _is_done(scene, deed_id):
        return
    _require_going(scene)
    # The bus takes its time: no transaction is open meanwhile.
    at_s = scene.rehearsal.find_at_s(desk.clock.now())
    number_word = make_rehearsal_number(scene.vehicle.seed)
    if kind == READ_NUMBER:
        found = read_number(scene.vehicle, at_s)
        volts = found.supply_volts
        same = "the number on the papers" if found.number == number_word else "not the number on the papers"
        says = [f"Number on board: {found.number}. It is {same}."]
    else:
        volts, says = read_supply(scene.vehicle, at_s), []
    with store.transaction():
        scene = _load_own(store, number, person)
        if _is_done(scene, deed_id):
            return
        now = desk.clock.now()
        state = scene.run.state
        if volts is not None and state.phase != "needs" and not state.ended:
            event = RunEvent(
                str(uuid.uuid4()), "supply", person.login, now, volts=round(volts, 3), source="measured"
            )
            scene = _hear(scene, event)
            says.append(judge_readings(scene.sheet, scene.events).say)
        elif volts is not None:
            says.append(f"The meter shows {volts:.2f} V.")
        signs = tuple(Sign("finding", 1, sentence, at_s) for sentence in says)
        _keep(store, replace(scene, shown=(*scene.shown, Shown(kind, "", at_s, signs, deed_id))), now)


def _hear(scene: Scene, event: RunEvent) -> Scene:
    """Return the scene after something was said: the run believes it, the vehicle knows better."""
    state = apply_event(scene.sheet, scene.run.state, event)
    at_s = scene.rehearsal.find_at_s(event.at)
    vehicle, _ = respond(scene.sheet, scene.vehicle, event, at_s)
    return replace(scene, run=replace(scene.run, state=state), events=(*scene.events, event), vehicle=vehicle)


def _keep(store: RehearsalStore, scene: Scene, now: datetime) -> None:
    """Keep the scene; once the run has ended, with its score."""
    kept = replace(
        scene.rehearsal,
        events=tuple(event.as_dict() for event in scene.events),
        vehicle=scene.vehicle.as_dict(),
        shown=tuple(one.as_dict() for one in scene.shown[-MOST_SHOWN:]),
    )
    if scene.run.state.ended and kept.ended_at is None:
        kept = replace(kept, ended_at=now)
    store.save(kept)


def _load_own(store: RehearsalStore, number: int, person: Person) -> Scene:
    scene = load_scene(store, number, person)
    if scene.rehearsal.person != person.login:
        raise NotAllowedError(f"{person.login} in the rehearsal of another", "whoever began it")
    return scene


def _is_done(scene: Scene, deed_id: str) -> bool:
    return bool(deed_id) and any(one.deed_id == deed_id for one in scene.shown)


def _require_going(scene: Scene) -> None:
    if scene.rehearsal.ended_at is not None:
        raise NotYetError("a rehearsal that has ended", "one under way", hint="begin it again")
    if len(scene.vehicle.log) >= MOST_DEEDS:
        raise NotYetError(f"{MOST_DEEDS} deeds", "fewer", hint=f"give {shorten(scene.rehearsal.title)} up")
