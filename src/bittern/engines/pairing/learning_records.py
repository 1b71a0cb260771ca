"""Real runs of run sheets as plain records, gathered step by step for learning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from bittern.engines.pairing.learning_times import Times
from bittern.engines.pairing.sheet import RunSheet, Step


@dataclass(frozen=True, slots=True)
class Rule:
    """How quickly figures follow real runs, and when a change is worth showing.

    Attributes
    ----------
    prior_visits
        The sheet's chances weigh as much as this many visits.
    prior_failures
        The family's factor starts at 1 with the weight of this many failures.
    most_factor
        The family's factor lies between its inverse and this.
    half_life_days, window_days
        A run weighs half after the first, nothing after the second: batteries and people change.
    most_per_run
        Visits of one run to one step that count in full; more share that weight among them. Fewer would let
        one odd run do less and count loops short.
    fewest_runs
        Fewer runs than this through a step propose nothing for it.
    least_time, least_chance
        A time that moves by a smaller part, a chance that moves by less, is not worth a proposal.
    floor
        A failure that is written keeps at least this chance, or its own if that is smaller: that it was not
        seen lately does not make it impossible.
    """

    prior_visits: float = 40.0
    prior_failures: float = 4.0
    most_factor: float = 3.0
    half_life_days: float = 365.0
    window_days: float = 1_460.0
    most_per_run: float = 5.0
    fewest_runs: int = 3
    least_time: float = 0.1
    least_chance: float = 0.01
    floor: float = 0.002


@dataclass(frozen=True, slots=True)
class VisitRecord:
    """One visit of a real run that was left.

    Attributes
    ----------
    step
        The step's id.
    seconds
        How long the visit lasted; None where no clock can be trusted.
    how
        ``done``, ``failed`` or ``chosen``.
    to, choice
        Where it led, and the option's label at a choice.
    """

    step: str
    seconds: float | None
    how: str
    to: str
    choice: str = ""


@dataclass(frozen=True, slots=True)
class RunRecord:
    """One real run: the sheet as it was when the run began, the day, and the visits in order.

    Nothing in it is about a person or a vehicle.
    """

    sheet: RunSheet
    day: date
    visits: tuple[VisitRecord, ...]


@dataclass(slots=True)
class Seen:
    """What was seen at one step: visits weighed by age, and how they were left.

    Attributes
    ----------
    step
        The step with the figures that serve as the prior.
    times
        Times of the visits that worked or failed, with their weights.
    runs, timed_runs, visits, failed_visits
        Counted without weights.
    works, fails, options
        Weight of the visits that left by success, by each failure's target, by each option's label.
    options_raw
        Visits by each option, by its place, counted without weights.
    """

    step: Step
    times: Times
    runs: int = 0
    timed_runs: int = 0
    visits: int = 0
    failed_visits: int = 0
    works: float = 0.0
    fails: dict[str, float] = field(default_factory=dict)
    options: dict[str, float] = field(default_factory=dict)
    options_raw: list[int] = field(default_factory=list)

    @property
    def failed(self) -> float:
        """Weight of the visits that failed."""
        return sum(self.fails.values())


def gather_visits(
    runs: Sequence[RunRecord], sheet: RunSheet, base: RunSheet, today: date, rule: Rule
) -> dict[tuple[str, str], Seen]:
    """Return what ``runs`` say about the steps of ``sheet``, by (sheet, step), in the order of the steps.

    A visit counts where the run's sheet says the same at that step. Prior figures are those of ``base`` where
    its step is the same too, else those of ``sheet``.
    """
    seconds: dict[str, list[tuple[float, float]]] = {step_id: [] for step_id in sheet.steps}
    found: dict[str, Seen] = {}
    for step_id, step in sheet.steps.items():
        before = base.steps.get(step_id)
        prior = before if before is not None and _is_same(before, step) else step
        times = Times(prior.typical_s, prior.slowest_s, np.empty(0), np.empty(0))
        found[step_id] = Seen(prior, times, options_raw=[0] * len(step.options))
    for run in sorted(runs, key=lambda one: one.day):
        age_days = max(0, (today - run.day).days)
        if age_days > rule.window_days:
            continue
        weight = 0.5 ** (age_days / rule.half_life_days)
        by_step: dict[str, list[VisitRecord]] = {}
        for visit in run.visits:
            by_step.setdefault(visit.step, []).append(visit)
        for step_id, visits in by_step.items():
            was, now = run.sheet.steps.get(step_id), sheet.steps.get(step_id)
            if was is not None and now is not None and now.kind != "end" and _is_same(was, now):
                share = weight * min(1.0, rule.most_per_run / len(visits))
                _count_visits(found[step_id], visits, share)
                lasted = [(v.seconds, share) for v in visits if v.seconds is not None and v.seconds > 0]
                found[step_id].timed_runs += bool(lasted)
                seconds[step_id] += lasted
    for step_id, seen in found.items():
        if seconds[step_id]:
            times, weights = np.array(seconds[step_id]).T
            seen.times = Times(seen.step.typical_s, seen.step.slowest_s, times, weights)
    return {(sheet.id, step_id): seen for step_id, seen in found.items() if seen.visits}


def _count_visits(seen: Seen, visits: Sequence[VisitRecord], share: float) -> None:
    seen.runs += 1
    seen.visits += len(visits)
    for visit in visits:
        if visit.how == "failed":
            seen.failed_visits += 1
            seen.fails[visit.to] = seen.fails.get(visit.to, 0.0) + share
            continue
        seen.works += share
        for place, option in enumerate(seen.step.options):
            if option.label == visit.choice:
                seen.options[option.label] = seen.options.get(option.label, 0.0) + share
                seen.options_raw[place] += 1


def _is_same(was: Step, now: Step) -> bool:
    """Return whether both steps say the same deed with the same ways on; figures may differ."""
    return _outline(was) == _outline(now)


def _outline(step: Step) -> tuple[object, ...]:
    return (
        step.kind,
        step.say,
        step.then,
        tuple((one.to, one.because) for one in step.fails),
        tuple((one.label, one.then) for one in step.options),
    )
