"""The simulated vehicle: deeds and their signs, windows, words, keys, and its state as JSON."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.course import KEYS
from bittern.engines.pairing.errors import (
    SheetUnsoundError,
    UnfitFaultError,
    VehicleUnreadableError,
    WrongMomentError,
)
from bittern.engines.pairing.sheet import Failure, Signal, Step
from bittern.engines.pairing.vehicle import (
    find_true_census,
    make_vehicle,
    respond,
    tell_fact,
    tell_lamps,
    tell_supply,
)
from bittern.engines.pairing.vehicle_deed import AS_IT_SAYS, DID_NOT_WORK, NOTHING_SEEN
from bittern.engines.pairing.vehicle_faults import (
    FAULTS,
)
from bittern.engines.pairing.vehicle_state import Deed, Sign, read_vehicle
from tests.engines.pairing.vehicle_sheet import SHEET, do, say, ways
from tests.strategies.sheets import make_sheet


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
    stored: dict[str, object] = json.loads(json.dumps(vehicle.as_dict()))
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
