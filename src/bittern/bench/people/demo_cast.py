"""The demo shop's people: invented, with passwords that everybody knows; for a demo folder only."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.work.people import COUNTER, OWNER, TECHNICIAN


@dataclass(frozen=True, slots=True)
class DemoPerson:
    """One account of the demo shop."""

    login: str
    name: str
    role: str
    password: str


DEMO_PEOPLE = (
    DemoPerson("isolde", "Isolde Marram", OWNER, "brass-heron-41"),
    DemoPerson("tobin", "Tobin Reedmace", TECHNICIAN, "quiet-otter-72"),
    DemoPerson("wren", "Wren Sallow", TECHNICIAN, "windy-sedge-58"),
    DemoPerson("petra", "Petra Withy", COUNTER, "early-plover-36"),
)
