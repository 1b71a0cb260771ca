"""The simulated vehicle's supply and faults, and its chances beside the sheet's analysis."""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.pairing.chain import analyse_sheet
from bittern.engines.pairing.course import KEYS
from bittern.engines.pairing.sheet import RunSheet, SupplyNeed
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
from bittern.engines.pairing.vehicle_deed import FREE_CHOICE, NOTHING_SEEN
from bittern.engines.pairing.vehicle_faults import (
    FAULTS,
    find_repeat,
    find_taking_step,
    gives_up,
    list_fitting_faults,
)
from bittern.engines.pairing.vehicle_state import Deed, Supply
from bittern.engines.pairing.vehicle_supply import drain, find_volts
from tests.engines.pairing.rehearsal_machine import DEMO_SHEETS
from tests.engines.pairing.students import Student
from tests.engines.pairing.vehicle_sheet import SHEET, do, say, ways

BY_ID = {sheet.id: sheet for sheet in DEMO_SHEETS}


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
    # By hand: 12.6 V less 10 A over 0.03 ohm is 12.3 V; 10 Ah out of 50 take a fifth of 0.9 V.
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
    sheet, runs = BY_ID[name], 700
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
