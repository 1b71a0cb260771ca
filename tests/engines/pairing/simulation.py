"""Run sheets played by chance, many runs at once: an independent way to the same figures."""

from __future__ import annotations

import numpy as np

from bittern.engines.pairing.sheet import RunSheet


def simulate(sheet: RunSheet, runs: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the time in seconds and the outcome of every run, written from the format's text alone."""
    rng = np.random.default_rng(seed)
    names = list(sheet.steps)
    at = np.full(runs, names.index(sheet.start))
    time_s = np.zeros(runs)
    while True:
        before = at.copy()
        for number, name in enumerate(names):
            step = sheet.steps[name]
            here = np.flatnonzero(before == number)
            if step.kind == "end" or not len(here):
                continue
            # Inverse of F(t) = 1 - ((slowest - t) / (slowest - typical))^2.
            share = 1 - np.sqrt(rng.random(len(here)))
            time_s[here] += step.typical_s + (step.slowest_s - step.typical_s) * share
            draw = rng.random(len(here))
            undecided = np.ones(len(here), dtype=bool)
            edge = 0.0
            for failure in step.fails:
                goes = undecided & (draw < edge + failure.chance)
                at[here[goes]] = names.index(failure.to)
                undecided &= ~goes
                edge += failure.chance
            left = here[undecided]
            if step.kind != "choose":
                at[left] = names.index(step.then)
                continue
            stated = sum(option.chance or 0.0 for option in step.options)
            blank = sum(option.chance is None for option in step.options)
            chances = [
                (1 - stated) / blank if option.chance is None else option.chance for option in step.options
            ]
            picks = rng.choice(len(chances), size=len(left), p=np.array(chances) / sum(chances))
            at[left] = np.array([names.index(option.then) for option in step.options])[picks]
        if (at == before).all() and all(sheet.steps[names[k]].kind == "end" for k in np.unique(at)):
            return time_s, np.array([sheet.steps[names[k]].outcome for k in at])
