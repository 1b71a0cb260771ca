"""A rehearsal under way: what is done at the simulated vehicle, what is said of it, and its score."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from bittern.core.errors import shorten
from bittern.core.phrases import join_words
from bittern.engines.pairing.census import find_lost_keys, word_need
from bittern.engines.pairing.event import RunEvent, read_event
from bittern.engines.pairing.runner import apply_event, fold_events
from bittern.engines.pairing.scoring import score_rehearsal
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle import count_keys, respond
from bittern.engines.pairing.vehicle_state import Deed, Sign, Vehicle, read_vehicle
from bittern.formats.runsheets import parse_runsheet
from bittern.work.entry import Entry
from bittern.work.errors import NotAllowedError, NotYetError
from bittern.work.figures import get_figures
from bittern.work.pairing import Run, read_census, read_event_entry
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.rehearsal_link import judge_readings, make_rehearsal_number, read_number, read_supply
from bittern.work.rehearsals import Rehearsal, RehearsalStore, get_rehearsal

READ_SUPPLY, READ_NUMBER, COUNT_KEYS = "read-supply", "read-number", "count-keys"
DEEDS = ("do", "look", "connect-supply", "remove-supply", "fetch-key", "open-door", "close-doors")
MOST_SHOWN = 40
MOST_DEEDS = 600


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
        scene = _load_own(store, number, person, hold=True)
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
        scene = _load_own(store, number, person, hold=True)
        if made.event_id in scene.run.state.event_ids:
            return
        now = desk.clock.now()
        _keep(store, _hear(scene, replace(made, at=now)), now)


def do_deed(
    desk: Desk, store: RehearsalStore, number: int, person: Person, data: Mapping[str, object]
) -> None:
    """Do something at the vehicle: fields deed, step or key, and deed_id, so that it is done once."""
    entry = Entry(data)
    kind = entry.choice("deed", (*DEEDS, READ_SUPPLY, READ_NUMBER, COUNT_KEYS))
    step, key = entry.text("step", limit=80), entry.text("key", limit=60)
    deed_id = entry.text("deed_id", limit=64)
    entry.finish()
    if kind in (READ_SUPPLY, READ_NUMBER):
        _read_by_link(desk, store, number, person, kind, deed_id)
        return
    with store.transaction():
        scene = _load_own(store, number, person, hold=True)
        if _is_done(scene, deed_id):
            return
        _require_going(scene)
        now = desk.clock.now()
        at_s = scene.rehearsal.find_at_s(now)
        vehicle, signs = scene.vehicle, _look_at_keys(scene.vehicle, at_s)
        if kind != COUNT_KEYS:
            vehicle, signs = respond(scene.sheet, scene.vehicle, Deed(kind, step, key), at_s)
        shown = Shown(kind, step or key, at_s, signs, deed_id)
        _keep(store, replace(scene, vehicle=vehicle, shown=(*scene.shown, shown)), now)


def _look_at_keys(vehicle: Vehicle, at_s: float) -> tuple[Sign, ...]:
    here = [key.name for key in count_keys(vehicle) if key.present]
    found = f"On the seat: {join_words(here)}." if here else "No key lies on the seat."
    return (Sign("finding", 1, found, at_s),)


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
        scene = _load_own(store, number, person, hold=True)
        if _is_done(scene, deed_id):
            return
        now = desk.clock.now()
        state = scene.run.state
        if volts is not None and state.phase != "needs" and not state.ended:
            event = RunEvent(
                str(uuid.uuid4()), "supply", person.login, now, volts=round(volts, 3), source="measured"
            )
            scene = _hear(scene, event)
            says.append(judge_readings(scene.sheet, scene.events, now).say)
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
        kept = _score(kept, scene, now)
    store.save(kept)


def _score(kept: Rehearsal, scene: Scene, now: datetime) -> Rehearsal:
    """Return the rehearsal as ended, with its points and their reasons."""
    score = score_rehearsal(scene.sheet, scene.events, scene.vehicle, figures=get_figures(scene.sheet))
    reasons = tuple(
        {
            "kind": one.kind,
            "points": one.points,
            "step": one.step,
            "found": one.found,
            "right": one.right,
        }
        for one in score.reasons
    )
    return replace(kept, ended_at=now, points=score.points, success=score.success, reasons=reasons)


def _load_own(store: RehearsalStore, number: int, person: Person, *, hold: bool = False) -> Scene:
    scene = open_scene(get_rehearsal(store, number, person, hold=hold))
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
