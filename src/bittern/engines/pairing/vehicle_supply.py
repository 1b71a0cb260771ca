"""The simulated vehicle's supply: a battery that sags and drains, and a steady supply that holds it."""

from __future__ import annotations

from dataclasses import replace

from bittern.engines.pairing.sheet import SupplyNeed
from bittern.engines.pairing.vehicle_state import Supply, Vehicle

# Open-circuit voltage of a 12 V lead-acid battery from full to empty; common practice.
_SPAN_V = 0.9
# So far below the least voltage every deed fails; between, more and more of them do.
BROWN_OUT_V = 0.3


def make_supply(need: SupplyNeed, faults: tuple[str, ...], draw: float, deeds: int) -> Supply:
    """Return a battery for ``need``: a healthy one, or with a fault of the supply a tired one.

    Parameters
    ----------
    need
        What the run sheet asks for.
    faults
        Names; ``low-supply`` and ``cable-pulled`` count.
    draw
        From 0 to 1: how tired.
    deeds
        With ``cable-pulled``: after how many deeds.

    Notes
    -----
    A tired battery stands a little above the least voltage at rest and falls below it once the vehicle is
    awake: a reading with everything off says too little.
    """
    steady_v = max(13.4, need.comfort_v + 0.5)
    if not {"low-supply", "cable-pulled"} & set(faults):
        return Supply(rest_v=max(12.7, need.comfort_v + 0.3), steady_v=steady_v)
    return Supply(
        rest_v=need.least_v + 0.1 + 0.12 * draw,
        resistance_ohm=0.04,
        capacity_ah=20.0,
        steady_v=steady_v,
        pull_after=deeds if "cable-pulled" in faults else None,
    )


def find_volts(supply: Supply, *, awake: bool) -> float:
    """Return the voltage at the battery in volts.

    Notes
    -----
    Open-circuit voltage that falls linearly with the charge drawn, less the drop over the internal
    resistance. What it cannot see: recovery after a rest, temperature, the alternator.

    Examples
    --------
    >>> round(find_volts(Supply(rest_v=12.7, resistance_ohm=0.02, awake_a=8.0), awake=True), 2)
    12.54
    """
    if supply.steady:
        return supply.steady_v
    drawn_a = supply.awake_a if awake else supply.asleep_a
    left_v = supply.rest_v - _SPAN_V * supply.used_as / 3600.0 / supply.capacity_ah
    return max(0.0, left_v - drawn_a * supply.resistance_ohm)


def drain(supply: Supply, seconds: float, *, awake: bool) -> Supply:
    """Return the supply after so many seconds; a steady supply spares the battery."""
    if supply.steady or seconds <= 0.0:
        return supply
    drawn_a = supply.awake_a if awake else supply.asleep_a
    return replace(supply, used_as=supply.used_as + drawn_a * seconds)


def tell_supply(vehicle: Vehicle, at_s: float) -> float:
    """Return what a meter at the vehicle's battery shows at ``at_s`` on the caller's watch, in volts."""
    supply = drain(vehicle.supply, at_s - vehicle.now_s, awake=vehicle.awake)
    return find_volts(supply, awake=vehicle.awake)
