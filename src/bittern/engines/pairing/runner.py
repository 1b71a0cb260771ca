"""The runner: the events of a run, one after the other, decide where it stands.

Nothing is remembered but the list of events, so a run goes on at the exact step after a crash, on another
device, or the next day. The same functions serve the bench, the command line and a rehearsal.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta

from bittern.core.errors import shorten
from bittern.engines.pairing.census import find_census_gaps
from bittern.engines.pairing.errors import (
    CensusMissingError,
    ConfirmationMissingError,
    NeedsMissingError,
    RunOverError,
    SheetUnsoundError,
    SupplyMissingError,
    UnknownChoiceError,
    UnknownFailureError,
    WrongMomentError,
    WrongStepError,
)
from bittern.engines.pairing.event import (
    EVENT_KINDS,
    MOST_VOLTS,
    SUPPLY_SOURCES,
    Passage,
    RunEvent,
    RunState,
)
from bittern.engines.pairing.sheet import RunSheet, Step

_STEP_EVENTS = ("confirmed", "done", "failed", "chosen")
# A battery that was good half an hour ago may have run radio and lamps since.
SUPPLY_FRESH = timedelta(minutes=10)


def start_run(sheet: RunSheet) -> RunState:
    """Return the state of a run in which nothing has happened yet: it waits for its needs.

    Raises
    ------
    SheetUnsoundError
        The sheet's start does not exist.
    """
    if sheet.start not in sheet.steps:
        raise SheetUnsoundError(shorten(sheet.start), "the id of a step", where="start")
    return RunState(step_id=sheet.start, phase="needs")


def fold_events(sheet: RunSheet, events: Iterable[RunEvent]) -> RunState:
    """Return the state that ``events`` lead to, in their order; an event that is there twice counts once.

    Raises
    ------
    PairingError
        An event does not belong where it stands, see :func:`check_event`.
    """
    state = start_run(sheet)
    for event in events:
        state = apply_event(sheet, state, event)
    return state


def apply_event(sheet: RunSheet, state: RunState, event: RunEvent) -> RunState:
    """Return the state after ``event``; the same state when the event was counted already.

    Raises
    ------
    PairingError
        The event does not belong here, see :func:`check_event`.
    """
    if event.event_id in state.event_ids:
        return state
    check_event(sheet, state, event)
    state = replace(state, event_ids=state.event_ids | {event.event_id})
    if event.kind == "begun":
        return _arrive(sheet, replace(state, affirmed=event.needs), sheet.start, event)
    if event.kind == "census":
        gaps = tuple(find_census_gaps(sheet, event.keys))
        # Whoever confirmed had the old count before their eyes: with a new one they are asked again.
        counted = replace(state, keys=event.keys, census_gaps=gaps, confirmed=False)
        return counted if state.ended else _await_step(sheet, counted, event)
    if event.kind == "supply":
        low = sheet.supply is not None and (event.volts or 0.0) < sheet.supply.least_v
        read = replace(state, supply_v=event.volts, supply_at=event.at)
        return _await_step(sheet, replace(read, confirmed=state.confirmed and not low), event)
    if event.kind == "confirmed":
        return _await_step(sheet, replace(state, confirmed=True, present=event.present), event)
    if event.kind == "abandoned":
        # After the confirmation the act itself may have been done; the forecast must not promise otherwise.
        passed = state.passed_no_return or state.confirmed
        return replace(
            state, phase="abandoned", ended=True, passed_no_return=passed, confirmed=False, deadline=None
        )
    return _leave(sheet, state, event)


def check_event(sheet: RunSheet, state: RunState, event: RunEvent) -> None:
    """Do nothing when ``event`` belongs at ``state``.

    Parameters
    ----------
    sheet
        The run's sheet, without faults.
    state
        Where the run stands.
    event
        What is to be added. One that was counted before belongs anywhere.

    Raises
    ------
    RunOverError
        The run has ended or was given up.
    WrongMomentError
        The run waits for another kind of event, or the event has no id, person or time zone.
    WrongStepError
        The event speaks of another step or visit, as from a page that is no longer true.
    NeedsMissingError
        ``begun`` does not affirm every need.
    CensusMissingError
        A point of no return is at hand without a census that allows it.
    SupplyMissingError
        A point of no return is at hand, the sheet names a supply, and no reading of the last ten minutes
        reaches it.
    ConfirmationMissingError
        A point of no return is at hand and was not confirmed at this visit.
    UnknownChoiceError, UnknownFailureError
        The step has no such way on.
    """
    if event.event_id in state.event_ids:
        return
    _check_form(event)
    if state.ended:
        # A run without a point of no return may have its keys counted at the end.
        if event.kind == "census" and state.keys is None:
            return
        raise RunOverError(f"{event.kind} in a run that is over", "no more events", hint="begin a new run")
    if event.kind == "begun":
        _check_needs(sheet, state, event)
    elif event.kind == "supply":
        _check_reading(state, event)
    elif event.kind in _STEP_EVENTS:
        _check_place(state, event)
        step = sheet.steps[state.step_id]
        if event.kind == "confirmed":
            _check_confirmation(state, step)
            _check_supply(sheet, state, event)
        else:
            _check_leaving(state, step, event)


def _check_form(event: RunEvent) -> None:
    if event.kind not in EVENT_KINDS:
        raise WrongMomentError(shorten(event.kind), "one of " + ", ".join(EVENT_KINDS), where="kind")
    if not event.event_id:
        raise WrongMomentError("an event without an id", "an id made where the event was", where="event_id")
    if not event.person.strip():
        raise WrongMomentError("an event without a person", "who it was", where="person")
    if event.at.utcoffset() is None:
        raise WrongMomentError("a time without its zone", "a time with its zone", where="at")


def _check_needs(sheet: RunSheet, state: RunState, event: RunEvent) -> None:
    if state.phase != "needs":
        raise WrongMomentError("begun a second time", "the step at hand", where=state.step_id)
    missing = [need for need in sheet.needs if need not in event.needs]
    if missing:
        raise NeedsMissingError(
            "needs not affirmed: " + ", ".join(missing),
            "every need affirmed",
            where="needs",
            hint="do not begin before all of them are true",
        )


def _check_place(state: RunState, event: RunEvent) -> None:
    if state.phase == "needs":
        raise WrongMomentError(f"{event.kind} before the run has begun", "begun first", where=event.step)
    if event.step != state.step_id:
        raise WrongStepError(
            f"{event.kind} at {shorten(event.step)}",
            f"the step at hand, {shorten(state.step_id)}",
            hint="reload",
        )
    if event.visit is not None and event.visit != state.visit:
        found = f"{event.kind} at visit {event.visit}"
        raise WrongStepError(found, f"the visit at hand, {state.visit}", where=state.step_id, hint="reload")


def _check_confirmation(state: RunState, step: Step) -> None:
    if not step.no_return or state.phase == "step":
        found = "confirmed" + (" a second time" if state.confirmed else " where nothing is to be confirmed")
        raise WrongMomentError(found, "how the step went", where=step.id)
    _check_census(state, step)


def _check_census(state: RunState, step: Step) -> None:
    if state.keys is None:
        raise CensusMissingError(
            "no key census",
            "a census before a point of no return",
            where=step.id,
            hint="count the keys first",
        )
    if state.census_gaps:
        raise CensusMissingError(
            " ".join(state.census_gaps), "a census that leaves the vehicle with a key", where=step.id
        )


def _check_reading(state: RunState, event: RunEvent) -> None:
    if state.phase == "needs":
        raise WrongMomentError("a reading before the run has begun", "begun first", where="supply")
    volts = event.volts
    if volts is None or not 0.0 <= volts <= MOST_VOLTS:
        found = "no voltage" if volts is None else f"{volts:g} V"
        raise WrongMomentError(found, f"0 to {MOST_VOLTS:g} V", where="volts")
    if event.source not in SUPPLY_SOURCES:
        raise WrongMomentError(shorten(event.source), "typed or measured", where="source")


def _check_supply(sheet: RunSheet, state: RunState, event: RunEvent) -> None:
    gap = find_supply_gap(sheet, state, event)
    if gap:
        raise SupplyMissingError(
            gap,
            f"a reading of at least {sheet.supply.least_v:g} V" if sheet.supply else "a reading",
            where=state.step_id,
            hint="connect a steady supply and read the voltage at the battery",
        )


def find_supply_gap(sheet: RunSheet, state: RunState, event: RunEvent) -> str:
    """Return what the supply lacks for a point of no return at the time of ``event``; empty if nothing.

    A reading counts for ten minutes.
    """
    if sheet.supply is None:
        return ""
    if state.supply_v is None or state.supply_at is None:
        return "no reading of the supply voltage"
    if state.supply_v < sheet.supply.least_v:
        return f"a supply of {state.supply_v:g} V"
    if event.at - state.supply_at > SUPPLY_FRESH:
        return "a reading older than ten minutes"
    return ""


def _check_leaving(state: RunState, step: Step, event: RunEvent) -> None:
    if step.no_return:
        _check_census(state, step)
        if not state.confirmed:
            raise ConfirmationMissingError(
                f"{event.kind} without a confirmation",
                "confirmed for this very visit",
                where=step.id,
                hint="say what will be lost and ask again",
            )
    if event.kind == "failed":
        if event.to not in {failure.to for failure in step.fails}:
            known = ", ".join(failure.to for failure in step.fails) or "no failure; give the run up instead"
            raise UnknownFailureError(f"a failure that leads to {shorten(event.to)}", known, where=step.id)
    elif (step.kind == "choose") != (event.kind == "chosen"):
        expected = "chosen" if step.kind == "choose" else "done"
        raise WrongMomentError(f"{event.kind} at a step of kind {step.kind}", expected, where=step.id)
    elif event.kind == "chosen" and event.choice not in {option.label for option in step.options}:
        labels = ", ".join(shorten(option.label) for option in step.options)
        raise UnknownChoiceError(shorten(event.choice), f"one of {labels}", where=step.id)


def _leave(sheet: RunSheet, state: RunState, event: RunEvent) -> RunState:
    step = sheet.steps[state.step_id]
    if event.kind == "chosen":
        target = next(option.then for option in step.options if option.label == event.choice)
    else:
        target = event.to if event.kind == "failed" else step.then
    arrived_at = state.arrived_at or event.at
    late_s = (event.at - state.deadline).total_seconds() if state.deadline else 0.0
    passage = Passage(
        step.id, state.visit, event.kind, target, arrived_at, event.at, max(0.0, late_s), event.choice
    )
    left = replace(
        state,
        history=(*state.history, passage),
        passed_no_return=state.passed_no_return or step.no_return,
    )
    return _arrive(sheet, left, target, event)


def _arrive(sheet: RunSheet, state: RunState, step_id: str, event: RunEvent) -> RunState:
    step = sheet.steps.get(step_id)
    if step is None:
        raise SheetUnsoundError(f"a way to {shorten(step_id)}", "the id of a step", where=state.step_id)
    here = replace(
        state, step_id=step_id, visit=state.visit + 1, arrived_at=event.at, deadline=None, confirmed=False
    )
    if step.kind == "end":
        return replace(here, phase="ended", ended=True, outcome=step.outcome)
    if step.window_s is not None:
        here = replace(here, deadline=event.at + timedelta(seconds=step.window_s))
    return _await_step(sheet, here, event)


def _await_step(sheet: RunSheet, state: RunState, event: RunEvent) -> RunState:
    """Return ``state`` with the phase that the step at hand is in when ``event`` has come."""
    if state.phase == "needs" and event.kind != "begun":
        return state
    phase = "step"
    if sheet.steps[state.step_id].no_return and not state.confirmed:
        phase = "confirm"
        if state.keys is None or state.census_gaps:
            phase = "census"
        elif find_supply_gap(sheet, state, event):
            phase = "supply"
    return replace(state, phase=phase)
