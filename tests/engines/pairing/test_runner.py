"""The runner: events decide the state, and nothing irreversible happens by accident."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.pairing import errors
from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.event import PHASES, SUPPLY_SOURCES, RunEvent, RunState, read_event
from bittern.engines.pairing.runner import (
    apply_event,
    check_event,
    find_supply_gap,
    fold_events,
    start_run,
)
from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Step, SupplyNeed
from tests.strategies.sheets import make_sheet, sound_sheets

NOON = datetime(2024, 5, 6, 12, 0, tzinfo=UTC)
KEYS = (KeyInHand("the owner's", True, True), KeyInHand("the new one", True, False, True))
SHEET = make_sheet(
    Step("look", "check", "Look.", then="which", fails=(Failure("as-it-was", 0.1),)),
    Step("which", "choose", "Which?", options=(Option("turn", "wipe"), Option("push", "wait"))),
    Step("wait", "wait", "Wait.", then="which", window_s=20.0),
    Step(
        "wipe", "act", "Hold it.", then="fine", no_return=True, fails=(Failure("wipe", 0.1),), window_s=30.0
    ),
    Step("fine", "end", "Done.", outcome="good"),
    Step("as-it-was", "end", "Nothing changed.", outcome="unchanged"),
    census="present-only",
    needs=("authority", "every-key"),
)


class Run:
    """A run that is written event by event, ten seconds apart."""

    def __init__(self, sheet: RunSheet = SHEET) -> None:
        self.sheet = sheet
        self.events: list[RunEvent] = []
        self.state = start_run(sheet)

    def make(self, kind: str, **details: object) -> RunEvent:
        number = len(self.events) + 1
        at = NOON + timedelta(seconds=10 * number)
        return RunEvent(f"event-{number}", kind, "Ida", at, **details)  # type: ignore[arg-type]

    def add(self, kind: str, **details: object) -> RunState:
        event = self.make(kind, **details)
        self.state = apply_event(self.sheet, self.state, event)
        self.events.append(event)
        return self.state

    def refuse(self, error: type[errors.PairingError], kind: str, **details: object) -> None:
        with pytest.raises(error):
            apply_event(self.sheet, self.state, self.make(kind, **details))


def begin() -> Run:
    run = Run()
    run.add("begun", needs=("every-key", "authority"))
    return run


def reach_wipe() -> Run:
    run = begin()
    run.add("done", step="look", visit=1)
    run.add("chosen", step="which", choice="turn")
    return run


def test_a_run_waits_for_its_needs_before_the_first_step() -> None:
    run = Run()
    assert (run.state.step_id, run.state.phase, run.state.visit) == ("look", "needs", 0)
    run.refuse(errors.NeedsMissingError, "begun")
    run.refuse(errors.NeedsMissingError, "begun", needs=("authority",))
    run.refuse(errors.WrongMomentError, "done", step="look")
    state = run.add("begun", needs=("authority", "every-key"))
    assert (state.step_id, state.phase, state.visit) == ("look", "step", 1)
    run.refuse(errors.WrongMomentError, "begun", needs=("authority", "every-key"))


def test_done_failed_and_chosen_lead_where_the_sheet_says() -> None:
    assert begin().add("done", step="look").step_id == "which"
    failed = begin().add("failed", step="look", to="as-it-was")
    assert (failed.step_id, failed.ended, failed.outcome, failed.phase) == (
        "as-it-was",
        True,
        "unchanged",
        "ended",
    )
    run = begin()
    run.add("done", step="look")
    state = run.add("chosen", step="which", choice="push")
    assert [(one.step_id, one.how, one.to, one.choice) for one in state.history] == [
        ("look", "done", "which", ""),
        ("which", "chosen", "wait", "push"),
    ]


def test_events_that_do_not_belong_are_refused() -> None:
    run = begin()
    run.refuse(errors.WrongStepError, "done", step="which")
    run.refuse(errors.WrongStepError, "done")
    run.refuse(errors.WrongStepError, "done", step="look", visit=2)
    run.refuse(errors.UnknownFailureError, "failed", step="look", to="fine")
    run.refuse(errors.WrongMomentError, "chosen", step="look", choice="turn")
    run.refuse(errors.WrongMomentError, "confirmed", step="look")
    run.refuse(errors.WrongMomentError, "danced", step="look")
    run.add("done", step="look")
    run.refuse(errors.WrongMomentError, "done", step="which")
    run.refuse(errors.UnknownChoiceError, "chosen", step="which", choice="pull")
    assert run.state.step_id == "which"


@pytest.mark.parametrize("change", [{"event_id": ""}, {"person": " "}, {"at": datetime(2024, 5, 6)}])
def test_an_event_needs_an_id_a_person_and_a_zoned_time(change: dict[str, object]) -> None:
    run = begin()
    with pytest.raises(errors.WrongMomentError):
        check_event(SHEET, run.state, replace(run.make("done", step="look"), **change))


def test_a_point_of_no_return_needs_the_census_and_then_a_second_act() -> None:
    run = reach_wipe()
    assert (run.state.step_id, run.state.phase) == ("wipe", "census")
    run.refuse(errors.CensusMissingError, "done", step="wipe")
    run.refuse(errors.CensusMissingError, "confirmed", step="wipe")
    assert run.add("census", keys=KEYS).phase == "confirm"
    run.refuse(errors.ConfirmationMissingError, "done", step="wipe")
    run.refuse(errors.ConfirmationMissingError, "failed", step="wipe", to="wipe")
    state = run.add("confirmed", step="wipe", visit=3)
    assert (state.phase, state.confirmed, state.passed_no_return) == ("step", True, False)
    run.refuse(errors.WrongMomentError, "confirmed", step="wipe")
    state = run.add("done", step="wipe")
    assert (state.ended, state.outcome, state.passed_no_return, state.phase) == (True, "good", True, "ended")


def test_a_census_without_a_key_here_keeps_the_point_closed() -> None:
    run = reach_wipe()
    for keys in ((), (KeyInHand("the valet's", False, True),)):
        state = run.add("census", keys=keys)
        assert (state.phase, bool(state.census_gaps)) == ("census", True)
        run.refuse(errors.CensusMissingError, "confirmed", step="wipe")
    assert run.add("census", keys=KEYS).phase == "confirm"


def test_every_visit_and_every_new_census_is_confirmed_anew() -> None:
    run = reach_wipe()
    run.add("census", keys=KEYS)
    run.add("confirmed", step="wipe")
    assert run.add("census", keys=KEYS[:1]).phase == "confirm"
    run.add("confirmed", step="wipe")
    state = run.add("failed", step="wipe", to="wipe", visit=3)
    assert (state.visit, state.phase, state.confirmed, state.passed_no_return) == (4, "confirm", False, True)
    run.refuse(errors.ConfirmationMissingError, "done", step="wipe")
    run.refuse(errors.WrongStepError, "confirmed", step="wipe", visit=3)


def test_an_early_census_serves_later() -> None:
    run = Run()
    assert run.add("census", keys=KEYS).phase == "needs"
    run.add("begun", needs=SHEET.needs)
    run.add("done", step="look")
    assert run.add("chosen", step="which", choice="turn").phase == "confirm"


def test_a_run_that_is_over_takes_nothing_but_a_census_it_lacks() -> None:
    run = begin()
    run.add("failed", step="look", to="as-it-was")
    for kind in ("begun", "done", "failed", "chosen", "confirmed", "abandoned"):
        run.refuse(errors.RunOverError, kind, step="as-it-was")
    state = run.add("census", keys=KEYS)
    assert (state.keys, state.phase, state.outcome) == (KEYS, "ended", "unchanged")
    run.refuse(errors.RunOverError, "census", keys=())


def test_giving_up_after_the_confirmation_counts_as_passed() -> None:
    early = begin().add("abandoned", note="customer left")
    assert (early.ended, early.outcome, early.phase, early.passed_no_return) == (True, "", "abandoned", False)
    run = reach_wipe()
    run.add("census", keys=KEYS)
    run.add("confirmed", step="wipe")
    assert run.add("abandoned").passed_no_return is True


def test_the_window_counts_from_the_step_before_and_lateness_is_kept() -> None:
    run = begin()
    assert run.state.deadline is None
    run.add("done", step="look")
    state = run.add("chosen", step="which", choice="push")
    assert state.deadline == run.events[-1].at + timedelta(seconds=20)
    late = replace(run.make("done", step="wait"), at=state.deadline + timedelta(seconds=2.5))
    after = apply_event(SHEET, state, late)
    assert after.deadline is None
    assert [one.late_s for one in after.history] == [0, 0, 2.5]
    assert apply_event(SHEET, state, run.make("done", step="wait")).history[-1].late_s == 0


def test_the_same_event_twice_counts_once_even_with_another_time() -> None:
    run = reach_wipe()
    again = replace(run.events[1], at=NOON + timedelta(days=1))
    assert apply_event(SHEET, run.state, again) == run.state
    check_event(SHEET, run.state, again)
    twice = [event for event in run.events for _ in range(2)]
    assert fold_events(SHEET, twice) == run.state
    assert fold_events(SHEET, run.events + run.events) == run.state


def test_a_torn_sheet_is_refused_rather_than_walked() -> None:
    with pytest.raises(errors.SheetUnsoundError):
        start_run(replace(SHEET, start="nowhere"))
    run = Run(make_sheet(Step("look", "act", "Look.", then="nowhere")))
    run.add("begun")
    run.refuse(errors.SheetUnsoundError, "done", step="look")


@st.composite
def runs(draw: st.DrawFn) -> Run:
    """Runs of random sheets, by whatever the runner waits for."""
    run = Run(draw(sound_sheets()))
    for _ in range(draw(st.integers(0, 25))):
        state, step = run.state, run.sheet.steps[run.state.step_id]
        if state.ended:
            break
        if draw(st.integers(0, 40)) == 0:
            run.add("abandoned")
        elif state.phase == "needs":
            run.add("begun", needs=run.sheet.needs)
        elif state.phase == "census":
            run.add("census", keys=KEYS)
        elif state.phase == "supply" or draw(st.integers(0, 20)) == 0:
            run.add("supply", volts=draw(st.floats(0.0, 60.0)), source=draw(st.sampled_from(SUPPLY_SOURCES)))
        elif state.phase == "confirm":
            if find_supply_gap(run.sheet, state, run.make("confirmed")):
                run.add("supply", volts=60.0, source="typed")
            run.add("confirmed", step=step.id, visit=state.visit, present=("Ida",))
        elif step.fails and draw(st.booleans()):
            run.add("failed", step=step.id, to=draw(st.sampled_from(step.fails)).to, visit=state.visit)
        elif step.kind == "choose":
            run.add("chosen", step=step.id, choice=draw(st.sampled_from(step.options)).label)
        else:
            run.add("done", step=step.id)
    return run


@settings(deadline=None)
@given(runs(), st.data())
def test_any_prefix_written_down_and_read_again_goes_on_at_the_same_state(
    run: Run, data: st.DataObject
) -> None:
    cut = data.draw(st.integers(0, len(run.events)))
    stored = [json.dumps(event.as_dict()) for event in run.events]
    reloaded = [read_event(json.loads(line)) for line in stored]
    assert reloaded == run.events
    state = fold_events(run.sheet, reloaded[:cut])
    for event in run.events[cut:]:
        state = apply_event(run.sheet, state, event)
    assert state == run.state


@settings(deadline=None)
@given(runs())
def test_what_is_true_of_every_run(run: Run) -> None:
    state = start_run(run.sheet)
    confirmed_visit = None
    for event in run.events:
        before, state = state, apply_event(run.sheet, state, event)
        step = run.sheet.steps[before.step_id]
        if event.kind == "confirmed":
            confirmed_visit = before.visit
        if event.kind in ("done", "failed", "chosen"):
            # Nobody leaves a point of no return without its own confirmation and a census.
            assert not step.no_return or (confirmed_visit == before.visit and before.keys)
            if step.no_return and run.sheet.supply is not None:
                assert before.supply_v is not None and before.supply_v >= run.sheet.supply.least_v
            assert state.visit == before.visit + 1
        assert state.phase in PHASES
        assert state.passed_no_return >= before.passed_no_return
        assert state.ended == (state.phase in ("ended", "abandoned"))
        assert len(state.event_ids) == len(before.event_ids) + 1
        assert (state.phase == "ended") == (run.sheet.steps[state.step_id].kind == "end")
        assert [one.visit for one in state.history] == list(range(1, len(state.history) + 1))


def reach_wipe_with_supply() -> Run:
    run = Run(replace(SHEET, supply=SupplyNeed(12.0, 12.4)))
    run.add("begun", needs=("every-key", "authority"))
    run.add("done", step="look", visit=1)
    run.add("census", keys=KEYS)
    run.add("chosen", step="which", choice="turn")
    return run


def test_a_sheet_that_names_a_supply_asks_for_a_reading_before_a_point_of_no_return() -> None:
    run = reach_wipe_with_supply()
    assert run.state.phase == "supply"
    run.refuse(errors.SupplyMissingError, "confirmed", step="wipe")
    assert run.add("supply", volts=11.9, source="typed").phase == "supply"
    run.refuse(errors.SupplyMissingError, "confirmed", step="wipe")
    assert run.add("supply", volts=12.0, source="measured").phase == "confirm"
    state = run.add("confirmed", step="wipe", present=("Ida", "the owner"))
    assert (state.phase, state.present, state.supply_v) == ("step", ("Ida", "the owner"), 12.0)
    # A supply that falls after the confirmation takes it back.
    assert run.add("supply", volts=11.5, source="measured").phase == "supply"
    run.refuse(errors.ConfirmationMissingError, "done", step="wipe")
    assert run.add("supply", volts=12.6, source="measured").phase == "confirm"


def test_a_reading_counts_for_ten_minutes() -> None:
    run = reach_wipe_with_supply()
    state = run.add("supply", volts=12.6, source="typed")
    assert state.supply_at is not None
    just = RunEvent("just", "confirmed", "Ida", state.supply_at + timedelta(minutes=10), step="wipe")
    check_event(run.sheet, state, just)
    with pytest.raises(errors.SupplyMissingError):
        check_event(run.sheet, state, replace(just, at=just.at + timedelta(seconds=1)))


@pytest.mark.parametrize(
    "details",
    [{}, {"volts": -1.0}, {"volts": 60.1}, {"volts": float("nan")}, {"volts": 12.0, "source": "guessed"}],
)
def test_a_reading_that_cannot_be_is_refused(details: dict[str, object]) -> None:
    begin().refuse(errors.WrongMomentError, "supply", **({"source": "typed"} | details))
    Run().refuse(errors.WrongMomentError, "supply", volts=12.5, source="typed")


def test_a_sheet_without_a_supply_keeps_readings_and_asks_for_none() -> None:
    run = begin()
    assert run.add("supply", volts=11.0, source="typed").supply_v == 11.0
    run.add("census", keys=KEYS)
    run.add("done", step="look", visit=1)
    assert run.add("chosen", step="which", choice="turn").phase == "confirm"


@pytest.mark.parametrize(
    "change",
    [
        {"volts": "12"},
        {"volts": True},
        {"sequence": 1.5},
        {"present": [3]},
        {"at": "yesterday"},
        {"at": "2024-05-06T12:00:00"},
        {"at": 3},
        {"kind": "danced"},
        {"event_id": None},
        {"person": 7},
        {"visit": "1"},
        {"visit": True},
        {"needs": [3]},
        {"keys": [3]},
        {"keys": [{"name": "a", "present": "yes"}]},
        {"keys": [{"name": "a", "present": True, "works_before": "no"}]},
    ],
)
def test_damaged_entries_of_the_log_are_refused(change: dict[str, object]) -> None:
    whole = RunEvent("a", "census", "Ida", NOON, keys=KEYS, needs=("authority",), visit=1).as_dict()
    assert read_event(whole).keys == KEYS
    with pytest.raises(errors.EventUnreadableError):
        read_event(whole | change)
