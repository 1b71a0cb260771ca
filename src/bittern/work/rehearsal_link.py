"""The link in a rehearsal: the code that reads a vehicle reads the simulated one over a virtual bus."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from bittern.engines.link.findings import Findings
from bittern.engines.link.supply import SupplyLimits, SupplySample, SupplyState, judge_supply
from bittern.engines.link.unit import simulate_unit
from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle import tell_supply
from bittern.engines.pairing.vehicle_state import Vehicle
from bittern.engines.vehicle.number import compute_check_digit
from bittern.link.reading import read_vehicle, watch_supply
from bittern.link.simulated import serve_unit

BITS = 11


def make_rehearsal_number(seed: int) -> str:
    """Return the simulated vehicle's number: right in form, and its first letters say what it is.

    >>> make_rehearsal_number(42)
    'REHEARSAX00000042'
    """
    blank = f"REHEARSA0{seed % 100_000_000:08d}"
    return blank[:8] + (compute_check_digit(blank) or "0") + blank[9:]


def read_number(vehicle: Vehicle, at_s: float) -> Findings:
    """Return number on board and supply as the link reads them: about a second, and no longer than ten.

    Raises
    ------
    LinkError
        As at a vehicle.
    """
    volts = tell_supply(vehicle, at_s)
    with serve_unit(simulate_unit(make_rehearsal_number(vehicle.seed), lambda: volts, bits=BITS)) as bus:
        return read_vehicle(bus, bits=BITS)


def read_supply(vehicle: Vehicle, at_s: float) -> float:
    """Return the supply voltage as the link reads it, in volts: about a quarter of a second.

    Raises
    ------
    LinkError
        As at a vehicle.
    """
    volts = tell_supply(vehicle, at_s)
    with serve_unit(simulate_unit(make_rehearsal_number(vehicle.seed), lambda: volts, bits=BITS)) as bus:
        return next(watch_supply(bus, bits=BITS)).volts


def find_limits(sheet: RunSheet) -> SupplyLimits:
    """Return the sheet's limits of the supply, or the usual ones."""
    return SupplyLimits(sheet.supply.least_v, sheet.supply.comfort_v) if sheet.supply else SupplyLimits()


def list_samples(events: Iterable[RunEvent], now: datetime) -> list[SupplySample]:
    """Return the readings of a run, oldest first, in seconds before ``now``."""
    return [
        SupplySample((event.at - now).total_seconds(), event.volts, event.source)
        for event in events
        if event.kind == "supply" and event.volts is not None
    ]


def judge_readings(sheet: RunSheet, events: Iterable[RunEvent], now: datetime) -> SupplyState:
    """Return how the supply stands by the readings of a run."""
    return judge_supply(list_samples(events, now), find_limits(sheet))
