"""What becomes of a simulated vehicle's keys as the procedure goes on: shown, wiped, taken, put back."""

from __future__ import annotations

import hashlib
from dataclasses import replace

from bittern.core.errors import shorten
from bittern.engines.pairing.errors import SheetUnsoundError
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle_faults import find_repeat, gives_up
from bittern.engines.pairing.vehicle_state import Vehicle, VehicleKey


def tell_fact(sheet: RunSheet, vehicle: Vehicle) -> tuple[str, ...]:
    """Return the labels that are true answers where the vehicle stands at a question; empty at a free choice.

    Notes
    -----
    Asked once for every key, the answer is whether one is left that was not shown; one that the vehicle
    cannot take is laid aside after two tries. Otherwise it is drawn by the chances of the sheet, unless an
    option gives up: to give up or to try again is for the person to decide.
    """
    step = sheet.steps.get(vehicle.place)
    if step is None or step.kind != "choose":
        return ()
    repeat = find_repeat(sheet)
    if repeat and repeat.step_id == step.id:
        return repeat.again if list_unshown(sheet, vehicle) else repeat.enough
    if any(gives_up(sheet, option.then) for option in step.options):
        return ()
    stated = sum(option.chance for option in step.options if option.chance is not None)
    blank = sum(option.chance is None for option in step.options)
    draw, edge = draw_chance(vehicle.seed, "fact", step.id, vehicle.visit), 0.0
    for option in step.options:
        edge += (1.0 - stated) / blank if option.chance is None else option.chance
        if draw < edge:
            return (option.label,)
    return (step.options[-1].label,)


def draw_chance(seed: int, *words: object) -> float:
    """Return a number from 0 to 1 (without 1) that is the same for the same words."""
    text = "\x1f".join(str(word) for word in (seed, *words))
    digest = hashlib.blake2b(text.encode("utf-8", "surrogatepass"), digest_size=8).digest()
    return (int.from_bytes(digest, "big") >> 11) / 2.0**53


def list_unshown(sheet: RunSheet, vehicle: Vehicle) -> list[VehicleKey]:
    """Return the keys that are here and not yet shown since the point of no return, the next one first."""
    waiting = [
        key
        for key in vehicle.keys
        if key.here
        and not key.taken
        and (key.fits or key.refused < 2)
        and (key.new or sheet.census != "new-only")
    ]
    return sorted(waiting, key=lambda key: (key.refused, not key.new))


def put_key(vehicle: Vehicle, changed: VehicleKey) -> Vehicle:
    keys = tuple(changed if key.name == changed.name else key for key in vehicle.keys)
    return replace(vehicle, keys=keys)


def leave_choice(sheet: RunSheet, vehicle: Vehicle, label: str) -> Vehicle:
    """Return the vehicle once the person has decided for ``label`` where it stands at a choice."""
    step = sheet.steps[vehicle.place]
    option = next(one for one in step.options if one.label == label)
    repeat = find_repeat(sheet)
    if repeat and repeat.step_id == step.id and label in repeat.enough:
        left = tuple(key.name for key in list_unshown(sheet, vehicle))
        vehicle = replace(vehicle, left_out=left)
    if step.no_return:
        vehicle = pass_no_return(sheet, vehicle)
    return arrive(sheet, vehicle, option.then)


def pass_no_return(sheet: RunSheet, vehicle: Vehicle) -> Vehicle:
    before = vehicle.known_before
    if not vehicle.passed_no_return:
        before = tuple(key.name for key in vehicle.keys if key.known)
    keys = vehicle.keys
    if sheet.census != "all":
        keys = tuple(replace(key, known=False, taken=False, refused=0) for key in keys)
    return replace(vehicle, passed_no_return=True, known_before=before, keys=keys, left_out=())


def arrive(sheet: RunSheet, vehicle: Vehicle, step_id: str) -> Vehicle:
    if step_id not in sheet.steps:
        raise SheetUnsoundError(f"a way to {shorten(step_id)}", "the id of a step", where=vehicle.place)
    here = replace(vehicle, place=step_id, arrived_s=vehicle.now_s, visit=vehicle.visit + 1)
    return settle_end(sheet, here)


def settle_end(sheet: RunSheet, vehicle: Vehicle) -> Vehicle:
    """Return the vehicle with what the end brings, where it has come to one."""
    end = sheet.steps[vehicle.place]
    if end.kind != "end":
        return vehicle
    keys = vehicle.keys
    if end.outcome == "good":
        keys = tuple(replace(key, known=_is_known_at_the_end(sheet, vehicle, key)) for key in keys)
    elif end.outcome == "unchanged" and vehicle.passed_no_return:
        # The sheet promises that everything is as before.
        keys = tuple(replace(key, known=key.name in vehicle.known_before) for key in keys)
    return replace(vehicle, keys=keys, outcome=end.outcome, awake=False)


def _is_known_at_the_end(sheet: RunSheet, vehicle: Vehicle, key: VehicleKey) -> bool:
    if sheet.census == "all" and not key.new:
        return key.known
    if sheet.census == "new-only" and not key.new:
        return False
    if not key.here:
        return sheet.census == "all" and key.known
    return key.fits and key.name not in vehicle.left_out
