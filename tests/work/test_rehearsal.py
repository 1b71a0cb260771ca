"""Rehearsals without a database: every sheet of the demo pack, with every fault, is carried to an end."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count

import pytest

from bittern.demo import PACK_DIR
from bittern.engines.pairing.course import KEYS
from bittern.engines.pairing.runner import fold_events
from bittern.engines.pairing.vehicle import find_true_census, tell_supply
from bittern.engines.pairing.vehicle_faults import list_fitting_faults
from bittern.formats.packs import read_pack
from bittern.work.errors import ConflictError, FieldsError, NotAllowedError
from bittern.work.memory import MemoryStore, StepClock
from bittern.work.people import TECHNICIAN, Person
from bittern.work.ports import Desk
from bittern.work.rehearsal import Scene, begin_run, do_deed, load_scene, record_event
from bittern.work.rehearsal_begin import begin_lesson, begin_rehearsal, keep_rehearsal, list_sheets
from bittern.work.rehearsal_link import make_rehearsal_number, read_number, read_supply
from bittern.work.rehearsal_skill import list_practices, weigh_everybodys_skill, weigh_own_skill
from bittern.work.rehearsals import Rehearsal

TAMSIN = Person("tamsin", "Tamsin Reedmace", TECHNICIAN)
PACK = read_pack(PACK_DIR)
PAIRS = [
    (name, fault)
    for name, sheet in PACK.runsheets.items()
    for fault in ("", *list_fitting_faults(sheet, KEYS))
]


class MemoryRehearsals:
    """Rehearsals in a dictionary."""

    def __init__(self) -> None:
        self.kept: dict[int, Rehearsal] = {}

    @contextmanager
    def transaction(self) -> Iterator[None]:
        kept = dict(self.kept)
        try:
            yield
        except BaseException:
            self.kept = kept
            raise

    def add(self, rehearsal: Rehearsal) -> int:
        number = len(self.kept) + 1
        self.kept[number] = replace(rehearsal, id=number)
        return number

    def find(self, number: int, *, hold: bool = False) -> Rehearsal | None:
        del hold
        return self.kept.get(number)

    def save(self, rehearsal: Rehearsal) -> None:
        if self.kept[rehearsal.id].version != rehearsal.version:
            raise ConflictError("an old one", "the stored one")
        self.kept[rehearsal.id] = replace(rehearsal, version=rehearsal.version + 1)

    def list_of(self, person: str) -> Sequence[Rehearsal]:
        return [one for one in reversed(self.kept.values()) if one.person == person]

    def list_started(self) -> Sequence[Rehearsal]:
        return [one for one in self.kept.values() if one.events]


class Trainee:
    """Somebody who rehearses and tells the truth."""

    def __init__(self, sheet: str, faults: Sequence[str] = (), seed: int = 1) -> None:
        self.desk = Desk(MemoryStore(), StepClock(), PACK)
        self.store = MemoryRehearsals()
        self.ids = count(1)
        self.number = keep_rehearsal(self.desk, self.store, TAMSIN, PACK.runsheets[sheet], faults, seed)

    def look(self) -> Scene:
        return load_scene(self.store, self.number, TAMSIN)

    def begin(self) -> None:
        fields: dict[str, object] = {"needs": list(self.look().sheet.needs), "customer_knows": "yes"}
        for place, key in enumerate((key for key in self.look().vehicle.keys if not key.new), 1):
            fields |= {f"key-{place}-name": key.name, f"key-{place}-worked": "yes"}
            fields |= {f"key-{place}-present": "yes"} if key.here else {}
        begin_run(self.desk, self.store, self.number, TAMSIN, fields)

    def do(self, deed: str = "do", **more: str) -> None:
        data = {"deed": deed, "step": self.look().run.state.step_id if deed == "do" else "", **more}
        do_deed(self.desk, self.store, self.number, TAMSIN, data)

    def say(self, kind: str, **more: str) -> None:
        state = self.look().run.state
        data = {"event_id": f"{next(self.ids)}", "kind": kind, "step": state.step_id, **more}
        record_event(self.desk, self.store, self.number, TAMSIN, data)

    def carry_on(self) -> None:
        """Do what is at hand and say how it truly went."""
        scene = self.look()
        state, step = scene.run.state, scene.sheet.steps[scene.run.state.step_id]
        if state.phase == "supply":
            if state.supply_v is not None:
                self.do("connect-supply")
            # Typed in, as it is; the link's quarter of a second is spent where the link is tested.
            scene = self.look()
            volts = tell_supply(scene.vehicle, scene.vehicle.now_s)
            self.say("supply", volts=f"{volts:.2f}", source="typed")
        elif state.phase == "confirm":
            self.say("confirmed", sure="yes")
        else:
            self.do()
            untold = self.look().vehicle.untold
            assert untold is not None
            if step.kind == "choose":
                said = self.look().shown[-1].signs[0].text
                labels = [option.label for option in step.options]
                # What is free to decide is decided for an end, sooner or later.
                times = sum(passed.step_id == step.id for passed in state.history)
                self.say("chosen", choice=said if said in labels else labels[times % len(labels)])
            elif untold.way == "worked":
                self.say("done")
            elif untold.to:
                self.say("failed", to=untold.to)
            else:
                self.say("abandoned", give_up="yes")

    def carry_to_end(self) -> Scene:
        self.begin()
        for _ in range(150):
            if self.look().run.state.ended:
                return self.look()
            self.carry_on()
        raise AssertionError("no end")


@pytest.mark.parametrize(("sheet", "fault"), PAIRS)
@pytest.mark.parametrize("seed", [1, 2])
def test_whoever_tells_the_truth_comes_to_the_vehicles_own_end(sheet: str, fault: str, seed: int) -> None:
    scene = Trainee(sheet, [fault] if fault else [], seed).carry_to_end()
    assert scene.rehearsal.ended_at is not None
    assert scene.run.state == fold_events(scene.sheet, scene.events)
    if scene.run.state.outcome:
        assert scene.vehicle.outcome == scene.run.state.outcome
        works = {key.name: key.works for key in find_true_census(scene.vehicle)}
        told = {one.name: one.works for one in scene.run.forecast if one.works is not None}
        new_ones = (
            {key.name for key in KEYS if key.new} if "wrong-article" in scene.rehearsal.faults else set()
        )
        assert {name: works[name] for name in told if name not in new_ones} == {
            name: value for name, value in told.items() if name not in new_ones
        }


def test_the_same_deeds_meet_the_same_vehicle() -> None:
    ends = [Trainee("fell-turn-pair", ["low-supply"], 11).carry_to_end() for _ in range(2)]
    assert ends[0].vehicle == ends[1].vehicle


def test_the_link_reads_the_vehicles_number_and_its_voltage_as_it_falls() -> None:
    trainee = Trainee("fell-turn-pair", ["low-supply"])
    vehicle = trainee.look().vehicle
    found = read_number(vehicle, 0.0)
    assert (found.number, found.faults) == (make_rehearsal_number(1), ())
    assert found.supply_volts == pytest.approx(read_supply(vehicle, 0.0), abs=0.001)
    assert read_supply(replace(vehicle, awake=True), 7200.0) < read_supply(vehicle, 0.0) - 0.2
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("simulated-")]


def test_a_reading_before_the_run_is_shown_and_is_none_of_the_run() -> None:
    trainee = Trainee("fell-turn-pair")
    trainee.do("read-supply")
    assert trainee.look().events == ()
    assert "The meter shows" in trainee.look().shown[-1].signs[0].text
    trainee.begin()
    trainee.do("read-supply")
    assert trainee.look().events[-1].kind == "supply"


def test_a_key_at_home_is_not_here_until_it_is_fetched() -> None:
    trainee = Trainee("fell-turn-pair", ["key-at-home"])
    away = next(key.name for key in trainee.look().vehicle.keys if not key.here)
    trainee.do("fetch-key", key=away)
    assert all(key.here for key in trainee.look().vehicle.keys)


def test_what_was_counted_is_not_lost_by_a_refused_beginning() -> None:
    trainee = Trainee("fell-turn-pair", ["key-at-home"])
    fields: dict[str, object] = {"needs": list(trainee.look().sheet.needs), "key-1-name": "The daily key"}
    with pytest.raises(FieldsError) as refused:
        begin_run(trainee.desk, trainee.store, trainee.number, TAMSIN, fields)
    assert set(refused.value.fields) == {"customer_knows"}
    assert trainee.look().run.state.phase == "needs"


def test_only_whoever_began_it_does_something_in_it() -> None:
    trainee = Trainee("fell-turn-pair")
    owner = Person("odile", "Odile Marram", "owner")
    assert load_scene(trainee.store, trainee.number, owner).rehearsal.person == "tamsin"
    with pytest.raises(NotAllowedError):
        do_deed(trainee.desk, trainee.store, trainee.number, owner, {"deed": "look"})


def test_sheets_with_faults_are_not_offered_and_faults_that_cannot_be_are_refused() -> None:
    desk, store = Desk(MemoryStore(), StepClock(), PACK), MemoryRehearsals()
    assert set(list_sheets(desk)) == set(PACK.runsheets)
    with pytest.raises(FieldsError):
        begin_rehearsal(desk, store, TAMSIN, {"sheet": "fell-turn-pair", "faults": ["hail"]})
    number = begin_rehearsal(desk, store, TAMSIN, {"sheet": "fell-turn-pair", "surprise": "yes"})
    kept = store.kept[number]
    fitting = list_fitting_faults(PACK.runsheets["fell-turn-pair"], KEYS)
    assert kept.faults == tuple(name for place, name in enumerate(fitting) if kept.seed >> place & 1)


BEGUN = datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
NOW = BEGUN + timedelta(days=10)


def record(number: int, **more: object) -> Rehearsal:
    made = Rehearsal(number, "tamsin", "A", "adds", "fen", "", 7, BEGUN + timedelta(minutes=number))
    return replace(made, **more)  # type: ignore[arg-type]


def test_the_very_same_vehicle_counts_for_the_skill_the_first_time_only() -> None:
    tries = [
        record(number, ended_at=BEGUN + timedelta(hours=number), success=number > 1) for number in (1, 2, 3)
    ]
    other = record(4, seed=8, ended_at=BEGUN + timedelta(hours=9), success=True)
    found = list_practices([other, *reversed(tries)], NOW)["tamsin"]
    assert [one.success for one in found] == [False, True]


def test_one_that_is_left_open_counts_as_no_success_after_a_day() -> None:
    left = record(1)
    assert list_practices([left], left.begun_at + timedelta(hours=23)) == {}
    found = list_practices([left], left.begun_at + timedelta(hours=25))["tamsin"]
    assert [one.success for one in found] == [False]


def test_four_good_ones_suffice_to_do_it_alone_and_three_do_not() -> None:
    good = [
        record(number, seed=number, ended_at=NOW, success=True, events=({"kind": "begun"},))
        for number in range(1, 5)
    ]
    for count_, may in ((3, False), (4, True)):
        store = MemoryRehearsals()
        store.kept = {one.id: one for one in good[:count_]}
        adds = weigh_own_skill(store, TAMSIN, NOW)[0]
        assert (adds.rehearsals, adds.may_alone) == (count_, may)
    with pytest.raises(NotAllowedError):
        weigh_everybodys_skill(store, TAMSIN, ["tamsin"], NOW)


@pytest.mark.parametrize("place", range(1, 9))
def test_whoever_looks_and_tells_the_truth_succeeds_in_the_course(place: int) -> None:
    desk, store = Desk(MemoryStore(), StepClock(), PACK), MemoryRehearsals()
    trainee = Trainee.__new__(Trainee)
    trainee.desk, trainee.store, trainee.ids = desk, store, count(1)
    trainee.number = begin_lesson(desk, store, TAMSIN, {"place": str(place)})
    for key in trainee.look().vehicle.keys:
        if not key.here:
            trainee.do("fetch-key", key=key.name)
    trainee.begin()
    while not trainee.look().run.state.ended:
        # Whoever looks up sees that a cable has been pulled out.
        if not trainee.look().vehicle.supply.steady:
            trainee.do("connect-supply")
        trainee.carry_on()
    scene = trainee.look()
    assert scene.rehearsal.success, scene.rehearsal.reasons
