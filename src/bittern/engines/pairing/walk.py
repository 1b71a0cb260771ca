"""A run sheet as an absorbing walk: the steps that a run can get to, their moves, and where they end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bittern.engines.pairing.duration import duration_variance_s2, mean_duration_s
from bittern.engines.pairing.errors import SheetUnsoundError
from bittern.engines.pairing.graph import (
    CHANCE_TOLERANCE,
    Way,
    find_reached,
    map_ways,
    reverse_links,
)
from bittern.engines.pairing.sheet import OUTCOMES, RunSheet, Step
from bittern.engines.pairing.transform import LoopSolver

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Walk:
    """The part of a sheet that a run can get to.

    Attributes
    ----------
    steps
        The transient steps, the start first; empty where the start is an end.
    place
        Each one's number by its id.
    moves
        For each, the chances of moves to others by their numbers.
    leaving
        Shape (n, 3): chances of moves to an end of each outcome.
    loops
        What solves sums over the walk.
    """

    steps: list[Step]
    place: dict[str, int]
    moves: list[dict[int, float]]
    leaving: FloatArray
    loops: LoopSolver


@dataclass(frozen=True, slots=True)
class Prospect:
    """What lies ahead of each transient step.

    ``ends`` has shape (n, 3): chances of the outcomes; ``mean_s`` and ``variance_s2``, shape (n,), are of the
    time.
    """

    ends: FloatArray
    mean_s: FloatArray
    variance_s2: FloatArray


def build_walk(sheet: RunSheet) -> Walk:
    """Return the walk that starts at the sheet's start; ways without a chance are left out.

    Raises
    ------
    SheetUnsoundError
        A step that a run can get to leads nowhere, has impossible chances, or never comes to an end.
    """
    if sheet.start not in sheet.steps:
        raise unsound(f"start {sheet.start!r}, a step that does not exist", "the id of a step", "start")
    ways = map_ways(sheet)
    links = {
        step_id: [way.to for way in found if way.chance > 0 and way.to in sheet.steps]
        for step_id, found in ways.items()
    }
    reached = find_reached(links, [sheet.start])
    order = [sheet.start, *(step_id for step_id in sheet.steps if step_id != sheet.start)]
    steps = [sheet.steps[name] for name in order if name in reached and sheet.steps[name].kind != "end"]
    place = {step.id: number for number, step in enumerate(steps)}
    moves: list[dict[int, float]] = []
    leaving = np.zeros((len(steps), len(OUTCOMES)))
    for number, step in enumerate(steps):
        onward: dict[int, float] = {}
        for way in ways[step.id]:
            if way.chance <= 0:
                continue
            if way.to in place:
                onward[place[way.to]] = onward.get(place[way.to], 0.0) + way.chance
            else:
                leaving[number, _get_outcome(sheet, way)] += way.chance
        total = sum(onward.values()) + leaving[number].sum()
        if abs(total - 1.0) > 2 * CHANCE_TOLERANCE:
            raise unsound(f"chances of {total:g} together", "chances of 1 together", step.id)
        moves.append(onward)
    if not steps and sheet.steps[sheet.start].outcome not in OUTCOMES:
        raise unsound("an end without an outcome", "an outcome", sheet.start)
    ends = [name for name in reached if sheet.steps[name].kind == "end"]
    stuck = reached - find_reached(reverse_links(links), ends)
    if stuck:
        first = next(step.id for step in steps if step.id in stuck)
        raise unsound("a step that never comes to an end", "a path to an end from every step", first)
    return Walk(steps, place, moves, leaving, LoopSolver(moves, leaving.sum(axis=1).tolist()))


def look_ahead(walk: Walk) -> Prospect:
    """Return the chances of the outcomes and mean and variance of the time from every transient step on.

    Raises
    ------
    SheetUnsoundError
        A way out has so small a chance that it is none.

    Notes
    -----
    Kemeny & Snell, Finite Markov Chains (1960), chapter III: ends B = R + Q B, mean time t = m + Q t. The
    second moment of the time solves s = v + m^2 + 2 m Q t + Q s, products element by element, by conditioning
    on the first move: the stay and what follows it are independent.
    """
    means = np.array([mean_duration_s(step) for step in walk.steps])
    variances = np.array([duration_variance_s2(step) for step in walk.steps])
    try:
        first = walk.loops.solve_real(np.column_stack([walk.leaving, means]))
        mean_s = first[:, -1]
        after_s = np.array(
            [sum(chance * mean_s[to] for to, chance in onward.items()) for onward in walk.moves]
        )
        square = walk.loops.solve_real((variances + means**2 + 2.0 * means * after_s)[:, None])[:, 0]
    except ZeroDivisionError as error:
        raise unsound("steps that never come to an end", "a path to an end from every step") from error
    return Prospect(first[:, :-1], mean_s, np.maximum(square - mean_s**2, 0.0))


def unsound(found: str, expected: str, where: str = "") -> SheetUnsoundError:
    """Return the error of a sheet whose figures mean nothing."""
    return SheetUnsoundError(found, expected, where=where, hint="check the run sheet's faults first")


def _get_outcome(sheet: RunSheet, way: Way) -> int:
    target = sheet.steps.get(way.to)
    if target is None or target.outcome not in OUTCOMES:
        raise unsound(f"a way to {way.to!r}", "a way to a step or an end with outcome", way.source)
    return OUTCOMES.index(target.outcome)
