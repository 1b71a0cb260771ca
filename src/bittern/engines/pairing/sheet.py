"""A run sheet: a pairing procedure as data (docs/reference, formats)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

STEP_KINDS = ("act", "wait", "check", "choose", "end")
OUTCOMES = ("good", "unchanged", "stranded")
CENSUSES = ("all", "present-only", "new-only")
SIGNAL_KINDS = ("beep", "lamp", "lock-cycle", "message")


@dataclass(frozen=True, slots=True)
class Signal:
    """What the vehicle does when the step worked."""

    kind: str
    count: int = 1
    text: str = ""


@dataclass(frozen=True, slots=True)
class Option:
    """One way on from a ``choose`` step; ``chance`` None means an equal share of what is left."""

    label: str
    then: str
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class Failure:
    """One way a step can go wrong: where it leads, how often, and why."""

    to: str
    chance: float
    because: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One step; times in seconds.

    ``then`` is empty for ``choose`` and ``end``; ``outcome`` stands at an ``end`` only.
    """

    id: str
    kind: str
    say: str
    typical_s: float = 0.0
    slowest_s: float = 0.0
    then: str = ""
    options: tuple[Option, ...] = ()
    outcome: str = ""
    fails: tuple[Failure, ...] = ()
    signal: Signal | None = None
    window_s: float | None = None
    no_return: bool = False
    recovery: str = ""


@dataclass(frozen=True, slots=True)
class SupplyNeed:
    """The vehicle's supply in volts: no point of no return below ``least_v``, a charger below ``comfort_v``.

    The defaults are common practice for a 12 V lead-acid battery at rest.
    """

    least_v: float = 12.0
    comfort_v: float = 12.4


@dataclass(frozen=True, slots=True)
class RunSheet:
    """Steps by id in the order written; ``needs`` must hold before ``start``.

    ``census`` says which keys work once the sheet has ended well. With ``supply`` a point of no return asks
    for a reading of the supply voltage first.
    """

    id: str
    title: str
    start: str
    census: str
    needs: tuple[str, ...] = ()
    steps: Mapping[str, Step] = field(default_factory=dict)
    supply: SupplyNeed | None = None
