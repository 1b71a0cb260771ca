"""What real runs say about a run sheet's figures: proposals, which change nothing by themselves.

Times are learnt as :mod:`bittern.engines.pairing.learning_times` says, chances as
:mod:`bittern.engines.pairing.learning_ways` does.

A run weighs half as much every :attr:`Rule.half_life_days`, one older than :attr:`Rule.window_days` nothing,
and no run more than :attr:`Rule.most_per_run` visits to one step. What cannot be seen: failures that nobody
recorded, and a step whose words stayed the same while their meaning changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from bittern.engines.pairing.graph import share_options
from bittern.engines.pairing.learning_records import Rule, RunRecord, Seen, VisitRecord, gather_visits
from bittern.engines.pairing.learning_times import Estimate, LearntTime, learn_times
from bittern.engines.pairing.learning_ways import find_factor, learn_failures, learn_options
from bittern.engines.pairing.sheet import Failure, RunSheet, Step

__all__ = ["Figure", "Proposal", "Rule", "RunRecord", "VisitRecord", "apply_proposals", "propose_figures"]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a proposal: its value now and as proposed, and where it lies with a chance of 90 %.

    ``name`` is ``typical_s``, ``slowest_s``, or the place of the failure or option in the step (``"0"``, ..);
    ``label`` says it to a person.
    """

    name: str
    label: str
    now: float
    proposed: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Proposal:
    """New figures for one step that belong together.

    Attributes
    ----------
    step
        The step's id.
    kind
        ``time`` (typical and slowest), ``failures`` or ``choice`` (the chances of all options).
    figures
        What would change.
    runs, visits
        How many runs and visits are behind it.
    because
        One sentence.
    caution
        What a person should look at before taking it; empty for most.
    """

    step: str
    kind: str
    figures: tuple[Figure, ...]
    runs: int
    visits: int
    because: str
    caution: str = ""

    @property
    def key(self) -> str:
        """A text that tells this proposal from the others of its sheet."""
        return f"{self.kind}:{self.step}"


def propose_figures(
    sheet: RunSheet,
    runs: Sequence[RunRecord],
    family_runs: Sequence[RunRecord] = (),
    *,
    today: date,
    base: RunSheet | None = None,
    rule: Rule | None = None,
) -> tuple[Proposal, ...]:
    """Return new figures for the steps of ``sheet`` that real runs speak about, in the order of its steps.

    Parameters
    ----------
    sheet
        The sheet as it is now, without faults.
    runs
        Real runs of it, of earlier versions too: a visit counts where the step's words and ways are the same.
    family_runs
        Runs of other sheets of its family; runs of ``sheet`` among them are left out.
    today
        The day from which runs are dated back.
    base
        The sheet before anything was learnt, whose figures are the prior; ``sheet`` itself when left out.
        With the same base a second call proposes nothing once the first one's proposals were taken.
    rule
        How quickly figures follow.
    """
    rule = rule or Rule()
    own = gather_visits([run for run in runs if run.sheet.id == sheet.id], sheet, base or sheet, today, rule)
    family = dict(own)
    others = [run for run in family_runs if run.sheet.id != sheet.id]
    for other in {run.sheet.id: run.sheet for run in others}.values():
        theirs = [run for run in others if run.sheet.id == other.id]
        family |= gather_visits(theirs, other, other, today, rule)
    times = {key: one.times for key, one in family.items() if len(one.times.seconds)}
    wanted = [key for key, one in own.items() if one.timed_runs >= rule.fewest_runs]
    learnt = learn_times(times, wanted)
    proposals: list[Proposal] = []
    for key, one in own.items():
        step = sheet.steps[key[1]]
        if key in learnt:
            proposals += _propose_time(step, one, learnt[key], rule)
        if one.runs >= rule.fewest_runs:
            factor = find_factor([seen for other, seen in family.items() if other != key], rule)
            proposals += _propose_failures(step, one, factor, rule)
            proposals += _propose_choice(step, one, rule)
    return tuple(proposals)


def apply_proposals(sheet: RunSheet, proposals: Iterable[Proposal]) -> RunSheet:
    """Return ``sheet`` with the figures of ``proposals``; any part of them leaves a sound sheet sound.

    A proposal for a step that is not there, or whose failures or options are others now, is left out.
    """
    steps = dict(sheet.steps)
    for proposal in proposals:
        if proposal.step in steps:
            steps[proposal.step] = _change_step(steps[proposal.step], proposal)
    return replace(sheet, steps=steps)


def _propose_time(step: Step, seen: Seen, learnt: LearntTime, rule: Rule) -> Iterator[Proposal]:
    typical_s, slowest_s = _round_s(learnt.typical.value), _round_s(learnt.slowest.value)
    caution = ""
    if step.window_s is not None and typical_s > step.window_s:
        caution = (
            f"People typically take {typical_s:g} s and the window is {step.window_s:g} s: "
            "many runs will miss it."
        )
        typical_s, slowest_s = step.window_s, max(slowest_s, step.window_s)
    pairs = ((step.typical_s, typical_s), (step.slowest_s, slowest_s))
    if learnt.moved < rule.least_time or not any(
        abs(new - now) > max(rule.least_time * max(now, new), 0.5) for now, new in pairs
    ):
        return
    figures = (
        Figure("typical_s", "typical time", step.typical_s, typical_s, *_bound(learnt.typical)),
        Figure("slowest_s", "slowest time", step.slowest_s, slowest_s, *_bound(learnt.slowest)),
    )
    middle_s = float(np.median(seen.times.seconds))
    because = (
        f"Half of {_count(len(seen.times.seconds), 'visit')} in {_count(seen.timed_runs, 'run')} "
        f"took {middle_s:.0f} s or less; the sheet says {step.typical_s:g} to {step.slowest_s:g} s."
    )
    yield Proposal(step.id, "time", figures, seen.timed_runs, len(seen.times.seconds), because, caution)


def _propose_failures(step: Step, seen: Seen, factor: float, rule: Rule) -> Iterator[Proposal]:
    found = learn_failures(seen, factor, rule)
    now = [one.chance for one in step.fails]
    if not _differ(now, [one.value for one in found], rule):
        return
    figures = tuple(
        Figure(str(place), _label_failure(fail), fail.chance, one.value, one.low, one.high)
        for place, (fail, one) in enumerate(zip(step.fails, found, strict=True))
    )
    because = (
        f"Of {_count(seen.visits, 'visit')} in {_count(seen.runs, 'run')} {seen.failed_visits} failed; "
        f"the sheet expects {seen.visits * sum(now):.1f}."
    )
    yield Proposal(step.id, "failures", figures, seen.runs, seen.visits, because)


def _propose_choice(step: Step, seen: Seen, rule: Rule) -> Iterator[Proposal]:
    found = learn_options(seen, rule)
    now = share_options(step)
    if not _differ(now, [one.value for one in found], rule):
        return
    figures = tuple(
        Figure(str(place), option.label, share, one.value, one.low, one.high)
        for place, (option, share, one) in enumerate(zip(step.options, now, found, strict=True))
    )
    most = max(figures, key=lambda figure: abs(figure.proposed - figure.now))
    taken = round(seen.options_raw[int(most.name)])
    because = (
        f"Of {_count(seen.visits, 'visit')} in {_count(seen.runs, 'run')} {taken} left by "
        f"“{most.label}”; the sheet expects {seen.visits * most.now:.1f}."
    )
    yield Proposal(step.id, "choice", figures, seen.runs, seen.visits, because)


def _differ(now: Sequence[float], new: Sequence[float], rule: Rule) -> bool:
    return any(abs(a - b) >= rule.least_chance for a, b in zip(now, new, strict=True))


def _change_step(step: Step, proposal: Proposal) -> Step:
    new = {figure.name: figure.proposed for figure in proposal.figures}
    if proposal.kind == "time":
        if step.kind == "end" or set(new) != {"typical_s", "slowest_s"}:
            return step
        typical_s = new["typical_s"] if step.window_s is None else min(new["typical_s"], step.window_s)
        return replace(step, typical_s=typical_s, slowest_s=max(new["slowest_s"], typical_s))
    labels = {figure.name: figure.label for figure in proposal.figures}
    if proposal.kind == "failures":
        if labels != {str(place): _label_failure(one) for place, one in enumerate(step.fails)}:
            return step
        fails = [replace(one, chance=new[str(place)]) for place, one in enumerate(step.fails)]
        return replace(step, fails=tuple(fails))
    if labels != {str(place): one.label for place, one in enumerate(step.options)}:
        return step
    options = [replace(one, chance=new[str(place)]) for place, one in enumerate(step.options)]
    return replace(step, options=tuple(options))


def _label_failure(failure: Failure) -> str:
    return f"{failure.because or 'it fails'}, to {failure.to}"


def _bound(estimate: Estimate) -> tuple[float, float]:
    return round(estimate.low, 1), round(estimate.high, 1)


def _round_s(seconds: float) -> float:
    return round(seconds, 1) if seconds < 10 else float(round(seconds))


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")
