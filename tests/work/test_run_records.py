"""Real runs come back as records that say nothing about people, and teach the sheet."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from bittern.work.memory import StepClock
from bittern.work.run_records import load_runs, name_family, propose_for_sheet
from tests.work.conftest import TECH, Bench

ONE_HERE = {"key-1-name": "Daily", "key-1-present": "yes", "key-1-worked": "yes"}


@pytest.fixture
def ready(bench: Bench) -> Bench:
    bench.carry_to_pairing()
    return bench


def test_a_run_that_is_over_is_a_record_of_its_visits(ready: Bench) -> None:
    ready.begin(**ONE_HERE)
    assert load_runs(ready.desk) == ()
    ready.walk(until=lambda run: False)
    (record,) = load_runs(ready.desk)
    assert record.sheet == ready.run.sheet
    history = ready.run.state.history
    assert [visit.step for visit in record.visits] == [one.step_id for one in history]
    assert [visit.how for visit in record.visits] == [one.how for one in history]
    # Every act of the test moves the clock by at least a second.
    assert all(visit.seconds is not None and visit.seconds >= 1 for visit in record.visits)
    assert TECH.login not in repr(record)
    assert load_runs(ready.desk, name_family(record.sheet.id)) == (record,)
    assert load_runs(ready.desk, "nothing") == ()


def test_a_run_given_up_keeps_what_was_done_and_an_earlier_run_is_not_forgotten(ready: Bench) -> None:
    ready.begin(**ONE_HERE)
    ready.walk(until=lambda run: len(run.state.history) == 2)
    ready.do("pairing-event", ready.event("abandoned", give_up="yes"))
    ready.begin(**ONE_HERE)
    ready.walk(until=lambda run: False)
    assert sorted(len(run.visits) for run in load_runs(ready.desk))[0] == 2
    assert len(load_runs(ready.desk)) == 2


def test_a_run_in_which_nothing_was_done_is_none(ready: Bench) -> None:
    ready.begin(**ONE_HERE)
    ready.do("pairing-event", ready.event("abandoned", give_up="yes"))
    assert load_runs(ready.desk) == ()


def test_real_runs_propose_figures_for_their_sheet(ready: Bench) -> None:
    assert isinstance(ready.desk.clock, StepClock)
    ready.desk.clock.step = timedelta(seconds=200)
    for _ in range(6):
        ready.begin(**ONE_HERE)
        ready.walk(until=lambda run: len(run.state.history) == 2)
        ready.do("pairing-event", ready.event("abandoned", give_up="yes"))
    sheet = ready.run.sheet
    proposals, runs = propose_for_sheet(ready.desk, sheet)
    assert runs == 6
    # Every visit took 200 s, longer than the slowest that the sheet knows for its first step.
    assert sheet.steps[sheet.start].slowest_s < 200
    first = next(one for one in proposals if (one.step, one.kind) == (sheet.start, "time"))
    assert all(figure.proposed > figure.now for figure in first.figures)
    assert (first.runs, first.visits) == (6, 6)
    other = replace(sheet, id=name_family(sheet.id) + "-another")
    assert propose_for_sheet(ready.desk, other) == ((), 0)


def test_times_that_no_person_takes_propose_none(ready: Bench) -> None:
    # The test's clock moves by a second: buttons pressed without the deed, not a quick hand.
    for _ in range(4):
        ready.begin(**ONE_HERE)
        ready.walk(until=lambda run: len(run.state.history) == 2)
        ready.do("pairing-event", ready.event("abandoned", give_up="yes"))
    proposals, _ = propose_for_sheet(ready.desk, ready.run.sheet)
    assert [one for one in proposals if one.kind == "time"] == []
