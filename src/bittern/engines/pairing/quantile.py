"""Quantiles of the time of an absorbing walk, by inverting its generating function on a grid."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from bittern.engines.pairing.duration import lattice_durations
from bittern.engines.pairing.walk import Walk

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TimeGrid:
    """How finely the distribution of the time is computed, and why.

    Attributes
    ----------
    points
        Grid points up to just beyond the quantile sought: a quantile is off by less than 2 in 16,384 of
        itself from the grid, forty times finer than the 0.5 % that matter to a person.
    fewest_points, most_work
        Sheets of hundreds of steps and tightly knit loops would take half a second on the full grid; the grid
        shrinks as their work (products and transforms for each point) grows, down to one that is off by less
        than 2 in 1,024, and times are then shared so that their variance is kept as well.
    coarse_points
        Points of the runs that only look for the right range.
    damping
        What a wrapped-round time weighs in the inverse transform; rounding grows by its inverse, so its
        square root of the machine's precision balances the two.
    slack
        A quantile is the first time with at least this much less than its chance behind it: the error of the
        inversion must not push an exact tie to the next possible time.
    finest_s
        Constant times are looked at to the millisecond when a grid is sought on which they all lie.
    """

    points: int = 16_384
    fewest_points: int = 1_024
    most_work: float = 2.5e6
    coarse_points: int = 1_024
    damping: float = 1e-8
    slack: float = 3e-7
    finest_s: float = 1e-3


GRID = TimeGrid()


@dataclass(frozen=True, slots=True)
class _Curve:
    """The chance that a run is over by each grid time; beyond the last nothing is known."""

    grid_s: float
    behind: FloatArray

    def find(self, chance: float) -> float | None:
        """Return the first time by which a run is over with the chance given; None where it lies beyond."""
        place = int(np.searchsorted(self.behind, chance - GRID.slack))
        return place * self.grid_s if place < len(self.behind) else None


def find_quantiles(walk: Walk, mean_s: float, chances: Sequence[float]) -> list[float]:
    """Return the first times by which a run is over with each of the chances given, in seconds.

    Parameters
    ----------
    walk
        The walk, its first state the start.
    mean_s
        Its mean time.
    chances
        From 0 to below 1.

    Notes
    -----
    Each state's transform times the transforms of what follows it, solved loop by loop, and inverted by FFT
    at a damped radius (Abate & Whitt, Numerical inversion of probability generating functions, 1992). A
    quantile's grid ends just beyond it, so that heavy tails cost no precision.
    """
    found: dict[float, float] = {}
    if mean_s <= 0.0:
        return [0.0 for _ in chances]
    work = walk.loops.work + len(walk.steps)
    points = int(min(GRID.points, max(GRID.fewest_points, GRID.most_work / work)))
    curve: _Curve | None = None
    for chance in sorted(chances, reverse=True):
        # A smaller quantile may be read off the same curve where that is fine enough.
        near = curve.find(chance) if curve else None
        if curve is not None and near is not None and near >= 0.5 * len(curve.behind) * curve.grid_s:
            found[chance] = near
            continue
        rough_s = _find_roughly(walk, mean_s, chance, min(GRID.coarse_points, points // 2))
        reach_s = 1.05 * rough_s
        while (exact_s := (curve := _invert(walk, reach_s, points)).find(chance)) is None:
            reach_s *= 1.5
        found[chance] = exact_s
    return [found[chance] for chance in chances]


def _find_roughly(walk: Walk, mean_s: float, chance: float, points: int) -> float:
    """Return a time a few grid steps beyond the quantile."""
    # Markov's inequality: no more than this share of the runs can last so long. Mostly far less is enough.
    most_s = mean_s / (1.0 - chance)
    reach_s = min(3.0 * mean_s, most_s)
    rough_s, grain_s = 0.0, reach_s
    # Where most runs take no time at all the range shrinks towards 0 and the answer is 0.
    for _ in range(14):
        curve = _invert(walk, reach_s, points)
        grain_s = 4.0 * max(curve.grid_s, reach_s / points)
        answer_s = curve.find(chance)
        if answer_s is None:
            reach_s = max(most_s, 1.5 * reach_s)
            continue
        rough_s = answer_s
        if rough_s > reach_s / 4:
            break
        reach_s = max(2.0 * rough_s, 8.0 * reach_s / points)
    return rough_s + grain_s


def _invert(walk: Walk, reach_s: float, points: int) -> _Curve:
    """Return the chance that a run is over by each time of a grid up to ``reach_s``."""
    times = list(dict.fromkeys((step.typical_s, step.slowest_s) for step in walk.steps))
    kind = {pair: number for number, pair in enumerate(times)}
    grid_s = _choose_grid_s(times, reach_s / points)
    count = _round_up(math.ceil(reach_s / grid_s) + 2)
    weights = np.exp(np.arange(count) * (np.log(GRID.damping) / count))
    shapes = lattice_durations(np.array(times), grid_s, count, keep_variance=points < GRID.points)
    shapes *= weights
    kinds = [kind[step.typical_s, step.slowest_s] for step in walk.steps]
    whole = walk.loops.solve(np.fft.rfft(shapes, axis=1), kinds)
    behind = np.cumsum(np.fft.irfft(whole, count) / weights)
    # The last points carry what wraps round the end.
    return _Curve(grid_s, np.maximum.accumulate(behind)[: math.ceil(reach_s / grid_s) + 1])


def _choose_grid_s(times: Sequence[tuple[float, float]], wanted_s: float) -> float:
    """Return a grid step near ``wanted_s`` on which every constant time lies exactly, if there is one.

    A constant time makes a jump in the distribution; smeared over two grid points it would move the quantile.
    """
    common = 0
    for typical_s, slowest_s in times:
        if typical_s == slowest_s:
            ticks = Fraction(typical_s / GRID.finest_s).limit_denominator(1)
            if abs(float(ticks) * GRID.finest_s - typical_s) > 1e-9:
                return wanted_s
            common = math.gcd(common, int(ticks))
    common_s = common * GRID.finest_s
    return common_s / math.ceil(common_s / wanted_s) if common_s >= wanted_s else wanted_s


def _round_up(count: int) -> int:
    """Return the next even number with no prime factor above 5: other lengths are slow to transform."""
    while True:
        rest = count
        for factor in (2, 3, 5):
            while rest % factor == 0:
                rest //= factor
        if rest == 1 and count % 2 == 0:
            return count
        count += 1
