"""The figures of a run sheet: how it will probably end, and how long it will take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from bittern.engines.pairing.absorption import Absorption, absorb
from bittern.engines.pairing.duration import duration_variance_s2, lattice_duration, mean_duration_s
from bittern.engines.pairing.errors import SheetUnsoundError
from bittern.engines.pairing.graph import (
    CHANCE_TOLERANCE,
    find_reached,
    link_steps,
    map_ways,
)
from bittern.engines.pairing.sheet import OUTCOMES, RunSheet, Step
from bittern.engines.pairing.transform import ComplexArray, LoopSolver


@dataclass(frozen=True, slots=True)
class TimeGrid:
    """How finely the distribution of the time is computed, and why.

    Attributes
    ----------
    points
        Grid points up to just beyond the quantile sought: a quantile is off by less than 1 in 16,384 of
        itself from the grid, fifty times finer than the 0.5 % that matter to a person.
    fewest_points, most_work
        Tightly knit loops of a hundred steps would take minutes on the full grid; the grid shrinks as their
        work (products for each frequency) grows, down to one that is still ten times finer than what matters.
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
    fewest_points: int = 2_048
    most_work: float = 4e8
    coarse_points: int = 1_024
    damping: float = 1e-8
    slack: float = 3e-7
    finest_s: float = 1e-3


@dataclass(frozen=True, slots=True)
class SheetFigures:
    """The chances of the three outcomes and the time over all runs, whatever their end, in seconds."""

    p_good: float
    p_unchanged: float
    p_stranded: float
    time_mean_s: float
    time_sd_s: float
    time_p50_s: float
    time_p90_s: float
    points_of_no_return: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Chain:
    """The part of a sheet that a run can get to: transient steps, their moves, and where they end."""

    steps: list[Step]
    moves: npt.NDArray[np.float64]
    leaving: npt.NDArray[np.float64]
    solver: LoopSolver


def analyse_sheet(sheet: RunSheet) -> SheetFigures:
    """Return the chances of every outcome and mean, spread and quantiles of the time.

    Parameters
    ----------
    sheet
        A run sheet; faults that leave its chances and times defined (a step that nothing reaches, say) do no
        harm.

    Raises
    ------
    SheetUnsoundError
        A step that a run can get to leads nowhere, has impossible chances or times, or never comes to an end.

    Notes
    -----
    Absorbing Markov chain whose steps are left after independent right-triangular times. Chances and moments
    are exact. The quantiles come from the generating function of the time on a grid: each step's transform
    times the transforms of what follows it, solved loop by loop, and inverted by FFT at a damped radius
    (Abate & Whitt, Numerical inversion of probability generating functions, 1992). Each quantile has its own
    grid that ends just beyond it, so that heavy tails cost no precision. What the model cannot see: people
    who learn during the run, failures that come together, windows that are missed.

    Examples
    --------
    >>> from bittern.engines.pairing.sheet import Failure, RunSheet, Step
    >>> steps = [
    ...     Step("turn", "act", "Turn it.", 10, 10, then="fine", fails=(Failure("turn", 0.5),)),
    ...     Step("fine", "end", "", outcome="good"),
    ... ]
    >>> figures = analyse_sheet(RunSheet("a", "A", "turn", "all", steps={step.id: step for step in steps}))
    >>> figures.p_good, round(figures.time_mean_s, 9), figures.time_p50_s, figures.time_p90_s
    (1.0, 20.0, 10.0, 40.0)
    """
    chain = _build_chain(sheet)
    for step in chain.steps:
        if not 0 <= step.typical_s <= step.slowest_s:
            raise _unsound(f"slowest_s = {step.slowest_s:g}", f"at least {step.typical_s:g}", step.id)
    chances = _find_chances(sheet, chain)
    points = tuple(step.id for step in sheet.steps.values() if step.no_return)
    if not chain.steps:
        return SheetFigures(*chances, 0.0, 0.0, 0.0, 0.0, points)
    result = _absorb(chain)
    mean_s = float(result.time[0])
    return SheetFigures(
        *chances,
        mean_s,
        float(np.sqrt(result.variance[0])),
        _find_quantile(chain, mean_s, 0.5),
        _find_quantile(chain, mean_s, 0.9),
        points,
    )


def find_outcome_chances(sheet: RunSheet) -> dict[str, float]:
    """Return the chance of ``good``, ``unchanged`` and ``stranded``; times do not matter here.

    Raises
    ------
    SheetUnsoundError
        A step that a run can get to leads nowhere, has impossible chances, or never comes to an end.
    """
    return dict(zip(OUTCOMES, _find_chances(sheet, _build_chain(sheet)), strict=True))


def _find_chances(sheet: RunSheet, chain: _Chain) -> tuple[float, float, float]:
    if not chain.steps:
        good, unchanged, stranded = (
            float(sheet.steps[sheet.start].outcome == outcome) for outcome in OUTCOMES
        )
    else:
        ends = _absorb(chain).ends[0]
        # The rows sum to 1 within rounding; what rounding is left must not show in the answer.
        good, unchanged, stranded = (float(chance) for chance in ends / ends.sum())
    return good, unchanged, stranded


def _absorb(chain: _Chain) -> Absorption:
    means = np.array([mean_duration_s(step) for step in chain.steps])
    variances = np.array([duration_variance_s2(step) for step in chain.steps])
    try:
        return absorb(chain.moves, chain.leaving, means, variances)
    except np.linalg.LinAlgError as error:
        raise _unsound("steps that never come to an end", "a path to an end from every step") from error


def _unsound(found: str, expected: str, where: str = "") -> SheetUnsoundError:
    return SheetUnsoundError(found, expected, where=where, hint="check the run sheet's faults first")


def _build_chain(sheet: RunSheet) -> _Chain:
    if sheet.start not in sheet.steps:
        raise _unsound(f"start {sheet.start!r}, a step that does not exist", "the id of a step", "start")
    links = link_steps(sheet, only_likely=True)
    reached = find_reached(links, [sheet.start])
    ways = map_ways(sheet)
    order = [sheet.start, *(step_id for step_id in sheet.steps if step_id != sheet.start)]
    steps = [sheet.steps[name] for name in order if name in reached and sheet.steps[name].kind != "end"]
    place = {step.id: number for number, step in enumerate(steps)}
    moves = np.zeros((len(steps), len(steps)))
    leaving = np.zeros((len(steps), len(OUTCOMES)))
    for number, step in enumerate(steps):
        for way in ways[step.id]:
            if way.to in place:
                moves[number, place[way.to]] += way.chance
            elif way.chance > 0:
                target = sheet.steps.get(way.to)
                if target is None or target.outcome not in OUTCOMES:
                    raise _unsound(f"a way to {way.to!r}", "a way to a step or an end with outcome", step.id)
                leaving[number, OUTCOMES.index(target.outcome)] += way.chance
        total = moves[number].sum() + leaving[number].sum()
        if abs(total - 1.0) > 2 * CHANCE_TOLERANCE:
            raise _unsound(f"chances of {total:g} together", "chances of 1 together", step.id)
    if not steps and sheet.steps[sheet.start].outcome not in OUTCOMES:
        raise _unsound("an end without an outcome", "an outcome", sheet.start)
    ends = [name for name in reached if sheet.steps[name].kind == "end"]
    back = {name: [source for source in reached if name in links[source]] for name in reached}
    stuck = reached - find_reached(back, ends)
    if stuck:
        first = next(step.id for step in steps if step.id in stuck)
        raise _unsound("a step that never comes to an end", "a path to an end from every step", first)
    return _Chain(steps, moves, leaving, LoopSolver(moves, leaving.sum(axis=1)))


def _find_quantile(chain: _Chain, mean_s: float, chance: float) -> float:
    """Return the first time by which a run is over with the chance given."""
    if mean_s <= 0.0:
        return 0.0
    grid = TimeGrid()
    # Markov's inequality: no more than this share of the runs can last so long.
    reach_s = mean_s / (1.0 - chance)
    # Where most runs take no time at all the range shrinks towards 0 and the answer is 0.
    for _ in range(12):
        found_s = _invert(chain, reach_s, grid.coarse_points, chance)
        if found_s > reach_s / 3:
            break
        reach_s = max(2.0 * found_s, 8.0 * reach_s / grid.coarse_points)
    reach_s = 1.1 * found_s + 4.0 * reach_s / grid.coarse_points
    points = int(min(grid.points, max(grid.fewest_points, grid.most_work / chain.solver.work)))
    while (found_s := _invert(chain, reach_s, points, chance)) >= reach_s:
        reach_s *= 1.5
    return found_s


def _invert(chain: _Chain, reach_s: float, points: int, chance: float) -> float:
    """Return the quantile on a grid up to ``reach_s``, or ``reach_s`` itself when it lies beyond."""
    grid = TimeGrid()
    grid_s = _choose_grid_s(chain.steps, reach_s / points)
    count = math.ceil(reach_s / grid_s) + 2
    count += count % 2
    weights = np.exp(np.arange(count) * (np.log(grid.damping) / count))
    transforms: dict[tuple[float, float], ComplexArray] = {}
    for step in chain.steps:
        times = (step.typical_s, step.slowest_s)
        if times not in transforms:
            transforms[times] = np.fft.rfft(lattice_duration(*times, grid_s, count) * weights)
    whole = chain.solver.solve([transforms[(step.typical_s, step.slowest_s)] for step in chain.steps])
    behind = np.cumsum(np.fft.irfft(whole, count) / weights)
    first = int(np.searchsorted(np.maximum.accumulate(behind), chance - grid.slack))
    return min(first * grid_s, reach_s)


def _choose_grid_s(steps: Sequence[Step], wanted_s: float) -> float:
    """Return a grid step near ``wanted_s`` on which every constant time lies exactly, if there is one.

    A constant time makes a jump in the distribution; smeared over two grid points it would move the quantile.
    """
    finest_s = TimeGrid().finest_s
    common = 0
    for step in steps:
        if step.typical_s == step.slowest_s:
            ticks = Fraction(step.typical_s / finest_s).limit_denominator(1)
            if abs(float(ticks) * finest_s - step.typical_s) > 1e-9:
                return wanted_s
            common = math.gcd(common, int(ticks))
    common_s = common * finest_s
    return common_s / math.ceil(common_s / wanted_s) if common_s >= wanted_s else wanted_s
