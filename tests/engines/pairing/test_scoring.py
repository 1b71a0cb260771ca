"""The score of a rehearsal: each thing done wrong costs what it should and names its step; nothing else."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.chain import analyse_sheet
from bittern.engines.pairing.course import KEYS
from bittern.engines.pairing.scoring import (
    Reason,
    Score,
    Weights,
    find_needlessly_lost,
    score_rehearsal,
)
from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Signal, Step, SupplyNeed
from bittern.engines.pairing.vehicle import CONNECT_S, count_keys, make_vehicle, tell_supply
from bittern.engines.pairing.vehicle_deed import NOTHING_SEEN
from bittern.engines.pairing.vehicle_state import Deed, Vehicle
from tests.engines.pairing.rehearsal_machine import DEMO_SHEETS
from tests.engines.pairing.students import Student
from tests.engines.pairing.vehicle_sheet import SHEET
from tests.strategies.sheets import make_sheet

BY_ID = {sheet.id: sheet for sheet in DEMO_SHEETS}
# Fails at every first try: the vehicle does what the test wants.
STUBBORN = make_sheet(
    Step("wake", "act", "Wake it.", 5, 9, "fine", fails=(Failure("asleep", 1.0, "too slow"),)),
    Step("asleep", "choose", "Again?", options=(Option("Again", "wake", 0.9), Option("Stop", "off", 0.1))),
    Step("fine", "end", "Done.", outcome="good"),
    Step("off", "end", "Off.", outcome="unchanged"),
)


def kinds(score: Score) -> list[str]:
    return [reason.kind for reason in score.reasons]


def wait_at(sheet: RunSheet, vehicle: Vehicle, step_id: str) -> Student:
    """Return a careful student who stands at ``step_id`` and has done nothing there."""
    student = Student(sheet, vehicle)
    while student.state.step_id != step_id or student.state.phase == "needs":
        student.go_on()
    return student


def finish(student: Student) -> Score:
    return student.run()


def test_a_lie_names_the_step_and_what_would_have_been_right() -> None:
    student = wait_at(STUBBORN, make_vehicle(STUBBORN, KEYS), "wake")
    student.act(Deed("do", "wake"))
    student.say("done")
    score = finish(student)
    lie, end = score.reasons
    assert (lie.kind, lie.step, lie.points) == ("untruth", "wake", Weights().untruth)
    assert str(lie) == (
        "wake: You said that it worked, and it had not. "
        "Right: say that it did not do that, and follow the branch. (-25)"
    )
    assert (end.kind, end.step) == ("false_end", "fine")
    assert (score.points, score.success) == (50, False)


def test_saying_done_without_doing_is_a_lie_too() -> None:
    student = wait_at(SHEET, make_vehicle(SHEET, KEYS), "wake")
    student.say("done")
    score = score_rehearsal(SHEET, student.events, student.vehicle)
    assert kinds(score) == ["untruth", "gave_up"]
    assert "nothing had been done" in score.reasons[0].found


def test_a_signal_missed_and_called_a_failure() -> None:
    sheet = replace(
        STUBBORN,
        steps=dict(STUBBORN.steps)
        | {"wake": replace(STUBBORN.steps["wake"], signal=Signal("lamp"), fails=(Failure("asleep", 0.0),))},
    )
    student = wait_at(sheet, make_vehicle(sheet, KEYS, ["signal-missed"]), "wake")
    (sign,) = student.act(Deed("do", "wake"))
    assert sign.text == NOTHING_SEEN
    student.say("failed", to="asleep")
    student.say("abandoned")
    score = score_rehearsal(sheet, student.events, student.vehicle)
    assert kinds(score) == ["missed_signal", "gave_up"]
    assert score.reasons[0].right == "Right: look again before you say so."


def test_a_failure_that_was_never_tried_and_a_wrong_branch() -> None:
    student = wait_at(STUBBORN, make_vehicle(STUBBORN, KEYS), "wake")
    student.say("failed", to="asleep")
    student.say("chosen", choice="Stop")
    score = score_rehearsal(STUBBORN, student.events, student.vehicle)
    assert kinds(score) == ["gave_up", "gave_up"]
    assert [reason.step for reason in score.reasons] == ["wake", "asleep"]
    assert sum(reason.points for reason in score.reasons) == Weights().most

    two = (Failure("asleep", 1.0, "slow"), Failure("off", 0.0, "flat"))
    sheet = replace(
        STUBBORN, steps=dict(STUBBORN.steps) | {"wake": replace(STUBBORN.steps["wake"], fails=two)}
    )
    student = wait_at(sheet, make_vehicle(sheet, KEYS), "wake")
    student.act(Deed("do", "wake"))
    student.say("failed", to="off")
    (reason,) = score_rehearsal(sheet, student.events, student.vehicle).reasons
    assert (reason.kind, reason.right) == ("wrong_branch", "Right: the way to asleep.")


@pytest.mark.parametrize(("tries", "expected"), [(1, ["gave_up"]), (2, []), (3, [])])
def test_giving_up_is_needless_before_two_tries(tries: int, expected: list[str]) -> None:
    for give_up in ("chosen", "abandoned"):
        student = wait_at(STUBBORN, make_vehicle(STUBBORN, KEYS), "wake")
        for number in range(tries):
            student.act(Deed("do", "wake"))
            student.say("failed", to="asleep")
            if number + 1 < tries:
                student.say("chosen", choice="Again")
        student.say(give_up, **({"choice": "Stop"} if give_up == "chosen" else {}))
        score = score_rehearsal(STUBBORN, student.events, student.vehicle)
        assert kinds(score) == expected
        assert score.success == (not expected)


def test_leaving_the_rehearsal_open_is_giving_up() -> None:
    student = wait_at(SHEET, make_vehicle(SHEET, KEYS), "show")
    score = score_rehearsal(SHEET, student.events, student.vehicle)
    assert kinds(score) == ["gave_up", "lost_key"]
    assert score.reasons[0].step == "show"
    assert "past a point of no return" in score.reasons[0].found
    early = wait_at(SHEET, make_vehicle(SHEET, KEYS), "open")
    assert kinds(score_rehearsal(SHEET, early.events, early.vehicle)) == ["gave_up"]


def test_wrong_order_costs_each_time_up_to_the_most() -> None:
    for times, points in ((1, 10), (3, 30), (6, 40)):
        student = wait_at(SHEET, make_vehicle(SHEET, KEYS), "wake")
        for _ in range(times):
            student.act(Deed("do", "show"))
        score = finish(student)
        assert kinds(score) == ["wrong_order"] * times
        assert sum(reason.points for reason in score.reasons) == points == 100 - score.points
        assert {reason.step for reason in score.reasons} == {"show"}
        assert "wake" in score.reasons[0].right


def test_a_missed_window() -> None:
    sheet = replace(SHEET, steps=dict(SHEET.steps) | {"show": replace(SHEET.steps["show"], window_s=30.0)})
    student = wait_at(sheet, make_vehicle(sheet, KEYS), "show")
    student.at_s += 31
    student.act(Deed("do", "show"))
    student.say("abandoned")
    score = score_rehearsal(sheet, student.events, student.vehicle)
    # Nothing but giving up is left, and the keys are wiped already.
    assert kinds(score)[0] == "late"
    assert "30 s" in score.reasons[0].found
    assert kinds(score)[1:] == ["lost_key"]


def test_a_key_left_at_home_is_lost_and_one_that_was_never_said_to_be_here_is_not() -> None:
    class Hasty(Student):
        def prepare(self) -> None:
            self.say("census", keys=count_keys(self.vehicle))

    student = Hasty(SHEET, make_vehicle(SHEET, KEYS, ["key-at-home"]))
    score = student.run()
    (away,) = [key.name for key in student.vehicle.keys if not key.here]
    assert score.lost_keys == (away,) == find_needlessly_lost(SHEET, student.vehicle)
    (reason,) = score.reasons
    assert (reason.kind, reason.step) == ("lost_key", "open")
    assert reason.right == f"Right: have {away} fetched before the point of no return."
    assert not score.success and score.points == 70

    known_away = (*KEYS, KeyInHand("the one that was stolen", False, True))
    student = Hasty(SHEET, make_vehicle(SHEET, known_away))
    assert student.run() == replace(student.run(), points=100, reasons=(), lost_keys=())


def test_a_key_left_unshown_is_lost() -> None:
    class Careless(Student):
        def choose(self, step: Step) -> None:
            self.say("chosen", choice="No")

    score = Careless(SHEET, make_vehicle(SHEET, KEYS)).run()
    assert kinds(score) == ["wrong_branch", "lost_key"]
    assert score.lost_keys == ("The daily key", "The spare key")
    assert score.reasons[1].points == 35
    assert score.reasons[1].right == "Right: go on until every key that lies there was shown to the vehicle."


def test_a_wrong_count_and_a_reading_that_nobody_took() -> None:
    student = wait_at(SHEET, make_vehicle(SHEET, KEYS, ["key-at-home", "low-supply"]), "wake")
    student.say("census", keys=KEYS[:1])
    student.say("supply", volts=tell_supply(student.vehicle, student.at_s) - 1.0, source="typed")
    student.say("census", keys=count_keys(student.vehicle))
    score = finish(student)
    assert kinds(score) == ["wrong_count", "false_reading"]
    assert "12.4 V; it stood at 13.4 V" in score.reasons[1].found


class Unmindful(Student):
    """Never connects the supply; reads it only where the run insists, and then types what it wants."""

    def prepare(self) -> None:
        """Count, and nothing else."""
        self.say("census", keys=count_keys(self.vehicle))

    def mind_supply(self) -> None:
        """Do nothing."""

    def confirm(self) -> None:
        """Type what the run wants to read."""
        if self.state.phase == "supply":
            self.say("supply", volts=12.6, source="typed")
        self.say("confirmed")


def test_an_ignored_supply_at_a_point_of_no_return() -> None:
    found = set()
    for seed in range(20):
        score = Unmindful(SHEET, make_vehicle(SHEET, KEYS, ["low-supply"], seed)).run()
        blamed = [reason for reason in score.reasons if reason.kind == "ignored_supply"]
        assert "connect a steady supply below 12 V" in blamed[0].right
        assert not score.success
        found |= {reason.step for reason in blamed}
    assert "open" in found
    sheet = replace(SHEET, supply=SupplyNeed())
    score = Unmindful(sheet, make_vehicle(sheet, KEYS, ["low-supply"], 3)).run()
    assert "false_reading" in kinds(score)
    # Without the fault the same carelessness is no harm and costs nothing.
    assert Unmindful(SHEET, make_vehicle(SHEET, KEYS)).run().points == 100


def test_what_cannot_be_taken_back_done_before_the_run_lets_you() -> None:
    student = wait_at(SHEET, make_vehicle(SHEET, KEYS), "open")
    student.act(Deed("do", "open"))
    score = finish(student)
    assert kinds(score)[0] == "unconfirmed"
    assert score.reasons[0].step == "open"
    assert not score.success


def test_a_confirmation_serves_one_visit() -> None:
    steps = dict(SHEET.steps) | {
        "open": replace(SHEET.steps["open"], fails=(Failure("open", 0.9999, "let go"),))
    }
    sheet = replace(SHEET, steps=steps)
    student = wait_at(sheet, make_vehicle(sheet, KEYS), "open")
    student.confirm()
    student.act(Deed("do", "open"))
    student.say("failed", to="open")
    student.act(Deed("do", "open"))
    score = score_rehearsal(sheet, student.events, student.vehicle)
    assert kinds(score) == ["unconfirmed"]


@pytest.mark.parametrize("seed", range(6))
def test_slowness_costs_and_chance_does_not(seed: int) -> None:
    sheet = BY_ID["marsh-remote-sync"]
    figures = analyse_sheet(sheet)
    student = Student(sheet, make_vehicle(sheet, KEYS, seed=seed))
    assert student.run().points == 100
    steps_s = student.vehicle.skipped_s - CONNECT_S
    spread_s = max(figures.time_p90_s - figures.time_p50_s, figures.time_p50_s / 2, 60.0)
    limit_s = max(figures.time_p90_s, steps_s + spread_s)
    for time_s, expected, points in (
        (limit_s - 0.1, [], 100),
        (limit_s + 0.1, ["slow"], 95),
        (1.5 * limit_s - 0.1, ["slow"], 95),
        (1.5 * limit_s + 0.1, ["very_slow"], 90),
    ):
        vehicle = replace(student.vehicle, now_s=time_s - steps_s)
        score = score_rehearsal(sheet, student.events, vehicle, figures=figures)
        assert (kinds(score), score.points) == (expected, points)
        assert (score.time_p50_s, score.time_p90_s) == (figures.time_p50_s, figures.time_p90_s)
        assert score.time_s == vehicle.now_s + vehicle.skipped_s
    # However long chance makes the steps, who loses no time loses no points.
    unlucky = replace(student.vehicle, now_s=0.0, skipped_s=1e5)
    assert score_rehearsal(sheet, student.events, unlucky).points == 100


def test_chance_of_the_sheet_costs_nothing_whatever_the_end() -> None:
    outcomes = set()
    for seed in range(120):
        sheet = BY_ID["fell-push-pair"]
        student = Student(sheet, make_vehicle(sheet, KEYS, seed=seed))
        score = student.run()
        outcomes.add(student.state.outcome)
        assert (score.points, score.lost_keys) == (100, ())
    assert outcomes == {"good", "unchanged", "stranded"}


def test_success_is_eighty_points_and_no_key_lost() -> None:
    assert Score(80).success
    assert not Score(79).success
    assert not Score(100, lost_keys=("the spare key",)).success


def test_every_kind_of_reason_has_a_weight_and_none_takes_more_than_all() -> None:
    names = {one.name for one in fields(Weights)} - {"most"}
    assert all(0 < getattr(Weights(), name) <= Weights().most for name in names)
    student = wait_at(SHEET, make_vehicle(SHEET, KEYS), "wake")
    for _ in range(3):
        student.say("census", keys=())
        student.act(Deed("do", "check"))
    student.say("done")
    student.say("supply", volts=3.0, source="typed")
    student.say("supply", volts=4.0, source="typed")
    student.say("supply", volts=5.0, source="typed")
    score = score_rehearsal(SHEET, student.events, student.vehicle)
    assert set(kinds(score)) <= names
    assert score.points == max(0, 100 - sum(reason.points for reason in score.reasons)) == 0
    assert all(reason.found.endswith(".") and reason.right.endswith(".") for reason in score.reasons)


def test_weights_can_be_others() -> None:
    student = wait_at(SHEET, make_vehicle(SHEET, KEYS), "wake")
    student.act(Deed("do", "show"))
    student.run()
    score = score_rehearsal(SHEET, student.events, student.vehicle, weights=Weights(wrong_order=3))
    assert score.reasons == (
        Reason(
            "wrong_order",
            3,
            "show",
            "You did this while the vehicle waited for something else.",
            "Right: wake, or look at what the vehicle shows first.",
        ),
    )
    assert score.points == 97
