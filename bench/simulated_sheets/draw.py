"""Invented run sheets: acts in a row with failures, questions, loops, a point of no return in the middle."""

from __future__ import annotations

import numpy as np

from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Step


def draw_sheet(steps: int, seed: int, *, back: float = 0.15, reach: int = 8) -> RunSheet:
    """Return a sound sheet of ``steps`` steps and three ends.

    Parameters
    ----------
    steps, seed
        How many, and what decides everything that is drawn.
    back
        Share of the steps that can fail back to an earlier one.
    reach
        How far back that is at most: the longest loops.
    """
    rng = np.random.default_rng(seed)
    found = [_draw_step(rng, number, steps, back, reach) for number in range(steps)]
    ends = [
        Step("good", "end", "Done.", outcome="good"),
        Step("off", "end", "As it was.", outcome="unchanged"),
        Step("stuck", "end", "No key works.", outcome="stranded", recovery="The maker's workshop comes."),
    ]
    led_to = {fail.to for step in found for fail in step.fails} | {"good"}
    found += [end for end in ends if end.id in led_to]
    return RunSheet(
        f"drawn-{steps}", "Drawn", "s0", "present-only", ("authority", "every-key"), {s.id: s for s in found}
    )


def _draw_step(rng: np.random.Generator, number: int, steps: int, back: float, reach: int) -> Step:
    middle, last = steps // 2, number + 1 == steps
    typical_s, span_s = float(rng.integers(3, 60)), float(rng.integers(0, 90))
    then = "good" if last else f"s{number + 1}"
    fails = []
    if rng.random() < back:
        fails.append(Failure(f"s{max(0, number - int(rng.integers(0, reach)))}", 0.05, "not yet"))
    if number < middle and rng.random() < 0.05:
        fails.append(Failure("off", 0.01, "given up"))
    if number > middle and rng.random() < 0.05:
        fails.append(Failure("stuck", 0.002, "nothing answers"))
    shared = {"typical_s": typical_s, "slowest_s": typical_s + span_s, "fails": tuple(fails)}
    # Nothing goes round the point of no return.
    if rng.random() < 0.1 and not last and number not in (middle - 2, middle - 1, middle):
        further = f"s{min(steps - 1, number + 2)}"
        options = (Option("then", then), Option("skip", further))
        return Step(f"s{number}", "choose", "Which?", options=options, **shared)  # type: ignore[arg-type]
    return Step(
        f"s{number}",
        "act",
        "Show the key.",
        then=then,
        no_return=number == middle,
        **shared,  # type: ignore[arg-type]
    )
