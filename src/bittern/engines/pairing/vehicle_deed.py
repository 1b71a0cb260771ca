"""The act of a step, done to a simulated vehicle: how it goes and what the person perceives of it."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import replace

from bittern.core.errors import shorten
from bittern.engines.pairing.errors import WrongMomentError
from bittern.engines.pairing.sheet import RunSheet, Step
from bittern.engines.pairing.vehicle_faults import (
    connects_supply,
    find_need,
    find_repeat,
    find_supply_failure,
    find_taking_step,
    pick_failure,
)
from bittern.engines.pairing.vehicle_keys import (
    arrive,
    draw_chance,
    leave_choice,
    list_unshown,
    pass_no_return,
    put_key,
    tell_fact,
)
from bittern.engines.pairing.vehicle_state import Deed, Happening, Sign, Vehicle, VehicleKey
from bittern.engines.pairing.vehicle_supply import BROWN_OUT_V, drain, find_volts

NOTHING_SEEN = "You saw nothing."
AS_IT_SAYS = "It went as the step says."
DID_NOT_WORK = "It did not work."
FREE_CHOICE = "That is for you to decide."


def do_step(sheet: RunSheet, vehicle: Vehicle, deed: Deed) -> tuple[Vehicle, tuple[Sign, ...]]:
    """Return the vehicle after the act of a step, and what the person perceives."""
    vehicle, signs = _do(sheet, vehicle, deed)
    # After the deed, so that whoever measures before the next one finds it out.
    return _pull_cable(vehicle), signs


def _do(sheet: RunSheet, vehicle: Vehicle, deed: Deed) -> tuple[Vehicle, tuple[Sign, ...]]:
    step = sheet.steps.get(deed.step)
    if step is None or step.kind == "end":
        raise WrongMomentError(f"a deed at {shorten(deed.step)}", "a step that something is done at")
    path = None if vehicle.ended else find_path(sheet, vehicle.place, step.id)
    if path is None:
        volts = find_volts(vehicle.supply, awake=vehicle.awake)
        return _note_deed(sheet, vehicle, step, "out-of-order", volts=volts)
    for label in path:
        vehicle = leave_choice(sheet, vehicle, label)
    if connects_supply(step) and "low-supply" not in vehicle.faults:
        vehicle = replace(vehicle, supply=replace(vehicle.supply, steady=True))
    # The ignition goes on with the act: what sags under its load counts.
    vehicle = replace(vehicle, awake=vehicle.awake or step.kind == "act")
    shown = _pick_key(sheet, vehicle, step, deed.key)
    volts = find_volts(vehicle.supply, awake=vehicle.awake)
    way, to, cause = _decide(sheet, vehicle, step, shown)
    vehicle = _spend_step(vehicle, step)
    if shown is not None and way in ("worked", "failed"):
        taken = way == "worked"
        changed = replace(shown, taken=taken, refused=shown.refused + (not taken))
        vehicle = put_key(vehicle, changed)
    if step.kind == "choose" and way == "worked":
        # Looking decides nothing yet: the person's choice does.
        to = ""
    vehicle, signs = _note_deed(sheet, vehicle, step, way, to, cause, volts)
    if way == "worked" and step.no_return and to:
        vehicle = pass_no_return(sheet, vehicle)
    return (arrive(sheet, vehicle, to) if to else vehicle), signs


def _decide(sheet: RunSheet, vehicle: Vehicle, step: Step, shown: VehicleKey | None) -> tuple[str, str, str]:
    """Return the way, the step that it leads to, and the cause of what is done at ``step``."""
    draw = draw_chance(vehicle.seed, "way", step.id, vehicle.visit, len(vehicle.log))
    cause = _find_cause(sheet, vehicle, step, shown)
    if cause == "doors":
        return "nothing", "", cause
    if cause:
        failure = pick_failure(step, cause, draw)
        way = "late" if cause == "window" else "failed" if failure else "nothing"
        return way, failure.to if failure else "", cause
    edge = 0.0
    for failure in step.fails:
        edge += failure.chance
        if draw < edge:
            return "failed", failure.to, ""
    return "worked", step.then, ""


def _find_cause(sheet: RunSheet, vehicle: Vehicle, step: Step, shown: VehicleKey | None) -> str:
    """Return what keeps the deed from working before any chance of the sheet; empty if nothing does."""
    if vehicle.open_doors and "doors-closed" in sheet.needs and step.kind != "choose":
        return "doors"
    waited_s = vehicle.now_s - vehicle.arrived_s
    # A question is the person's: one that cannot fail can be answered late.
    if step.window_s is not None and waited_s > step.window_s and (step.fails or step.kind != "choose"):
        return "window"
    if step.kind != "choose":
        need, volts = find_need(sheet), find_volts(vehicle.supply, awake=vehicle.awake)
        if find_supply_failure(step) and volts < need.comfort_v:
            return "supply"
        low = (need.least_v - volts) / BROWN_OUT_V
        answers = step.kind == "act" and (step.signal or step.fails or step.no_return)
        if answers and draw_chance(vehicle.seed, "brown-out", len(vehicle.log)) < low:
            return "supply"
    if shown is not None and not shown.fits:
        return "wrong-article" if shown.new else "key"
    wrong = any(key.new and key.here and not key.fits for key in vehicle.keys)
    if wrong and find_taking_step(sheet) == step.id:
        return "wrong-article"
    return ""


def _pick_key(sheet: RunSheet, vehicle: Vehicle, step: Step, name: str) -> VehicleKey | None:
    """Return the key that the deed shows to the vehicle; None where it shows none."""
    repeat = find_repeat(sheet)
    if repeat is None or step.id not in repeat.takers:
        return None
    # A key that was laid aside is tried again once no other is left.
    waiting = list_unshown(sheet, vehicle) or [key for key in vehicle.keys if key.here and not key.taken]
    named = next((key for key in vehicle.keys if key.name == name and key.here), None)
    return named or (waiting[0] if waiting else None)


def _pull_cable(vehicle: Vehicle) -> Vehicle:
    supply = vehicle.supply
    if not supply.steady or supply.pull_after is None or vehicle.ended:
        return vehicle
    if supply.pull_after > 0:
        return replace(vehicle, supply=replace(supply, pull_after=supply.pull_after - 1))
    volts = find_volts(replace(supply, steady=False), awake=vehicle.awake)
    line = Happening(vehicle.now_s, "cable-pulled", volts=volts, cause="cable-pulled", unseen=True)
    return replace(vehicle, supply=replace(supply, steady=False, pull_after=None), log=(*vehicle.log, line))


def spend(vehicle: Vehicle, seconds: float) -> Vehicle:
    """Return the vehicle once something has taken ``seconds`` of the procedure's own time."""
    supply = drain(vehicle.supply, seconds, awake=vehicle.awake)
    return replace(vehicle, supply=supply, skipped_s=vehicle.skipped_s + seconds)


def _spend_step(vehicle: Vehicle, step: Step) -> Vehicle:
    draw = draw_chance(vehicle.seed, "time", step.id, vehicle.visit, len(vehicle.log))
    # Inverse of the right-triangular distribution function.
    span_s = max(0.0, step.slowest_s - step.typical_s)
    return spend(vehicle, step.typical_s + span_s * (1.0 - math.sqrt(1.0 - draw)))


def _note_deed(
    sheet: RunSheet, vehicle: Vehicle, step: Step, way: str, to: str = "", cause: str = "", volts: float = 0.0
) -> tuple[Vehicle, tuple[Sign, ...]]:
    """Write the deed down and return what the person perceives of it."""
    sign = _make_sign(sheet, vehicle, step, way, to)
    unseen = vehicle.unseen if way == "out-of-order" else None
    away = way == "worked" and step.signal is not None and _looks_away(sheet, vehicle)
    if away:
        unseen, sign = sign, Sign("finding", 1, NOTHING_SEEN, vehicle.now_s)
    line = Happening(vehicle.now_s, "do", step.id, way, to, volts=volts, cause=cause, unseen=away)
    # A deed out of order does not undo what was seen of the right one.
    kept = vehicle.untold if way == "out-of-order" and vehicle.untold else line
    return replace(vehicle, unseen=unseen, untold=kept, log=(*vehicle.log, line)), (sign,)


def _make_sign(sheet: RunSheet, vehicle: Vehicle, step: Step, way: str, to: str) -> Sign:
    at_s, signal = vehicle.now_s, step.signal
    if way == "worked":
        if step.kind == "choose":
            facts = tell_fact(sheet, replace(vehicle, place=step.id))
            return Sign("finding", 1, facts[0] if facts else FREE_CHOICE, at_s)
        if signal:
            return Sign(signal.kind, signal.count, signal.text, at_s)
        return Sign("finding", 1, AS_IT_SAYS, at_s)
    failure = next((failure for failure in step.fails if failure.to == to), None)
    if failure is None:
        return Sign("finding", 1, NOTHING_SEEN, at_s)
    because = failure.because.strip()
    if because and (signal is None or len(step.fails) > 1):
        # Without these words nobody could tell which of the sheet's failures it is.
        return Sign("finding", 1, because[:1].upper() + because[1:] + ".", at_s)
    if signal and signal.count > 1 and draw_chance(vehicle.seed, "short", len(vehicle.log)) < 0.5:
        return Sign(signal.kind, signal.count - 1, signal.text, at_s)
    return Sign("finding", 1, NOTHING_SEEN if signal else DID_NOT_WORK, at_s)


def _looks_away(sheet: RunSheet, vehicle: Vehicle) -> bool:
    if "signal-missed" not in vehicle.faults:
        return False
    signalled = [step_id for step_id, step in sheet.steps.items() if step.signal]
    given = sum(line.kind == "do" and line.way == "worked" and line.step in signalled for line in vehicle.log)
    return given == int(draw_chance(vehicle.seed, "look-away") * min(3, len(signalled)))


def find_path(sheet: RunSheet, place: str, step_id: str) -> list[str] | None:
    """Return the choices that lead from ``place`` to ``step_id``; None where other deeds come first."""
    waiting: deque[tuple[str, list[str]]] = deque([(place, [])])
    seen = {place}
    while waiting:
        here, labels = waiting.popleft()
        if here == step_id:
            return labels
        step = sheet.steps[here]
        for option in step.options if step.kind == "choose" else ():
            if option.then in sheet.steps and option.then not in seen:
                seen.add(option.then)
                waiting.append((option.then, [*labels, option.label]))
    return None
