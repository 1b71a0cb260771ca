"""What an adapter has said so far: the link's state, the supply of the last minutes, the number on board."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from bittern.engines.link.errors import SupplyError
from bittern.engines.link.supply import SupplySample

STATES = ("off", "opening", "answering", "silent", "stopped", "flooded", "elsewhere")
"""Not asked; being opened; at work; no unit answers; no adapter; too many frames; at work for another job."""
MOST_SAMPLES = 600
"""Readings that are held: ten minutes of one a second."""
MOST_LOWS = 240
"""Lowest readings that are held, one a minute: four hours."""
LOW_SPAN_S = 60.0
LONGEST_SAY = 300


@dataclass(frozen=True, slots=True)
class NumberHeard:
    """The number on board as the units gave it: when, by unit, and what went wrong."""

    at_s: float
    numbers: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Heard:
    """What an adapter has said, for one job.

    Attributes
    ----------
    state
        One of ``STATES``.
    say
        What is wrong, in one sentence for the person at the vehicle; empty where nothing is.
    job
        The job that the adapter is at work for; 0: none.
    now_s
        The time of this word, by the clock that the samples have.
    samples
        Readings, oldest first, at most ``MOST_SAMPLES``.
    lows
        The lowest reading of each minute, oldest first, at most ``MOST_LOWS``.
    number
        The last answer to the question for the number; None before one.
    asked_s
        When the number was asked for that has not been answered yet; None where none waits.
    """

    state: str = "off"
    say: str = ""
    job: int = 0
    now_s: float = 0.0
    samples: tuple[SupplySample, ...] = ()
    lows: tuple[SupplySample, ...] = ()
    number: NumberHeard | None = None
    asked_s: float | None = None

    @property
    def last(self) -> SupplySample | None:
        """The last reading."""
        return self.samples[-1] if self.samples else None

    def find_recent(self, within_s: float) -> SupplySample | None:
        """Return the last reading if it is not older than ``within_s``."""
        return self.last if self.last and self.now_s - self.last.at_s <= within_s else None

    def find_least(self, since_s: float) -> SupplySample | None:
        """Return the lowest reading since ``since_s``, as far back as readings are held; None without any."""
        counted = [sample for sample in (*self.lows, *self.samples) if sample.at_s >= since_s]
        return min(counted, key=lambda sample: sample.volts, default=None)

    def as_dict(self) -> dict[str, object]:
        """Return plain data that :func:`read_heard` reads back."""
        number = self.number
        return {
            "state": self.state,
            "say": self.say,
            "job": self.job,
            "now_s": self.now_s,
            "samples": [[sample.at_s, sample.volts] for sample in self.samples],
            "lows": [[sample.at_s, sample.volts] for sample in self.lows],
            "number": number
            and {"at_s": number.at_s, "numbers": dict(number.numbers), "faults": list(number.faults)},
            "asked_s": self.asked_s,
        }


def note_low(lows: list[SupplySample], sample: SupplySample) -> None:
    """Keep ``sample`` in ``lows`` where it is the lowest of its minute; older ones than held go.

    Examples
    --------
    >>> lows: list[SupplySample] = []
    >>> for at_s, volts in [(0.0, 12.5), (20.0, 12.1), (40.0, 12.4), (61.0, 12.3)]:
    ...     note_low(lows, SupplySample(at_s, volts))
    >>> [(low.at_s, low.volts) for low in lows]
    [(20.0, 12.1), (61.0, 12.3)]
    """
    if lows and lows[-1].at_s // LOW_SPAN_S == sample.at_s // LOW_SPAN_S:
        if sample.volts < lows[-1].volts:
            lows[-1] = sample
        return
    lows.append(sample)
    del lows[:-MOST_LOWS]


def read_heard(plain: object) -> Heard | None:
    """Return what :meth:`Heard.as_dict` wrote; None for anything else, such as half a file."""
    try:
        if not isinstance(plain, dict) or plain["state"] not in STATES:
            return None
        number = plain["number"]
        return Heard(
            state=plain["state"],
            say=str(plain["say"]),
            job=int(plain["job"]),
            now_s=_read_time(plain["now_s"]),
            samples=_read_samples(plain["samples"], MOST_SAMPLES),
            lows=_read_samples(plain["lows"], MOST_LOWS),
            number=None
            if number is None
            else NumberHeard(
                _read_time(number["at_s"]),
                {str(unit): str(text) for unit, text in number["numbers"].items()},
                tuple(map(str, number["faults"])),
            ),
            asked_s=None if plain["asked_s"] is None else _read_time(plain["asked_s"]),
        )
    except (KeyError, TypeError, ValueError, AttributeError, SupplyError):
        return None


def _read_time(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(value)
    return float(value)


def _read_samples(rows: object, most: int) -> tuple[SupplySample, ...]:
    if not isinstance(rows, list):
        raise TypeError(rows)
    return tuple(SupplySample(_read_time(at_s), _read_time(volts)) for at_s, volts in rows[-most:])
