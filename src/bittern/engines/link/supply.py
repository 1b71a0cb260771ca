"""The supply voltage over time: how it stands, whether it falls, and when it will be too low."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from bittern.engines.link.errors import SupplyError
from bittern.engines.link.services import MOST_VOLTS

LEVELS = ("unknown", "steady", "falling", "below-comfort", "too-low")
SOURCES = ("measured", "typed")
MOST_SAMPLES = 120
"""Readings that a trend is computed from; earlier ones are left out."""
FEWEST_FOR_TREND = 4
"""With three readings no order of them is rare enough to be called a trend."""


@dataclass(frozen=True, slots=True)
class SupplyLimits:
    """When the supply is too low.

    Attributes
    ----------
    least_v
        Below it nothing that cannot be taken back is begun, in volts.
    comfort_v
        Below it a supply should be connected, in volts.
    ahead_s
        How far ahead a fall is followed, in seconds: as long as the steps that must not be broken off.
    window_s
        How far back readings count for the trend, in seconds.

    Notes
    -----
    12.4 and 12.0 V are common practice for a 12 V lead-acid battery at rest: about three quarters and one
    quarter of its charge. A run sheet or a maker who says otherwise is right.
    """

    least_v: float = 12.0
    comfort_v: float = 12.4
    ahead_s: float = 300.0
    window_s: float = 120.0

    def __post_init__(self) -> None:
        times_ok = 0 < self.ahead_s < math.inf and 0 < self.window_s < math.inf
        if not 0 < self.least_v <= self.comfort_v <= MOST_VOLTS or not times_ok:
            raise SupplyError(
                f"limits of {self.least_v:g} V and {self.comfort_v:g} V",
                f"0 < least <= comfort <= {MOST_VOLTS:g} V, and times above 0",
                where="supply limits",
            )


@dataclass(frozen=True, slots=True)
class SupplySample:
    """One reading: when in seconds (any origin), how many volts, and how it was got."""

    at_s: float
    volts: float
    source: str = "measured"

    def __post_init__(self) -> None:
        if not math.isfinite(self.at_s) or not 0 <= self.volts <= MOST_VOLTS:
            raise SupplyError(
                f"{self.volts:g} V at {self.at_s:g} s", f"0 to {MOST_VOLTS:g} V", where="supply voltage"
            )
        if self.source not in SOURCES:
            raise SupplyError(self.source, "measured or typed", where="supply voltage")


@dataclass(frozen=True, slots=True)
class SupplyState:
    """How the supply stands.

    Attributes
    ----------
    level
        One of ``LEVELS``, from no reading to too low.
    volts
        The last reading.
    slope_v_per_s
        The trend; None where there are too few readings.
    falling
        Whether the fall is more than chance (one-sided, 5 %).
    seconds_left
        Until the trend reaches the least voltage; None where it does not fall.
    say
        The state in one sentence for the person at the vehicle.
    """

    level: str
    volts: float | None
    slope_v_per_s: float | None
    falling: bool
    seconds_left: float | None
    say: str

    @property
    def may_begin(self) -> bool:
        """Whether a step that cannot be taken back may begin, as far as the supply is concerned."""
        return self.level in ("steady", "below-comfort")

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        return {
            "level": self.level,
            "volts": self.volts,
            "slope_v_per_s": self.slope_v_per_s,
            "falling": self.falling,
            "seconds_left": self.seconds_left,
            "may_begin": self.may_begin,
            "say": self.say,
        }


def judge_supply(samples: Sequence[SupplySample], limits: SupplyLimits | None = None) -> SupplyState:
    """Return how the supply stands by its readings, measured and typed alike.

    Parameters
    ----------
    samples
        Readings in any order.
    limits
        The run sheet's, or the usual ones.

    Notes
    -----
    The trend is the median of the slopes between all pairs of readings (Sen, JASA 63 (1968) 1379), so one
    reading while something was switched on moves it little. It counts as a fall when Kendall's test against
    no trend rejects at 5 %, one-sided, with the normal approximation and continuity correction, without
    correction for ties, which errs to the side of no fall. What it cannot see: a load that is yet to come.

    Examples
    --------
    >>> judge_supply([SupplySample(0.0, 11.8)]).level
    'too-low'
    >>> falling = [SupplySample(10.0 * i, 12.9 - 0.05 * i) for i in range(10)]
    >>> state = judge_supply(falling)
    >>> state.level, round(state.seconds_left)
    ('falling', 90)
    """
    limits = limits or SupplyLimits()
    if not samples:
        say = "The supply voltage is not known: connect the adapter, or measure it and type it in."
        return SupplyState("unknown", None, None, False, None, say)
    ordered = sorted(samples, key=lambda sample: sample.at_s)
    last = ordered[-1]
    recent = [sample for sample in ordered if last.at_s - sample.at_s <= limits.window_s][-MOST_SAMPLES:]
    slope = fit_slope(recent)
    falling = slope is not None and slope < 0 and is_falling(recent)
    left = None
    if falling and slope is not None:
        middle_s = median(sample.at_s for sample in recent)
        middle_v = median(sample.volts for sample in recent)
        now_v = min(last.volts, middle_v + slope * (last.at_s - middle_s))
        left = max(0.0, (now_v - limits.least_v) / -slope)
    level = _find_level(last.volts, left, limits)
    return SupplyState(level, last.volts, slope, falling, left, _say(level, last.volts, left, limits))


def fit_slope(samples: Sequence[SupplySample]) -> float | None:
    """Return the median slope in V/s between all pairs of readings at different times; None below four."""
    if len(samples) < FEWEST_FOR_TREND:
        return None
    slopes = [
        (b.volts - a.volts) / (b.at_s - a.at_s)
        for place, a in enumerate(samples)
        for b in samples[place + 1 :]
        if b.at_s > a.at_s
    ]
    return median(slopes) if slopes else None


def is_falling(samples: Sequence[SupplySample]) -> bool:
    """Tell whether later readings are lower more often than chance makes them (5 %, one-sided)."""
    count = len(samples)
    if count < FEWEST_FOR_TREND:
        return False
    score = sum(
        (b.volts > a.volts) - (b.volts < a.volts)
        for place, a in enumerate(samples)
        for b in samples[place + 1 :]
    )
    spread = math.sqrt(count * (count - 1) * (2 * count + 5) / 18)
    return (score + 1) / spread < -1.645


def _find_level(volts: float, left_s: float | None, limits: SupplyLimits) -> str:
    if volts < limits.least_v:
        return "too-low"
    if left_s is not None and left_s <= limits.ahead_s:
        return "falling"
    return "below-comfort" if volts < limits.comfort_v else "steady"


def _say(level: str, volts: float, left_s: float | None, limits: SupplyLimits) -> str:
    shown = f"{volts:.2f} V"
    if level == "too-low":
        return (
            f"{shown} is too low: at least {limits.least_v:.1f} V. Connect a supply before anything that "
            "cannot be taken back; if such a step has begun, keep to the run sheet."
        )
    if level == "falling" and left_s is not None:
        minutes = left_s / 60
        when = "less than a minute" if minutes < 0.5 else "a minute"
        if minutes >= 1.5:
            when = f"{minutes:.0f} minutes"
        return f"{shown} and falling: {limits.least_v:.1f} V in about {when}. Connect a supply now."
    if level == "below-comfort":
        return f"{shown} is enough to begin with and below {limits.comfort_v:.1f} V: connect a supply."
    return f"{shown}, steady enough."
