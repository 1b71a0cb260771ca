"""How long steps really take, learnt from visits: a hierarchical model of right-triangular times on a grid.

Model. A visit to step j lasts a right-triangular time with mean ``m_j`` and width ``s_j m_j``; both are
unknown. ``theta_j = log(m_j / sheet's mean)`` is normal about the family's shift ``mu`` with the family's
spread ``tau``: people of one shop who do one make's procedures are quicker or slower at all of them together.
``log s_j`` is normal about the sheet's own shape. One visit in ten is taken to say nothing (a telephone
rang, a button was pressed late): its time is spread evenly over the logarithm, so that no single time can
pull far. The posterior is summed on a grid; the family's ``mu`` and ``tau`` for a step come from all *other*
steps, weighed over their own grid rather than fixed at their best values.

Sources: hierarchical normal model, Gelman et al., Bayesian Data Analysis, chapter 5; contaminated densities,
Huber, Robust Statistics, chapter 1. The constants are our own choice.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Name = TypeVar("Name", bound=Hashable)

# No figure moves further than this factor (e^1.5 = 4.5) from what the sheet says.
_THETA = np.linspace(-1.5, 1.5, 151)
# A width of 3 means a typical time of zero, the widest a right triangle can be.
_SHAPE = np.geomspace(0.05, 3.0, 24)
_MU = np.linspace(-0.6, 0.6, 25)
_TAU = np.array([0.05, 0.1, 0.2, 0.3])
_SD_MU = 0.15
_SD_LOG_SHAPE = 0.25
# A step that is written as constant still has people in it.
_LEAST_SHAPE = 0.1
_ODD = 0.1
_ODD_RANGE = 30.0
# Older visits are left out: two hundred say all that the grid can tell apart.
_MOST_VISITS = 200
# Points of the grid that fits one step, and what is left out of it.
_FINE, _NEGLIGIBLE = 61, 1e-5


@dataclass(frozen=True, slots=True)
class Times:
    """The times of the visits to one step, seconds, and what each visit weighs (0 to 1), newest last."""

    typical_s: float
    slowest_s: float
    seconds: FloatArray
    weights: FloatArray

    @property
    def mean_s(self) -> float:
        """The mean that the sheet gives; where it gives none, the middle of the times seen."""
        written_s = (2 * self.typical_s + self.slowest_s) / 3
        if written_s > 0 or not len(self.seconds):
            return written_s
        return max(float(np.median(self.seconds)), 0.1)

    @property
    def shape(self) -> float:
        """Width over mean that the sheet gives."""
        written_s = (2 * self.typical_s + self.slowest_s) / 3
        return (self.slowest_s - self.typical_s) / written_s if written_s > 0 else 1.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure as learnt, its posterior median or mean, and the interval that holds it with 90 %."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LearntTime:
    """What was learnt about one step's time, seconds.

    ``moved`` is the larger part by which typical and slowest time differ from what would be said of them had
    nothing been seen.
    """

    typical: Estimate
    slowest: Estimate
    moved: float = 0.0


def learn_times(steps: Mapping[Name, Times], wanted: Sequence[Name]) -> dict[Name, LearntTime]:
    """Return typical and slowest time of the steps ``wanted``, learnt from all of ``steps`` together.

    Parameters
    ----------
    steps
        Every step of the family that was visited, by any name.
    wanted
        Names among them.

    Notes
    -----
    What it cannot see: visits that depend on each other, and two kinds of people behind one step, whose times
    no single triangle fits.
    """
    names = list(steps)
    priors = _list_priors(_THETA)
    # log of the chance of each step's times under each (mu, tau), shape (steps, hypers).
    joint = {name: _find_joint(steps[name], _THETA, _SHAPE) for name in names}
    evidence = np.array([np.log(priors @ joint[name].sum(axis=1) + 1e-300) for name in names])
    hyper = np.repeat(-0.5 * (_MU / _SD_MU) ** 2, len(_TAU))
    start = np.exp(hyper) / np.exp(hyper).sum()
    total = hyper + evidence.sum(axis=0) if names else hyper
    learnt: dict[Name, LearntTime] = {}
    for name in wanted:
        others = total - evidence[names.index(name)]
        weights = np.exp(others - others.max())
        found = _sum_up(steps[name], joint[name], weights / weights.sum())
        unseen = replace(steps[name], seconds=np.empty(0), weights=np.empty(0))
        before = _sum_up(unseen, _find_joint(unseen, _THETA, _SHAPE), start)
        learnt[name] = replace(found, moved=_compare(before, found))
    return learnt


def _sum_up(times: Times, joint: FloatArray, weights: FloatArray) -> LearntTime:
    """Return one step's posterior under the weights of the family's (mu, tau), on a grid that fits it."""
    rough = (weights @ _list_priors(_THETA))[:, None] * joint
    thetas = _zoom(_THETA, rough.max(axis=1))
    shapes = np.exp(_zoom(np.log(_SHAPE), rough.max(axis=0)))
    fine = (weights @ _list_priors(thetas))[:, None] * _find_joint(times, thetas, shapes)
    return _read_posterior(times.mean_s, thetas, shapes, fine)


def _zoom(points: FloatArray, heights: FloatArray) -> FloatArray:
    """Return as many points as needed where the posterior has its mass, a step beyond on either side."""
    inside = np.flatnonzero(heights > _NEGLIGIBLE * heights.max())
    low, high = points[max(0, inside[0] - 1)], points[min(len(points) - 1, inside[-1] + 1)]
    return np.linspace(low, high, _FINE)


def _compare(before: LearntTime, after: LearntTime) -> float:
    pairs = ((before.typical, after.typical), (before.slowest, after.slowest))
    return max(abs(a.value - b.value) / max(a.value, b.value, 1e-9) for a, b in pairs)


def _list_priors(thetas: FloatArray) -> FloatArray:
    """Return the density of theta for each (mu, tau), shape (hypers, thetas), but for a common factor."""
    mu, tau = (part.ravel()[:, None] for part in np.meshgrid(_MU, _TAU, indexing="ij"))
    density: FloatArray = np.exp(-0.5 * ((thetas - mu) / tau) ** 2) / tau
    return density


def _find_joint(times: Times, thetas: FloatArray, shapes: FloatArray) -> FloatArray:
    """Return likelihood times the prior of the shape over (theta, shape), scaled to at most 1."""
    centre = min(max(times.shape, _LEAST_SHAPE), 3.0)
    log_joint = np.tile(-0.5 * (np.log(shapes / centre) / _SD_LOG_SHAPE) ** 2, (len(thetas), 1))
    mean_s = times.mean_s
    if len(times.seconds) and mean_s > 0:
        means = mean_s * np.exp(thetas)[:, None]
        inverse = 1.0 / (means * shapes)
        offset, height = means * (1 - shapes / 3) * inverse, 2 * (1 - _ODD) * inverse
        seconds, weights = times.seconds[-_MOST_VISITS:], times.weights[-_MOST_VISITS:]
        # Further out nothing but an odd visit can be: it says nothing about the step.
        near = np.abs(np.log(seconds / mean_s)) <= np.log(_ODD_RANGE)
        seconds, weights = seconds[near], weights[near]
        odd = _ODD / (2 * np.log(_ODD_RANGE)) / seconds
        for second, weight, by_chance in zip(seconds, weights, odd, strict=True):
            share = second * inverse - offset
            density = height * (1.0 - share)
            density[(share < 0.0) | (share > 1.0)] = 0.0
            log_joint += weight * np.log(density + by_chance)
    joint: FloatArray = np.exp(log_joint - log_joint.max())
    return joint


def _read_posterior(
    mean_s: float, thetas: FloatArray, shapes: FloatArray, posterior: FloatArray
) -> LearntTime:
    means = mean_s * np.exp(thetas)[:, None]
    chances = (posterior / posterior.sum()).ravel()
    typical = (means * (1 - shapes / 3)).ravel()
    slowest = (means * (1 + 2 * shapes / 3)).ravel()
    # The grid cannot tell apart what lies within half a step of it.
    half = float(np.exp((thetas[1] - thetas[0]) / 2))
    return LearntTime(_estimate(typical, chances, half), _estimate(slowest, chances, half))


def _estimate(values: FloatArray, chances: FloatArray, half: float) -> Estimate:
    order = np.argsort(values)
    behind = np.cumsum(chances[order])
    low, middle, high = values[order][np.searchsorted(behind, [0.05, 0.5, 0.95]).clip(max=len(order) - 1)]
    return Estimate(float(middle), max(float(low) / half, 0.0), float(high) * half)
