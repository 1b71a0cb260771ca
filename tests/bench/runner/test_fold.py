"""The fold on the device and the fold on the server: the same states and the same refusals."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterator
from dataclasses import asdict, replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bittern.bench.pages.runner_data import plain_sheet, plain_state
from bittern.engines.pairing.census import (
    KeyInHand,
    find_lost_keys,
    predict_as_it_stands,
    predict_census,
)
from bittern.engines.pairing.errors import PairingError
from bittern.engines.pairing.event import EVENT_KINDS, SUPPLY_SOURCES, RunEvent, RunState
from bittern.engines.pairing.runner import apply_event, start_run
from bittern.engines.pairing.sheet import RunSheet
from tests.faults import copy_scripts, find_node
from tests.strategies.sheets import any_sheets, sound_sheets

pytestmark = pytest.mark.skipif(
    find_node() is None, reason="needs node; the browser tests run the same script"
)
DRIVER = Path(__file__).with_name("fold_driver.mjs")
START = datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
# Around the borders that matter: none, a hair, a window, ten minutes to the microsecond.
PAUSES_US = st.one_of(
    st.integers(0, 20_000_000),
    st.sampled_from((0, 1, 599_999_999, 600_000_000, 600_000_001, 30_000_000)),
)
ZONES = st.sampled_from((UTC, timezone(timedelta(hours=5, minutes=30)), timezone(-timedelta(hours=3))))
NAMES = st.sampled_from(("the owner's", "The valet key", "", " ", "\x1cthe owner's\x85", "\ufeff", "Ünal's"))
KEYS = st.builds(KeyInHand, NAMES, st.booleans(), st.sampled_from((True, False, None)), st.booleans())
VOLTS = st.none() | st.floats(-1, 70).map(lambda volts: round(volts, 2)) | st.sampled_from((0.0, 12.0, 60.0))


class Device:
    """The script in node: asked a run a line."""

    def __init__(self, scripts: Path) -> None:
        words = [str(find_node()), str(DRIVER), str(scripts)]
        self.process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def fold(self, sheet: RunSheet, events: list[RunEvent]) -> list[dict[str, Any]]:
        assert self.process.stdin
        assert self.process.stdout
        run = {"sheet": plain_sheet(sheet), "events": [event.as_dict() for event in events]}
        self.process.stdin.write(json.dumps(run) + "\n")
        self.process.stdin.flush()
        said: list[dict[str, Any]] = json.loads(self.process.stdout.readline())
        return said


@pytest.fixture(scope="module")
def device(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Device]:
    device = Device(copy_scripts(tmp_path_factory.mktemp("scripts")))
    yield device
    assert device.process.stdin
    assert device.process.stdout
    device.process.stdin.close()
    device.process.wait(10)
    device.process.stdout.close()


def fold_on_server(sheet: RunSheet, events: list[RunEvent]) -> list[dict[str, Any]]:
    said: list[dict[str, Any]] = []
    try:
        state = start_run(sheet)
    except PairingError as error:
        return [{"refused": error.code}]
    for event in events:
        refused = ""
        try:
            state = apply_event(sheet, state, event)
        except PairingError as error:
            refused = error.code
        said.append({"refused": refused, "state": plain_state(state), **tell_keys(sheet, state)})
    return said


def tell_keys(sheet: RunSheet, state: RunState) -> dict[str, Any]:
    keys = state.keys or ()
    if state.ended:
        forecast = predict_as_it_stands(sheet, state)
    else:
        forecast = predict_census(sheet, keys, "good", passed_no_return=True)
    return {"lost": find_lost_keys(sheet, keys), "forecast": [asdict(key) for key in forecast]}


def as_read(said: list[dict[str, Any]]) -> Any:
    """As JSON gives it back, ids in one order."""
    for one in said:
        if "state" in one:
            one["state"]["event_ids"] = sorted(one["state"]["event_ids"])
    return json.loads(json.dumps(said))


@st.composite
def runs(draw: st.DrawFn, sheets: st.SearchStrategy[RunSheet]) -> tuple[RunSheet, list[RunEvent]]:
    """A sheet and events, most of which fit where they come."""
    sheet = draw(sheets)
    at, events = START, []
    try:
        state = start_run(sheet)
    except PairingError:
        return sheet, []
    for number in range(draw(st.integers(0, 25))):
        at += timedelta(microseconds=draw(PAUSES_US))
        event = draw(fitting(sheet, state)) if draw(st.integers(0, 9)) else draw(stray(sheet))
        event = replace(event, at=at.astimezone(draw(ZONES)), event_id=f"{number}")
        if events and not draw(st.integers(0, 9)):
            event = replace(event, event_id=draw(st.sampled_from(events)).event_id)
        events.append(event)
        try:
            state = apply_event(sheet, state, event)
        except PairingError:
            continue
    return sheet, events


def fitting(sheet: RunSheet, state: RunState) -> st.SearchStrategy[RunEvent]:
    """An event that a page of ``state`` would send."""
    step = sheet.steps[state.step_id]
    if state.phase == "needs":
        return st.just(make("begun", needs=sheet.needs))
    if state.phase == "census":
        return st.lists(KEYS, max_size=4).map(lambda keys: make("census", keys=tuple(keys)))
    if state.phase == "supply":
        return st.builds(lambda volts: make("supply", volts=volts, source="typed"), VOLTS)
    here = {"step": step.id, "visit": state.visit}
    if state.phase == "confirm":
        return st.just(make("confirmed", present=("Ida", "Ove"), **here))
    ways = [make("failed", to=failure.to, **here) for failure in step.fails]
    ways += [make("chosen", choice=option.label, **here) for option in step.options]
    return st.sampled_from([*ways, make("done", **here), make("done", **here)])


def stray(sheet: RunSheet) -> st.SearchStrategy[RunEvent]:
    """Any event at all."""
    steps = st.sampled_from([*sheet.steps, "nowhere", "constructor", ""])
    return st.builds(
        make,
        st.sampled_from((*EVENT_KINDS, "slept")),
        person=st.sampled_from(("Ida", "", "\x1f")),
        step=steps,
        visit=st.none() | st.integers(0, 6),
        to=steps,
        choice=st.sampled_from(("way 0", "way 1", "")),
        needs=st.just(sheet.needs) | st.just(()),
        keys=st.lists(KEYS, max_size=4).map(tuple),
        volts=VOLTS,
        source=st.sampled_from((*SUPPLY_SOURCES, "", "guessed")),
    )


def make(kind: str, *, person: str = "Ida", **details: Any) -> RunEvent:
    return RunEvent("?", kind, person, START, **details)


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(run=runs(sound_sheets()))
def test_sound_sheets_lead_to_the_same_states_and_refusals(
    device: Device, run: tuple[RunSheet, list[RunEvent]]
) -> None:
    assert as_read(device.fold(*run)) == as_read(fold_on_server(*run))


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(run=runs(any_sheets()))
def test_sheets_that_make_no_sense_are_refused_alike(
    device: Device, run: tuple[RunSheet, list[RunEvent]]
) -> None:
    assert as_read(device.fold(*run)) == as_read(fold_on_server(*run))
