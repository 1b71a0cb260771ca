"""Runs of a run sheet played by chance, many at once, from the format's text alone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bittern.engines.pairing.sheet import OUTCOMES, RunSheet, Step


def play_runs(sheet: RunSheet, runs: int, seed: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """Return each run's time in seconds and the number of its outcome.

    All runs that stand at a step leave it together; steps are taken in their order, again and again.
    """
    rng = np.random.default_rng(seed)
    names = list(sheet.steps)
    place = {name: number for number, name in enumerate(names)}
    at = np.full(runs, place[sheet.start])
    time_s = np.zeros(runs)
    while True:
        moving = False
        for number, name in enumerate(names):
            step = sheet.steps[name]
            here = np.flatnonzero(at == number)
            if step.kind == "end" or not len(here):
                continue
            moving = True
            span_s = step.slowest_s - step.typical_s
            time_s[here] += step.slowest_s - span_s * np.sqrt(rng.random(len(here)))
            targets, edges = _list_ways(step, place)
            at[here] = targets[np.searchsorted(edges, rng.random(len(here)))]
        if not moving:
            marks = [step.outcome for step in sheet.steps.values()]
            outcomes = np.array([OUTCOMES.index(mark) if mark else -1 for mark in marks])
            return time_s, outcomes[at]


def _list_ways(step: Step, place: dict[str, int]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Return where the ways lead, and up to which draw from 0 to 1 each is taken."""
    targets = [place[one.to] for one in step.fails]
    chances = [one.chance for one in step.fails]
    works = 1.0 - sum(chances)
    if step.kind == "choose":
        stated = sum(one.chance for one in step.options if one.chance is not None)
        blank = sum(one.chance is None for one in step.options)
        for one in step.options:
            targets.append(place[one.then])
            chances.append(works * ((1.0 - stated) / blank if one.chance is None else one.chance))
    else:
        targets.append(place[step.then])
        chances.append(works)
    edges = np.cumsum(chances)
    # Chances sum to 1 within rounding: no draw may fall behind the last.
    edges[-1] = 1.0
    return np.array(targets), edges
