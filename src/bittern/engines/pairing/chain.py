"""The figures of a run sheet: how it will probably end, and how long it will take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bittern.engines.pairing.quantile import find_quantiles
from bittern.engines.pairing.sheet import OUTCOMES, RunSheet
from bittern.engines.pairing.walk import Prospect, Walk, build_walk, look_ahead, unsound


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
    are exact; the quantiles come from the generating function of the time, see
    :mod:`bittern.engines.pairing.quantile`. What the model cannot see: people who learn during the run,
    failures that come together, windows that are missed.

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
    walk = build_walk(sheet)
    _check_times(walk)
    points = tuple(step.id for step in sheet.steps.values() if step.no_return)
    if not walk.steps:
        return SheetFigures(*_get_chances(sheet, None), 0.0, 0.0, 0.0, 0.0, points)
    ahead = look_ahead(walk)
    mean_s = float(ahead.mean_s[0])
    p50_s, p90_s = find_quantiles(walk, mean_s, (0.5, 0.9))
    return SheetFigures(
        *_get_chances(sheet, ahead),
        mean_s,
        float(np.sqrt(ahead.variance_s2[0])),
        p50_s,
        p90_s,
        points,
    )


def find_time_quantiles(sheet: RunSheet, chances: Sequence[float]) -> list[float]:
    """Return the first times by which a run is over with each of the chances given, in seconds.

    Parameters
    ----------
    sheet
        As for :func:`analyse_sheet`.
    chances
        From 0 to below 1.

    Raises
    ------
    SheetUnsoundError
        As :func:`analyse_sheet`.
    """
    walk = build_walk(sheet)
    _check_times(walk)
    if not walk.steps:
        return [0.0 for _ in chances]
    return find_quantiles(walk, float(look_ahead(walk).mean_s[0]), chances)


def find_outcome_chances(sheet: RunSheet) -> dict[str, float]:
    """Return the chance of ``good``, ``unchanged`` and ``stranded``; times do not matter here.

    Raises
    ------
    SheetUnsoundError
        A step that a run can get to leads nowhere, has impossible chances, or never comes to an end.
    """
    walk = build_walk(sheet)
    return dict(zip(OUTCOMES, _get_chances(sheet, look_ahead(walk) if walk.steps else None), strict=True))


def _check_times(walk: Walk) -> None:
    for step in walk.steps:
        if not 0 <= step.typical_s <= step.slowest_s:
            raise unsound(f"slowest_s = {step.slowest_s:g}", f"at least {step.typical_s:g}", step.id)


def _get_chances(sheet: RunSheet, ahead: Prospect | None) -> tuple[float, float, float]:
    if ahead is None:
        good, unchanged, stranded = (
            float(sheet.steps[sheet.start].outcome == outcome) for outcome in OUTCOMES
        )
    else:
        ends = ahead.ends[0]
        # The rows sum to 1 within rounding; what rounding is left must not show in the answer.
        good, unchanged, stranded = (float(chance) for chance in ends / ends.sum())
    return good, unchanged, stranded
