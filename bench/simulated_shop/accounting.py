"""What the years come to: counts with intervals, ratios, log scores, and stated against observed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulated_shop.policies import Outcome

Floats = NDArray[np.float64]
Z_95 = 1.959963984540054
RESAMPLES = 2000
LEAST_CASES = 50
"""A decile counts for the target when it holds this many cases."""
ENDS = ("settled", "not in pack", "undecided")


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Decile:
    """Cases whose stated probability lies in one tenth of 0 to 1; ``low`` and ``high``: 95 % of observed."""

    cases: int
    stated: float
    observed: float
    low: float
    high: float

    @property
    def deviation(self) -> float:
        """Observed less stated."""
        return self.observed - self.stated


@dataclass(frozen=True, slots=True)
class Bound:
    """What was stated in one tenth beside the Bayes rule's chance of it; ``half``: 95 % of the difference."""

    cases: int
    stated: float
    rule: float
    half: float

    @property
    def deviation(self) -> float:
        """The rule's less stated."""
        return self.rule - self.stated


@dataclass(frozen=True, slots=True)
class Account:
    """One policy over all jobs."""

    name: str
    jobs: int
    wrong: int
    needless: int
    questions: float
    cost: float
    log_first: float | None
    log_score: float | None
    ends: Mapping[str, tuple[int, int]]
    deciles: tuple[Decile | None, ...]

    @property
    def wrong_per_100(self) -> Interval:
        """Wrong orders per 100 jobs."""
        one = wilson(self.wrong, self.jobs)
        return Interval(100 * one.value, 100 * one.low, 100 * one.high)


def wilson(hits: int, cases: int) -> Interval:
    """Return a part with Wilson's interval (E. B. Wilson, J. Am. Stat. Assoc. 22, 209, 1927).

    >>> one = wilson(0, 10)
    >>> one.low, round(one.high, 3)
    (0.0, 0.278)
    """
    if not cases:
        return Interval(math.nan, 0.0, 1.0)
    p, square = hits / cases, Z_95**2
    middle = (p + square / (2 * cases)) / (1 + square / cases)
    half = Z_95 / (1 + square / cases) * math.sqrt(p * (1 - p) / cases + square / (4 * cases**2))
    return Interval(p, 0.0 if not hits else middle - half, 1.0 if hits == cases else middle + half)


def take_account(name: str, outcomes: Sequence[Outcome]) -> Account:
    """Return what one policy comes to."""
    logs = [math.log(one.p_truth) for one in outcomes if one.p_truth is not None]
    firsts = [math.log(one.p_truth_first) for one in outcomes if one.p_truth_first is not None]
    ends = {
        end: (
            sum(one.ended == end and one.right for one in outcomes),
            sum(one.ended == end and not one.right for one in outcomes),
        )
        for end in ENDS
    }
    return Account(
        name=name,
        jobs=len(outcomes),
        wrong=sum(one.wrong_order for one in outcomes),
        needless=sum(one.needless_search for one in outcomes),
        questions=float(np.mean([one.questions for one in outcomes])),
        cost=float(np.mean([one.cost for one in outcomes])),
        log_first=float(np.mean(firsts)) if firsts else None,
        log_score=float(np.mean(logs)) if logs else None,
        ends=ends,
        deciles=sort_deciles([stated for one in outcomes for stated in one.stated]),
    )


def sort_deciles(stated: Sequence[tuple[float, bool]]) -> tuple[Decile | None, ...]:
    """Return the reliability table: ten tenths, None where nothing was stated."""
    if not stated:
        return (None,) * 10
    p = np.array([one[0] for one in stated])
    true = np.array([one[1] for one in stated], dtype=bool)
    tenth = np.minimum(9, (p * 10).astype(np.int64))
    table: list[Decile | None] = []
    for place in range(10):
        held = tenth == place
        cases, hits = int(held.sum()), int(true[held].sum())
        if not cases:
            table.append(None)
            continue
        observed = wilson(hits, cases)
        table.append(Decile(cases, float(p[held].mean()), observed.value, observed.low, observed.high))
    return tuple(table)


def sort_bounds(outcomes: Sequence[Outcome]) -> tuple[Bound | None, ...]:
    """Return, by tenths of what was stated, the mean chance that the Bayes rule gives to the same.

    Notes
    -----
    On the same answers the rule's chance is the mean of what comes true, without the draw of what does: its
    mean estimates the observed part with far less chance in it (Rao-Blackwell).
    """
    pairs = np.array(
        [
            (one.p, bound)
            for outcome in outcomes
            for one, bound in zip(outcome.stated, outcome.bound, strict=True)
        ]
    ).reshape(-1, 2)
    tenth = np.minimum(9, (pairs[:, 0] * 10).astype(np.int64))
    table: list[Bound | None] = []
    for place in range(10):
        stated, rule = pairs[tenth == place].T
        if len(stated) < 2:
            table.append(None)
            continue
        half = Z_95 * float(np.std(rule - stated, ddof=1)) / math.sqrt(len(stated))
        table.append(Bound(len(stated), float(stated.mean()), float(rule.mean()), half))
    return tuple(table)


def find_worst(deciles: Sequence[Decile | None]) -> Decile | None:
    """Return the decile with the largest deviation among those that hold enough cases."""
    counted = [one for one in deciles if one is not None and one.cases >= LEAST_CASES]
    return max(counted, key=lambda one: abs(one.deviation), default=None)


def compare(above: Sequence[float], below: Sequence[float], seed: int = 1) -> Interval:
    """Return the ratio of two sums over the same jobs, with a 95 % interval by resampling the jobs.

    Notes
    -----
    Bootstrap percentiles (Efron, Ann. Stat. 7, 1, 1979); jobs of all years are resampled alike.
    """
    top, bottom = np.asarray(above, dtype=np.float64), np.asarray(below, dtype=np.float64)
    generator = np.random.default_rng(seed)
    ratios = np.empty(RESAMPLES)
    for i in range(RESAMPLES):
        picked = generator.integers(0, len(top), len(top))
        held = bottom[picked].sum()
        ratios[i] = top[picked].sum() / held if held else np.inf
    total = bottom.sum()
    value = float(top.sum() / total) if total else math.inf
    low, high = np.quantile(ratios, [0.025, 0.975], method="nearest")
    return Interval(value, float(low), float(high))
