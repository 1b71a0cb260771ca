"""The simulated vehicle: signs, windows, supply, keys and faults, beside the sheet that it was made from."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.chain import analyse_sheet
from bittern.engines.pairing.course import KEYS
from bittern.engines.pairing.errors import (
    SheetUnsoundError,
    UnfitFaultError,
    VehicleUnreadableError,
    WrongMomentError,
)
from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Signal, Step, SupplyNeed
from bittern.engines.pairing.vehicle import (
    NOTHING_CHANGED,
    count_keys,
    find_true_census,
    make_vehicle,
    respond,
    tell_fact,
    tell_lamps,
    tell_supply,
)
from bittern.engines.pairing.vehicle_deed import AS_IT_SAYS, DID_NOT_WORK, FREE_CHOICE, NOTHING_SEEN
from bittern.engines.pairing.vehicle_faults import (
    FAULTS,
    find_repeat,
    find_taking_step,
    gives_up,
    list_fitting_faults,
)
from bittern.engines.pairing.vehicle_state import Deed, Sign, Supply, Vehicle, read_vehicle
from bittern.engines.pairing.vehicle_supply import drain, find_volts
from tests.engines.pairing.rehearsal_machine import DEMO_SHEETS
from tests.engines.pairing.students import Student
from tests.strategies.sheets import make_sheet

NOON = datetime(2024, 5, 6, 12, 0, tzinfo=UTC)
BY_ID = {sheet.id: sheet for sheet in DEMO_SHEETS}
SHEET = make_sheet(
    Step("wake", "act", "Turn the key twice.", 5, 9, then="open", signal=Signal("lamp", 2)),
    Step("open", "act", "Hold the switch.", 4, 9, then="show", signal=Signal("lock-cycle"), no_return=True),
    Step("show", "act", "Show a key.", 4, 9, then="more", signal=Signal("beep", 3), window_s=30.0),
    Step("more", "choose", "Another?", options=(Option("Yes", "show"), Option("No", "check"))),
    Step("check", "check", "Start the engine.", 10, 20, then="fine", fails=(Failure("stuck", 0.0, "dead"),)),
    Step("fine", "end", "Done.", outcome="good"),
    Step("stuck", "end", "Stuck.", outcome="stranded", recovery="A workshop helps."),
    census="present-only",
    needs=("doors-closed",),
)


def do(sheet: RunSheet, vehicle: Vehicle, *steps: str, at_s: float = 0.0) -> tuple[Vehicle, list[Sign]]:
    seen: list[Sign] = []
    for step in steps:
        vehicle, signs = respond(sheet, vehicle, Deed("do", step), at_s)
        seen += signs
    return vehicle, seen


def say(sheet: RunSheet, vehicle: Vehicle, kind: str, **details: object) -> Vehicle:
    event = RunEvent("x", kind, "Ida", NOON, **details)  # type: ignore[arg-type]
    vehicle, signs = respond(sheet, vehicle, event, vehicle.now_s)
    assert signs == ()
    return vehicle


def ways(vehicle: Vehicle) -> list[tuple[str, str]]:
    return [(line.step, line.way) for line in vehicle.log if line.kind == "do"]


def test_a_deed_that_works_gives_the_sheets_signal_and_goes_on() -> None:
    vehicle, seen = do(SHEET, make_vehicle(SHEET, KEYS), "wake", "open", "show", at_s=3.0)
    assert seen == [Sign("lamp", 2, "", 3.0), Sign("lock-cycle", 1, "", 3.0), Sign("beep", 3, "", 3.0)]
    assert ways(vehicle) == [("wake", "worked"), ("open", "worked"), ("show", "worked")]
    assert (vehicle.place, vehicle.passed_no_return, vehicle.outcome) == ("more", True, "")
    assert 13 <= vehicle.skipped_s <= 27
    assert tell_lamps(SHEET, vehicle) == ("ignition", "pairing")


def test_keys_are_shown_one_by_one_and_only_then_is_none_left() -> None:
    vehicle, _ = do(SHEET, make_vehicle(SHEET, KEYS), "wake", "open")
    assert [key.works for key in find_true_census(vehicle)] == [False, False, False]
    for shown in (1, 2, 3):
        vehicle, _ = do(SHEET, vehicle, "show")
        assert tell_fact(SHEET, vehicle) == (("Yes",) if shown < 3 else ("No",))
    vehicle, seen = do(SHEET, vehicle, "more", "check")
    assert [sign.text for sign in seen] == ["No", AS_IT_SAYS]
    assert vehicle.outcome == "good"
    assert [key.works for key in find_true_census(vehicle)] == [True, True, True]


def test_a_key_that_was_not_shown_is_lost() -> None:
    vehicle, _ = do(SHEET, make_vehicle(SHEET, KEYS), "wake", "open", "show", "show")
    vehicle = say(SHEET, vehicle, "chosen", step="more", choice="No")
    assert vehicle.log[-1].true is False
    vehicle, _ = do(SHEET, vehicle, "check")
    assert vehicle.left_out == ("The spare key",)
    assert [key.works for key in find_true_census(vehicle)] == [True, False, True]
    # Whoever simply goes on without a word leaves it out as well.
    vehicle, _ = do(SHEET, make_vehicle(SHEET, KEYS), "wake", "open", "show", "check")
    assert [key.works for key in find_true_census(vehicle)] == [False, False, True]


def test_the_person_may_name_the_key_that_is_shown() -> None:
    vehicle, _ = do(SHEET, make_vehicle(SHEET, KEYS), "wake", "open")
    vehicle, _ = respond(SHEET, vehicle, Deed("do", "show", "The spare key"), 0.0)
    assert [key.taken for key in vehicle.keys] == [False, True, False]


@pytest.mark.parametrize(("waited_s", "way"), [(0.0, "worked"), (30.0, "worked"), (30.001, "late")])
def test_a_window_is_open_to_its_last_moment(waited_s: float, way: str) -> None:
    vehicle, _ = do(SHEET, make_vehicle(SHEET, KEYS), "wake", "open", at_s=100.0)
    vehicle, seen = do(SHEET, vehicle, "show", at_s=100.0 + waited_s)
    assert ways(vehicle)[-1] == ("show", way)
    assert (seen[0].text == NOTHING_SEEN) == (way == "late")
    assert vehicle.place == ("more" if way == "worked" else "show")


def test_a_missed_window_leads_where_the_sheet_fails() -> None:
    steps = dict(SHEET.steps)
    steps["show"] = replace(steps["show"], fails=(Failure("stuck", 0.0, "it waited no longer"),))
    sheet = replace(SHEET, steps=steps)
    vehicle, _ = do(sheet, make_vehicle(sheet, KEYS), "wake", "open")
    vehicle, _ = do(sheet, vehicle, "show", at_s=31.0)
    assert (vehicle.outcome, ways(vehicle)[-1]) == ("stranded", ("show", "late"))
    assert not any(key.works for key in find_true_census(vehicle))


def test_a_deed_of_another_step_does_nothing() -> None:
    before = make_vehicle(SHEET, KEYS)
    vehicle, seen = do(SHEET, before, "show", "open")
    assert [sign.text for sign in seen] == [NOTHING_SEEN] * 2
    assert ways(vehicle) == [("show", "out-of-order"), ("open", "out-of-order")]
    assert (vehicle.place, vehicle.keys, vehicle.skipped_s) == (before.place, before.keys, 0.0)
    # And the right one is still there to be told once it was done.
    vehicle, _ = do(SHEET, vehicle, "wake", "show")
    assert say(SHEET, vehicle, "done", step="wake").log[-1].true is True


def test_nothing_is_done_at_an_end_or_with_what_does_not_exist() -> None:
    vehicle = make_vehicle(SHEET, KEYS)
    for deed in (
        Deed("do", "fine"),
        Deed("do", "nowhere"),
        Deed("dance"),
        Deed("fetch-key", key="The daily key"),
        Deed("fetch-key", key="a key of gold"),
    ):
        with pytest.raises(WrongMomentError):
            respond(SHEET, vehicle, deed, 0.0)
    with pytest.raises(SheetUnsoundError):
        make_vehicle(replace(SHEET, start="nowhere"), KEYS)
    with pytest.raises(UnfitFaultError):
        make_vehicle(SHEET, KEYS, ["a flat tyre"])
    with pytest.raises(UnfitFaultError):
        make_vehicle(SHEET, KEYS[:2], ["wrong-article"])
    with pytest.raises(UnfitFaultError):
        make_vehicle(SHEET, KEYS[2:], ["key-at-home"])


def test_after_the_end_nothing_changes_any_more() -> None:
    vehicle, _ = do(SHEET, make_vehicle(SHEET, KEYS), "wake", "open", *["show"] * 3, "check")
    after, _ = do(SHEET, vehicle, "wake", "open", "show")
    assert (after.keys, after.outcome) == (vehicle.keys, "good")


def test_with_a_door_open_the_vehicle_does_nothing_where_the_sheet_wants_them_closed() -> None:
    vehicle, _ = respond(SHEET, make_vehicle(SHEET, KEYS), Deed("open-door"), 0.0)
    assert tell_lamps(SHEET, vehicle) == ("door",)
    vehicle, _ = do(SHEET, vehicle, "wake")
    assert (ways(vehicle), vehicle.log[-1].cause) == ([("wake", "nothing")], "doors")
    vehicle, _ = respond(SHEET, vehicle, Deed("close-doors"), 0.0)
    vehicle, _ = do(SHEET, vehicle, "wake")
    assert ways(vehicle)[-1] == ("wake", "worked")


def test_what_is_said_is_judged_by_what_was_done() -> None:
    vehicle = make_vehicle(SHEET, KEYS)
    assert say(SHEET, vehicle, "done", step="wake").log[-1].true is False
    worked, _ = do(SHEET, vehicle, "wake")
    assert say(SHEET, worked, "done", step="wake").log[-1].true is True
    assert say(SHEET, worked, "failed", step="wake", to="stuck").log[-1].true is False
    told = say(SHEET, worked, "done", step="wake")
    assert say(SHEET, told, "done", step="wake").log[-1].true is False
    assert say(SHEET, vehicle, "census", keys=KEYS).log[-1].true is True
    assert say(SHEET, vehicle, "census", keys=KEYS[:2]).log[-1].true is False
    volts = tell_supply(vehicle, 0.0)
    assert say(SHEET, vehicle, "supply", volts=volts + 0.29).log[-1].true is True
    assert say(SHEET, vehicle, "supply", volts=volts + 0.31).log[-1].true is False


def test_words_move_nothing_but_a_choice() -> None:
    vehicle, _ = do(SHEET, make_vehicle(SHEET, KEYS), "wake")
    for kind in ("begun", "done", "failed", "confirmed", "abandoned"):
        after = say(SHEET, vehicle, kind, step="wake", to="stuck")
        assert (after.place, after.keys, after.outcome) == (vehicle.place, vehicle.keys, "")


def test_failing_signs_tell_apart_what_the_sheet_tells_apart() -> None:
    fails = (Failure("a", 0.5, "too slow"), Failure("b", 0.5, "too late"))
    ends = [Step(name, "end", name, outcome="unchanged") for name in ("a", "b")]
    fine = Step("fine", "end", "Fine.", outcome="good")
    two = make_sheet(
        Step("do", "act", "Do.", then="fine", fails=fails, signal=Signal("lamp", 3)), fine, *ends
    )
    one = make_sheet(
        Step("do", "act", "Do.", then="fine", fails=(Failure("a", 1.0),), signal=Signal("lamp", 3)),
        fine,
        ends[0],
    )
    none = make_sheet(Step("do", "act", "Do.", then="fine", fails=(Failure("a", 1.0),)), fine, ends[0])
    seen: dict[str, set[tuple[str, int, str]]] = {"two": set(), "one": set(), "none": set()}
    for seed in range(40):
        for name, sheet in (("two", two), ("one", one), ("none", none)):
            vehicle, (sign,) = do(sheet, make_vehicle(sheet, KEYS, seed=seed), "do")
            seen[name].add((sign.kind, sign.count, sign.text))
            if name == "two":
                assert sign.text == {"a": "Too slow.", "b": "Too late."}[vehicle.place]
    assert seen["one"] == {("finding", 1, NOTHING_SEEN), ("lamp", 2, "")}
    assert seen["none"] == {("finding", 1, DID_NOT_WORK)}
    assert len(seen["two"]) == 2


def test_a_signal_that_was_missed_is_seen_on_a_second_look_and_only_one_is_missed() -> None:
    missed = set()
    for seed in range(20):
        vehicle = make_vehicle(SHEET, KEYS, ["signal-missed"], seed)
        for step in ("wake", "open", "show"):
            vehicle, (sign,) = respond(SHEET, vehicle, Deed("do", step), 0.0)
            if sign.text == NOTHING_SEEN:
                missed.add(step)
                vehicle, (again,) = respond(SHEET, vehicle, Deed("look"), 1.0)
                signal = SHEET.steps[step].signal
                assert signal and (again.kind, again.count, again.at_s) == (signal.kind, signal.count, 1.0)
            vehicle, (nothing,) = respond(SHEET, vehicle, Deed("look"), 1.0)
            assert nothing.text == NOTHING_CHANGED
        assert sum(line.unseen for line in vehicle.log if line.kind == "do") == 1
        assert vehicle.place == "more"
    assert missed == {"wake", "open", "show"}


def test_a_key_left_at_home_is_an_old_one_and_can_be_fetched() -> None:
    at_home = set()
    for seed in range(20):
        vehicle = make_vehicle(SHEET, KEYS, ["key-at-home"], seed)
        (away,) = [key.name for key in count_keys(vehicle) if not key.present]
        at_home.add(away)
        left, _ = do(SHEET, vehicle, "wake", "open", "show", "show", "check")
        assert [key.name for key in find_true_census(left) if not key.works] == [away]
        fetched, _ = respond(SHEET, vehicle, Deed("fetch-key", key=away), 0.0)
        assert fetched.skipped_s == vehicle.skipped_s + 900.0
        kept, _ = do(SHEET, fetched, "wake", "open", *["show"] * 3, "check")
        assert all(key.works for key in find_true_census(kept))
    assert at_home == {"The daily key", "The spare key"}


def test_a_window_does_not_wait_while_a_key_is_fetched() -> None:
    vehicle = make_vehicle(SHEET, KEYS, ["key-at-home"])
    vehicle, _ = do(SHEET, vehicle, "wake", "open")
    (away,) = [key.name for key in count_keys(vehicle) if not key.present]
    vehicle, _ = respond(SHEET, vehicle, Deed("fetch-key", key=away), 0.0)
    vehicle, _ = do(SHEET, vehicle, "show")
    assert ways(vehicle)[-1] == ("show", "late")


def test_a_battery_sags_under_load_and_drains_and_a_steady_supply_holds_it() -> None:
    """By hand: 12.6 V less 10 A over 0.03 ohm is 12.3 V; an hour of 10 A out of 50 Ah takes a fifth of 0.9 V."""
    supply = Supply(rest_v=12.6, resistance_ohm=0.03, capacity_ah=50.0, asleep_a=0.0, awake_a=10.0)
    assert find_volts(supply, awake=False) == pytest.approx(12.6)
    assert find_volts(supply, awake=True) == pytest.approx(12.3)
    later = drain(supply, 3600.0, awake=True)
    assert find_volts(later, awake=True) == pytest.approx(12.3 - 0.18)
    held = replace(later, steady=True)
    assert find_volts(held, awake=True) == supply.steady_v
    assert drain(held, 3600.0, awake=True) == held
    assert find_volts(drain(supply, 1e9, awake=True), awake=True) == 0.0


@given(
    st.lists(st.floats(0, 5000), min_size=1, max_size=6), st.booleans(), st.sampled_from(["", "low-supply"])
)
def test_a_meter_reads_what_time_has_left_whenever_it_is_read(
    times: list[float], awake: bool, fault: str
) -> None:
    vehicle = make_vehicle(SHEET, KEYS, [fault] if fault else [])
    if awake:
        vehicle, _ = do(SHEET, vehicle, "wake")
    last = max(times)
    step_by_step = vehicle
    readings = []
    for at_s in sorted(times):
        readings.append(tell_supply(step_by_step, at_s))
        step_by_step, _ = respond(SHEET, step_by_step, Deed("look"), at_s)
    assert readings == sorted(readings, reverse=True)
    assert tell_supply(vehicle, last) == pytest.approx(tell_supply(step_by_step, last), abs=1e-9)


def test_a_tired_battery_reads_well_at_rest_and_fails_under_load() -> None:
    need = SupplyNeed()
    failed = 0
    for seed in range(60):
        vehicle = make_vehicle(SHEET, KEYS, ["low-supply"], seed)
        assert need.least_v < tell_supply(vehicle, 0.0) < need.comfort_v
        low, _ = do(SHEET, vehicle, "wake")
        assert tell_supply(low, 0.0) < need.least_v
        assert "battery" in tell_lamps(SHEET, low)
        failed += ways(low)[-1][1] == "nothing"
        held, _ = respond(SHEET, vehicle, Deed("connect-supply"), 0.0)
        held, _ = do(SHEET, held, "wake")
        assert ways(held)[-1] == ("wake", "worked")
        assert tell_supply(held, 1e4) > need.comfort_v
    assert 10 < failed < 50


def test_where_a_step_speaks_of_the_supply_a_tired_battery_is_found_out() -> None:
    sheet = BY_ID["marsh-turn-pair"]
    vehicle, seen = do(sheet, make_vehicle(sheet, KEYS, ["low-supply"]), "settle", "supply")
    assert (vehicle.outcome, seen[-1].text) == ("unchanged", "Battery tired.")
    # Without the fault the step itself connects the supply.
    vehicle, seen = do(sheet, make_vehicle(sheet, KEYS), "settle", "supply")
    assert (vehicle.place, vehicle.supply.steady) == ("line-up", True)


def test_a_cable_is_pulled_once_and_a_second_connection_holds() -> None:
    pulled_after = set()
    for seed in range(30):
        vehicle = make_vehicle(SHEET, KEYS, ["cable-pulled"], seed)
        vehicle, _ = respond(SHEET, vehicle, Deed("connect-supply"), 0.0)
        for deeds in range(1, 12):
            vehicle, _ = do(SHEET, vehicle, "check")
            if not vehicle.supply.steady:
                pulled_after.add(deeds)
                break
        assert vehicle.log[-1].kind == "cable-pulled"
        assert tell_supply(vehicle, 0.0) < SupplyNeed().comfort_v
        vehicle, _ = respond(SHEET, vehicle, Deed("connect-supply"), 0.0)
        vehicle, _ = do(SHEET, vehicle, *["check"] * 12)
        assert vehicle.supply.steady
    assert pulled_after == {3, 4, 5, 6}


@pytest.mark.parametrize("sheet", DEMO_SHEETS, ids=lambda sheet: sheet.id)
def test_the_wrong_article_is_never_taken_however_often_one_tries(sheet: RunSheet) -> None:
    for seed in range(12):
        student = Student(sheet, make_vehicle(sheet, KEYS, ["wrong-article"], seed))
        student.run()
        assert student.state.outcome != "good"
        assert {key.name: key.works for key in find_true_census(student.vehicle)}["The new key"] is False


@pytest.mark.parametrize("sheet", DEMO_SHEETS, ids=lambda sheet: sheet.id)
def test_whoever_sees_only_the_signs_can_always_tell_the_truth(sheet: RunSheet) -> None:
    fitting = list_fitting_faults(sheet, KEYS)
    assert fitting == list(FAULTS)
    for seed in range(15):
        faults = Random(seed).sample(fitting, seed % 4)
        student = Student(sheet, make_vehicle(sheet, KEYS, faults, seed))
        score = student.run()
        untrue = [line for line in student.vehicle.log if not line.true]
        assert (untrue, score.points, score.reasons) == ([], 100, ()), (faults, seed)
        if student.state.outcome:
            assert student.vehicle.outcome == student.state.outcome


def play(sheet: RunSheet, seed: int) -> tuple[str, float]:
    """Follow the sheet by its own chances at a vehicle without faults; return the outcome and the time."""
    vehicle, chance = make_vehicle(sheet, KEYS, seed=seed), Random(seed)
    while not vehicle.ended:
        step = sheet.steps[vehicle.place]
        vehicle, _ = do(sheet, vehicle, step.id)
        if step.kind == "choose" and vehicle.place == step.id:
            facts = tell_fact(sheet, vehicle)
            weights = [option.chance or 1.0 / len(step.options) for option in step.options]
            label = facts[0] if facts else chance.choices(step.options, weights)[0].label
            vehicle = say(sheet, vehicle, "chosen", step=step.id, choice=label)
    return vehicle.outcome, vehicle.skipped_s


@pytest.mark.parametrize("name", ["marsh-push-pair", "reed-push-spare", "fell-turn-pair"])
def test_played_by_chance_the_vehicle_ends_as_often_and_takes_as_long_as_the_analysis_says(name: str) -> None:
    sheet, runs = BY_ID[name], 1500
    assert find_repeat(sheet) is None
    figures = analyse_sheet(sheet)
    played = [play(sheet, seed) for seed in range(runs)]
    for outcome, chance in (
        ("good", figures.p_good),
        ("unchanged", figures.p_unchanged),
        ("stranded", figures.p_stranded),
    ):
        share = sum(one == outcome for one, _ in played) / runs
        assert abs(share - chance) < 4 * math.sqrt(chance * (1 - chance) / runs) + 1e-9
    mean_s = sum(time_s for _, time_s in played) / runs
    assert abs(mean_s - figures.time_mean_s) < 4 * figures.time_sd_s / math.sqrt(runs)
    below = sum(time_s <= figures.time_p90_s for _, time_s in played) / runs
    assert abs(below - 0.9) < 4 * math.sqrt(0.09 / runs)


def test_structure_says_where_keys_are_shown_and_where_a_wrong_one_is_found_out() -> None:
    repeat = find_repeat(SHEET)
    assert repeat and (repeat.step_id, repeat.again, repeat.enough, repeat.takers) == (
        "more",
        ("Yes",),
        ("No",),
        ("show",),
    )
    assert find_repeat(replace(SHEET, census="all")) is None
    assert find_taking_step(SHEET) == "check"
    assert {sheet.id: find_taking_step(sheet) for sheet in DEMO_SHEETS if sheet.census == "all"} == {
        "marsh-remote-sync": "try-buttons",
        "reed-push-spare": "listen",
        "reed-turn-spare": "start",
        "tide-remote-sync": "try-buttons",
    }
    assert {sheet.id for sheet in DEMO_SHEETS if find_repeat(sheet)} == {
        "fen-push-renew",
        "marsh-turn-pair",
        "tide-turn-renew",
    }
    marsh = BY_ID["marsh-turn-pair"]
    assert [step_id for step_id in marsh.steps if gives_up(marsh, step_id)] == [
        "stopped",
        "supply-low",
        "stranded",
    ]


def test_a_question_is_a_fact_or_free() -> None:
    marsh = BY_ID["marsh-turn-pair"]
    labels = set()
    for seed in range(40):
        vehicle = replace(make_vehicle(marsh, KEYS, seed=seed), place="buttons")
        vehicle, (sign,) = do(marsh, vehicle, "buttons")
        assert (sign.text,) == tell_fact(marsh, vehicle) == tell_fact(marsh, vehicle)
        labels.add(sign.text)
    assert labels == {"Yes", "No"}
    vehicle = replace(make_vehicle(marsh, KEYS), place="asleep")
    _, (sign,) = do(marsh, vehicle, "asleep")
    assert (tell_fact(marsh, vehicle), sign.text) == ((), FREE_CHOICE)
    assert tell_fact(marsh, make_vehicle(marsh, KEYS)) == ()


def test_the_seed_decides_everything_and_different_seeds_differ() -> None:
    one = [make_vehicle(SHEET, KEYS, list(FAULTS), seed) for seed in range(30)]
    assert one == [make_vehicle(SHEET, KEYS, list(reversed(FAULTS)), seed) for seed in range(30)]
    assert len({vehicle.supply for vehicle in one}) > 20
    untried = (KeyInHand("untried", True), *KEYS)
    known = {make_vehicle(SHEET, untried, seed=seed).keys[0].known for seed in range(20)}
    assert known == {True, False}


def test_time_never_runs_backwards() -> None:
    vehicle, _ = do(SHEET, make_vehicle(SHEET, KEYS), "wake", at_s=50.0)
    for at_s in (10.0, math.nan, -math.inf):
        after, (sign,) = respond(SHEET, vehicle, Deed("look"), at_s)
        assert (after.now_s, sign.at_s) == (50.0, 50.0)


def whole() -> dict[str, object]:
    vehicle = make_vehicle(SHEET, KEYS, ["signal-missed"], 3)
    vehicle, _ = do(SHEET, vehicle, "wake", "open", "show")
    stored = json.loads(json.dumps(vehicle.as_dict()))
    assert read_vehicle(stored) == vehicle
    return stored


@pytest.mark.parametrize(
    "change",
    [
        {"seed": "3"},
        {"seed": True},
        {"keys": 3},
        {"keys": [3]},
        {"keys": [{"name": "a"}]},
        {"faults": [1]},
        {"faults": "low-supply"},
        {"supply": None},
        {"supply": {"rest_v": "high"}},
        {"log": [{"at_s": 1}]},
        {"unseen": 4},
        {"untold": {}},
        {"now_s": None},
        {"passed_no_return": 1},
    ],
)
def test_a_damaged_vehicle_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(VehicleUnreadableError):
        read_vehicle(whole() | change)


@pytest.mark.parametrize("name", list(make_vehicle(SHEET, KEYS).as_dict()))
def test_a_vehicle_without_one_of_its_parts_is_refused(name: str) -> None:
    plain = whole()
    del plain[name]
    with pytest.raises(VehicleUnreadableError):
        read_vehicle(plain)
