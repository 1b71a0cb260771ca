"""A small sheet with everything that a simulated vehicle answers, and short ways to do and say."""

from __future__ import annotations

from datetime import UTC, datetime

from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Signal, Step
from bittern.engines.pairing.vehicle import (
    respond,
)
from bittern.engines.pairing.vehicle_state import Deed, Sign, Vehicle
from tests.strategies.sheets import make_sheet

NOON = datetime(2024, 5, 6, 12, 0, tzinfo=UTC)
SHEET = make_sheet(
    Step("wake", "act", "Turn the key twice.", 5, 9, then="open", signal=Signal("lamp", 2)),
    Step("open", "act", "Hold the switch.", 4, 9, then="show", signal=Signal("lock-cycle"), no_return=True),
    Step("show", "act", "Show a key.", 4, 9, then="more", signal=Signal("beep", 3), window_s=30.0),
    Step("more", "choose", "Another?", options=(Option("Yes", "show"), Option("No", "check"))),
    Step("check", "check", "Start the engine.", 10, 20, then="fine", fails=(Failure("stuck", 0.0, "dead"),)),
    Step("fine", "end", "Done.", outcome="good"),
    Step("stuck", "end", "Stuck.", outcome="stranded", recovery="A workshop helps."),
    census="present-only",
    needs=("doors-closed",),
)


def do(sheet: RunSheet, vehicle: Vehicle, *steps: str, at_s: float = 0.0) -> tuple[Vehicle, list[Sign]]:
    seen: list[Sign] = []
    for step in steps:
        vehicle, signs = respond(sheet, vehicle, Deed("do", step), at_s)
        seen += signs
    return vehicle, seen


def say(sheet: RunSheet, vehicle: Vehicle, kind: str, **details: object) -> Vehicle:
    event = RunEvent("x", kind, "Ida", NOON, **details)  # type: ignore[arg-type]
    vehicle, signs = respond(sheet, vehicle, event, vehicle.now_s)
    assert signs == ()
    return vehicle


def ways(vehicle: Vehicle) -> list[tuple[str, str]]:
    return [(line.step, line.way) for line in vehicle.log if line.kind == "do"]
