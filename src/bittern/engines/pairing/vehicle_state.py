"""The hidden state of a simulated vehicle: frozen, complete, and plain enough to be stored as JSON.

What happens to it is in :mod:`bittern.engines.pairing.vehicle`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import TypeVar

from bittern.core.errors import shorten
from bittern.engines.pairing.errors import VehicleUnreadableError

T = TypeVar("T")

# do: the act that a step asks for; look: look again at what the vehicle shows.
DEED_KINDS = (
    "do",
    "look",
    "connect-supply",
    "remove-supply",
    "fetch-key",
    "open-door",
    "close-doors",
)
# The four of a run sheet, and what the person finds where a step has no signal of its own.
SIGN_KINDS = ("beep", "lamp", "lock-cycle", "message", "finding")
# How a deed ended. late: the window had run out; out-of-order: the vehicle waits for another step's deed.
WAYS = ("worked", "failed", "late", "out-of-order", "nothing")


@dataclass(frozen=True, slots=True)
class Deed:
    """Something done to the vehicle, as against something said about it.

    Attributes
    ----------
    kind
        One of ``DEED_KINDS``.
    step
        ``do``: the step whose act is done.
    key
        ``fetch-key``: the name of the key; ``do``: the key held, where the person chooses one.
    """

    kind: str
    step: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class Sign:
    """What the vehicle shows or sounds, or what the person finds (kind ``finding``, in words).

    ``at_s`` is on the watch that the deed's time was given on.
    """

    kind: str
    count: int = 1
    text: str = ""
    at_s: float = 0.0


@dataclass(frozen=True, slots=True)
class VehicleKey:
    """One key as it truly is.

    Attributes
    ----------
    name, new
        As in the census.
    here
        Whether it is at the vehicle.
    known
        Whether the vehicle knows it now.
    fits
        Whether the vehicle can take it at all: a wrong article never is.
    taken
        Whether it was shown and taken since the point of no return.
    refused
        How often the vehicle did not take it.
    works_before
        What the person knows of it, as in the census.
    said_here
        Whether the customer says that it is here.
    """

    name: str
    new: bool
    here: bool
    known: bool
    fits: bool
    taken: bool = False
    refused: int = 0
    works_before: bool | None = None
    said_here: bool = True


@dataclass(frozen=True, slots=True)
class Supply:
    """A lead-acid battery, and whether a steady supply holds it up.

    Attributes
    ----------
    rest_v
        Open-circuit voltage at the start, volts.
    resistance_ohm
        Internal resistance with the leads, ohms.
    capacity_ah
        Ampere hours from full to empty.
    asleep_a, awake_a
        What the vehicle draws, amperes.
    steady_v
        What a steady supply holds it at, volts: 13.4 is common practice for a 12 V vehicle.
    steady
        Whether a steady supply is connected.
    used_as
        Ampere seconds drawn so far.
    pull_after
        How many more deeds with the supply connected until its cable is pulled; None: never.
    """

    rest_v: float = 12.7
    resistance_ohm: float = 0.02
    capacity_ah: float = 60.0
    asleep_a: float = 0.5
    awake_a: float = 8.0
    steady_v: float = 13.4
    steady: bool = False
    used_as: float = 0.0
    pull_after: int | None = None


@dataclass(frozen=True, slots=True)
class Happening:
    """One line of what truly happened.

    Attributes
    ----------
    at_s
        On the caller's watch.
    kind
        A deed's kind, or ``said`` for what the person told the run.
    step
        The step of the deed or of the statement; the key of ``fetch-key``.
    way, to
        ``do``: one of ``WAYS``, and the step that the vehicle waits at now if it has moved. ``said``: how the
        deed before it had truly ended, empty where there was none.
    told, told_to
        ``said``: the event's kind, and the failure's target or the option's label.
    true
        ``said``: whether it was true.
    volts
        The supply voltage at that moment.
    cause
        The fault that brought it about, ``supply`` for a low voltage, or empty.
    unseen
        Whether the vehicle's signal was given and the person looked away.
    """

    at_s: float
    kind: str
    step: str = ""
    way: str = ""
    to: str = ""
    told: str = ""
    told_to: str = ""
    true: bool = True
    volts: float = 0.0
    cause: str = ""
    unseen: bool = False


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A simulated vehicle; nothing of it is shown to the person but signs, lamps and what they ask for.

    Attributes
    ----------
    sheet_id, seed, faults
        What it was made from.
    keys
        Every key, in the order of the census.
    place, outcome
        The step whose deed the vehicle waits for, and the outcome once ``place`` is an end.
    arrived_s
        When it began to wait there, on the caller's watch.
    visit
        How many steps it has waited at, from 1.
    awake
        Whether the ignition is on.
    open_doors
        How many doors are open.
    passed_no_return
        Whether a point of no return was truly passed.
    known_before
        Names of the keys known before that.
    left_out
        Names of keys that were here and left unshown.
    supply
        Battery and steady supply.
    now_s
        The latest moment on the caller's watch.
    skipped_s
        What deeds have taken in the procedure's own time beyond the caller's watch, seconds.
    unseen
        The signal that was given while nobody looked; a look shows it.
    untold
        The last deed of which the person has said nothing yet; None if there is none.
    log
        Everything that happened, in order.
    """

    sheet_id: str
    seed: int
    faults: tuple[str, ...]
    keys: tuple[VehicleKey, ...]
    place: str
    outcome: str = ""
    arrived_s: float = 0.0
    visit: int = 1
    awake: bool = False
    open_doors: int = 0
    passed_no_return: bool = False
    known_before: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    supply: Supply = field(default_factory=Supply)
    now_s: float = 0.0
    skipped_s: float = 0.0
    unseen: Sign | None = None
    untold: Happening | None = None
    log: tuple[Happening, ...] = ()

    @property
    def ended(self) -> bool:
        """Whether the procedure is over for the vehicle."""
        return bool(self.outcome)

    def as_dict(self) -> dict[str, object]:
        """Return the vehicle as plain data that :func:`read_vehicle` reads back."""
        return asdict(self)


def read_vehicle(plain: Mapping[str, object]) -> Vehicle:
    """Return the vehicle that :meth:`Vehicle.as_dict` made ``plain`` from, after JSON or without it.

    Raises
    ------
    VehicleUnreadableError
        A field is missing or has the wrong type.
    """
    parts: dict[str, object] = {
        "faults": tuple(_words(plain, "faults")),
        "known_before": tuple(_words(plain, "known_before")),
        "left_out": tuple(_words(plain, "left_out")),
        "keys": tuple(_read_part(VehicleKey, one, "keys") for one in _list(plain, "keys")),
        "log": tuple(_read_part(Happening, one, "log") for one in _list(plain, "log")),
        "supply": _read_part(Supply, plain.get("supply"), "supply"),
    }
    for name, kind in (("unseen", Sign), ("untold", Happening)):
        if name not in plain:
            raise VehicleUnreadableError("nothing", f"{name}, or null", where="vehicle")
        value = plain[name]
        parts[name] = None if value is None else _read_part(kind, value, name)
    return _read_part(Vehicle, dict(plain) | parts, "vehicle")


def _list(plain: Mapping[str, object], name: str) -> list[object]:
    value = plain.get(name)
    if not isinstance(value, list | tuple):
        raise VehicleUnreadableError(shorten(value), "a list", where=name)
    return list(value)


def _words(plain: Mapping[str, object], name: str) -> list[str]:
    words = [word for word in _list(plain, name) if isinstance(word, str)]
    if len(words) != len(_list(plain, name)):
        raise VehicleUnreadableError(shorten(plain[name]), "a list of words", where=name)
    return words


_KINDS: dict[str, tuple[type, ...]] = {
    "str": (str,),
    "int": (int,),
    "bool": (bool,),
    "float": (int, float),
    "bool | None": (bool, type(None)),
    "int | None": (int, type(None)),
}


def _read_part(kind: type[T], plain: object, where: str) -> T:
    if not isinstance(plain, Mapping):
        raise VehicleUnreadableError(shorten(plain), "a table", where=where)
    values: dict[str, object] = {}
    for one in fields(kind):  # type: ignore[arg-type]
        if one.name not in plain:
            raise VehicleUnreadableError("nothing", f"{one.name}", where=where)
        value = plain[one.name]
        allowed = _KINDS.get(str(one.type))
        wrong = allowed is not None and (
            not isinstance(value, allowed) or (isinstance(value, bool) and bool not in allowed)
        )
        if wrong:
            raise VehicleUnreadableError(shorten(value), f"{one.type}", where=f"{where}.{one.name}")
        values[one.name] = float(value) if allowed == (int, float) else value
    return kind(**values)
