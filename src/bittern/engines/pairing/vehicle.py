"""A simulated vehicle: what it does when something is done to it, and what is true of it.

Two things come to it. A :class:`~bittern.engines.pairing.vehicle_state.Deed` is done to it, and it answers
with signs. A :class:`~bittern.engines.pairing.event.RunEvent` is what the person tells the run; the vehicle
does not hear it, but what was said is kept beside what was true. The state is frozen and everything drawn by
chance comes from the seed, so that the same deeds always meet the same vehicle.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from bittern.core.errors import shorten
from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.errors import SheetUnsoundError, UnfitFaultError, WrongMomentError
from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle_deed import do_step, spend
from bittern.engines.pairing.vehicle_faults import FAULTS, find_need, gives_up, list_fitting_faults
from bittern.engines.pairing.vehicle_keys import draw_chance, leave_choice, put_key, settle_end, tell_fact
from bittern.engines.pairing.vehicle_state import DEED_KINDS, Deed, Happening, Sign, Vehicle, VehicleKey
from bittern.engines.pairing.vehicle_supply import drain, find_volts, make_supply, tell_supply

__all__ = [
    "count_keys",
    "find_true_census",
    "make_vehicle",
    "respond",
    "tell_fact",
    "tell_lamps",
    "tell_supply",
]

NOTHING_CHANGED = "Nothing has changed."
# What else takes time of the procedure, in seconds; common practice.
CONNECT_S = 60.0
FETCH_S = 900.0
# A meter's last digit, a clamp's contact and a rounded number are no untruth.
READING_TOLERANCE_V = 0.3


@dataclass(frozen=True, slots=True)
class TrueKey:
    """Whether a key starts the vehicle, as it truly is."""

    name: str
    works: bool


def make_vehicle(
    sheet: RunSheet, keys: Sequence[KeyInHand], faults: Iterable[str] = (), seed: int = 0
) -> Vehicle:
    """Return a vehicle that waits at the first step of ``sheet``.

    Parameters
    ----------
    sheet
        A run sheet without faults.
    keys
        The keys as the customer names them; with the fault ``key-at-home`` one of them is not here after all.
    faults
        Names out of ``vehicle_faults.FAULTS``.
    seed
        Decides everything that is left to chance.

    Raises
    ------
    UnfitFaultError
        A fault that is not known, or that cannot happen with this sheet and these keys.
    SheetUnsoundError
        The sheet's start does not exist.
    """
    if sheet.start not in sheet.steps:
        raise SheetUnsoundError(shorten(sheet.start), "the id of a step", where="start")
    asked = tuple(name for name in FAULTS if name in set(faults))
    fitting = list_fitting_faults(sheet, keys)
    for name in faults:
        if name not in fitting:
            known = ", ".join(fitting) or "no fault"
            raise UnfitFaultError(shorten(name), f"one that can happen here: {known}", where="faults")
    at_home = ""
    if "key-at-home" in asked:
        old = [key.name for key in keys if key.present and not key.new]
        at_home = old[int(draw_chance(seed, "at-home") * len(old))]
    wrong = ""
    if "wrong-article" in asked:
        wrong = next(key.name for key in keys if key.new and key.present and not key.works_before)
    true_keys = tuple(
        _make_key(key, seed, here=key.present and key.name != at_home, wrong=key.name == wrong)
        for key in keys
    )
    deeds = 2 + int(4 * draw_chance(seed, "cable"))
    supply = make_supply(find_need(sheet), asked, draw_chance(seed, "battery"), deeds)
    vehicle = Vehicle(sheet.id, seed, asked, true_keys, sheet.start, supply=supply)
    return settle_end(sheet, vehicle)


def respond(
    sheet: RunSheet, vehicle: Vehicle, deed: Deed | RunEvent, at_s: float
) -> tuple[Vehicle, tuple[Sign, ...]]:
    """Return the vehicle after a deed or a statement, and what the person sees and hears of it.

    Parameters
    ----------
    sheet
        The sheet that the vehicle was made from.
    vehicle
        As it stands.
    deed
        A deed; or an event of the run, which moves nothing but by what is thereby done: leaving a ``choose``
        step, and ending there.
    at_s
        When, in seconds on the caller's watch from the start; a time before the last one counts as that.

    Returns
    -------
    Vehicle, tuple of Sign
        Signs in the order in which they come; none for a statement.

    Raises
    ------
    WrongMomentError
        The deed is of no known kind, or names no step or key of this vehicle.

    Notes
    -----
    A window is judged on the caller's watch, where deeds take no time: the person has all of it to look, read
    and act. The time that a deed takes in truth is drawn from the sheet and added to ``skipped_s``; the
    supply drains over both.
    """
    now_s = max(at_s, vehicle.now_s) if math.isfinite(at_s) else vehicle.now_s
    supply = drain(vehicle.supply, now_s - vehicle.now_s, awake=vehicle.awake)
    vehicle = replace(vehicle, supply=supply, now_s=now_s)
    if isinstance(deed, RunEvent):
        return _hear(sheet, vehicle, deed), ()
    if deed.kind == "do":
        return do_step(sheet, vehicle, deed)
    return _do_beside(vehicle, deed)


def find_true_census(vehicle: Vehicle) -> tuple[TrueKey, ...]:
    """Return for every key whether it starts the vehicle now; a stranded vehicle starts with none."""
    stranded = vehicle.outcome == "stranded"
    return tuple(TrueKey(key.name, key.known and not stranded) for key in vehicle.keys)


def count_keys(vehicle: Vehicle) -> tuple[KeyInHand, ...]:
    """Return the census that somebody who looks writes down."""
    return tuple(KeyInHand(key.name, key.here, key.works_before, key.new) for key in vehicle.keys)


def tell_lamps(sheet: RunSheet, vehicle: Vehicle) -> tuple[str, ...]:
    """Return which lamps of the instrument are lit: ``ignition``, ``door``, ``battery``, ``pairing``."""
    volts = find_volts(vehicle.supply, awake=vehicle.awake)
    lit = {
        "ignition": vehicle.awake,
        "door": vehicle.open_doors > 0,
        "battery": vehicle.awake and volts < find_need(sheet).least_v,
        "pairing": vehicle.passed_no_return and not vehicle.ended,
    }
    return tuple(name for name, on in lit.items() if on)


def _make_key(key: KeyInHand, seed: int, *, here: bool, wrong: bool) -> VehicleKey:
    # Whether a key works that nobody could try is for the vehicle to know.
    known = draw_chance(seed, "known", key.name) < 0.5 if key.works_before is None else key.works_before
    known = known and not wrong and not (key.new and key.works_before is None)
    fits = not wrong and (known or key.new or draw_chance(seed, "fits", key.name) < 0.5)
    return VehicleKey(
        key.name, key.new, here, known, fits, works_before=key.works_before, said_here=key.present
    )


def _do_beside(vehicle: Vehicle, deed: Deed) -> tuple[Vehicle, tuple[Sign, ...]]:
    """Return the vehicle after a deed that belongs to no step."""
    signs: tuple[Sign, ...] = ()
    before = vehicle
    if deed.kind == "look":
        again = vehicle.unseen or Sign("finding", 1, NOTHING_CHANGED)
        signs = (replace(again, at_s=vehicle.now_s),)
        vehicle = replace(vehicle, unseen=None)
    elif deed.kind in ("connect-supply", "remove-supply"):
        steady = deed.kind == "connect-supply"
        vehicle = spend(vehicle, CONNECT_S)
        vehicle = replace(vehicle, supply=replace(vehicle.supply, steady=steady))
    elif deed.kind == "fetch-key":
        key = next((key for key in vehicle.keys if key.name == deed.key and not key.here), None)
        if key is None:
            away = ", ".join(key.name for key in vehicle.keys if not key.here) or "no key is away"
            raise WrongMomentError(f"fetching {shorten(deed.key)}", away, where="key")
        vehicle = put_key(spend(vehicle, FETCH_S), replace(key, here=True))
        # A window does not wait for somebody who drives home.
        vehicle = replace(vehicle, arrived_s=vehicle.arrived_s - FETCH_S)
    elif deed.kind in ("open-door", "close-doors"):
        doors = vehicle.open_doors + 1 if deed.kind == "open-door" else 0
        vehicle = replace(vehicle, open_doors=doors)
    else:
        raise WrongMomentError(shorten(deed.kind), "one of " + ", ".join(DEED_KINDS), where="deed")
    volts = find_volts(vehicle.supply, awake=vehicle.awake)
    line = Happening(vehicle.now_s, deed.kind, deed.key, volts=volts, unseen=before.unseen is not None)
    return replace(vehicle, log=(*vehicle.log, line)), signs


def _hear(sheet: RunSheet, vehicle: Vehicle, event: RunEvent) -> Vehicle:
    """Keep what the person said beside what was true, and go on where a choice is a deed."""
    untold = vehicle.untold if vehicle.untold and vehicle.untold.step == event.step else None
    true, told_to = True, ""
    if event.kind == "census":
        here = {key.name for key in vehicle.keys if key.here}
        true = {key.name for key in event.keys if key.present} == here
    elif event.kind == "supply":
        volts = find_volts(vehicle.supply, awake=vehicle.awake)
        true = event.volts is not None and abs(event.volts - volts) <= READING_TOLERANCE_V
        told_to = "" if event.volts is None else f"{event.volts:g}"
    elif event.kind == "done":
        true = untold is not None and untold.way == "worked"
    elif event.kind == "failed":
        told_to = event.to
        # Where the vehicle knows no way of the sheet, any failing way is as near as one can come.
        true = untold is not None and untold.way != "worked" and untold.to in ("", event.to)
    elif event.kind == "chosen":
        told_to = event.choice
        if vehicle.place == event.step and not vehicle.ended:
            facts = tell_fact(sheet, vehicle)
            step = sheet.steps[event.step]
            option = next((one for one in step.options if one.label == event.choice), None)
            free = not facts or (option is not None and gives_up(sheet, option.then))
            true = free or event.choice in facts
            if option is not None:
                vehicle = leave_choice(sheet, vehicle, option.label)
    line = Happening(
        vehicle.now_s,
        "said",
        event.step,
        untold.way if untold else "",
        untold.to if untold else "",
        event.kind,
        told_to,
        true,
        find_volts(vehicle.supply, awake=vehicle.awake),
        untold.cause if untold else "",
        untold.unseen if untold else False,
    )
    left = event.kind in ("done", "failed", "chosen", "abandoned")
    return replace(vehicle, untold=None if left else vehicle.untold, log=(*vehicle.log, line))
