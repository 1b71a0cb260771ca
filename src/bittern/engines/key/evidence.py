"""What is known about a vehicle and seen, heard or measured on its key."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.core.errors import shorten
from bittern.engines.key.catalogue import STARTS
from bittern.engines.key.errors import ObservationError

KINDS = ("fcc_id", "button_count", "buttons", "start", "blade", "frequency_hz", "chip")
"""Observation kinds; ``start`` is about the vehicle, the others about the key that is shown."""
KEY_KINDS = tuple(kind for kind in KINDS if kind != "start")
HOWS = ("told", "read-aloud", "seen", "photographed", "measured")
"""How an observation was got, weakest first."""
MOST_BUTTONS = 20

Value = str | int | float | tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class Vehicle:
    """What is known about the vehicle; every part may be missing.

    Attributes
    ----------
    make, model
        As in the pack, but for capitals and spaces.
    year
        Model year.
    year_sure
        Whether the year comes from the vehicle's number or papers. A year that was told may be off by one.
    start
        ``turn``, ``push`` or empty; taken as told.
    refused
        Articles that were tried on it and did not go with it, each with the chance that this happens to the
        right article too (a faulty remote, a step left out).
    """

    vin: str = ""
    make: str = ""
    model: str = ""
    year: int | None = None
    year_sure: bool = False
    start: str = ""
    refused: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Observation:
    """One thing seen, heard or measured.

    Attributes
    ----------
    kind
        One of :data:`KINDS`.
    value
        ``fcc_id``, ``start``, ``blade``, ``chip``: text; ``button_count``: whole number; ``buttons``: words;
        ``frequency_hz``: hertz; None: asked, and cannot be had.
    how
        One of :data:`HOWS`; it decides how often such an observation is wrong.
    sd
        Standard deviation of a measured frequency, Hz; None takes that of ``how``.
    """

    kind: str
    value: Value
    how: str = "seen"
    sd: float | None = None


def check_observation(observation: Observation) -> None:
    """Raise ObservationError unless kind, source and type of value belong together."""
    kind, value = observation.kind, observation.value
    if kind not in KINDS:
        raise ObservationError(shorten(kind), f"one of {', '.join(KINDS)}", where="kind")
    if observation.how not in HOWS:
        raise ObservationError(shorten(observation.how), f"one of {', '.join(HOWS)}", where=f"{kind}: how")
    if observation.sd is not None and not 0 < observation.sd < float("inf"):
        raise ObservationError(shorten(observation.sd), "a number above 0", where=f"{kind}: sd")
    expected = "" if value is None else _expected(kind, value)
    if expected:
        raise ObservationError(shorten(value), expected, where=f"{kind}: value")


def _expected(kind: str, value: Value) -> str:
    """Return what should have stood in place of ``value``, or an empty text where it is right."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if kind == "button_count":
        whole = number and isinstance(value, int) and 0 <= value <= MOST_BUTTONS
        return "" if whole else f"a whole number from 0 to {MOST_BUTTONS}"
    if kind == "frequency_hz":
        in_band = number and isinstance(value, int | float) and 1e3 <= value <= 1e11
        return "" if in_band else "a frequency in hertz, 1e3 to 1e11"
    if kind == "buttons":
        words = isinstance(value, tuple) and all(isinstance(word, str) and word.strip() for word in value)
        return "" if words else "a list of words"
    if kind == "start":
        return "" if value in STARTS else f"one of {', '.join(STARTS)}"
    if kind == "fcc_id":
        filled = isinstance(value, str) and any(character.isalnum() for character in value)
        return "" if filled else "a text with at least one letter or numeral"
    filled = isinstance(value, str) and any(c.isprintable() and not c.isspace() for c in value)
    return "" if filled else "a text that is not empty"
