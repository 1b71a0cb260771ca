"""What finished jobs say about fitments: shares by vehicle, learnt from the shop's own lessons.

Model. A cell is one make, model and start over a run of years to which the same fitment rows apply. The
article of a vehicle in it is one draw from unknown shares. Their prior is a Dirichlet distribution with the
listed shares as its mean and the weight of :attr:`Rule.prior_jobs` finished jobs; the posterior adds to each
outcome the jobs that ended with it (Dirichlet and multinomial are conjugate: any textbook of Bayesian
statistics, such as Gelman et al., Bayesian Data Analysis, section 3.4). "Not in this pack" is one outcome of
every cell, an article that the cell does not list becomes one when a job ends with it.

A job's weight halves every :attr:`Rule.half_life_days`. A part :attr:`Rule.kept` of the listed share always
stays, so that no listed article is ever forgotten.

An article that was refused is known not to be the vehicle's. Where the job ended with another, that says all:
a vehicle counts once. Where it is not known which one it was, the job is spread over all other outcomes in
proportion to their shares, which lowers the share of the refused one and of no other.

What it cannot see: a vehicle that was recorded under a wrong model or year, and one vehicle with two jobs,
which counts twice.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

import numpy as np

from bittern.core.beta import beta_interval
from bittern.engines.key.catalogue import STARTS, Fitment
from bittern.engines.key.evidence import Observation
from bittern.engines.key.index import Integers, KeyIndex, plain_name
from bittern.engines.key.rates import Rates

OUTSIDE = ""
"""Stands for "something that this pack does not have"."""


@dataclass(frozen=True, slots=True)
class Rule:
    """How quickly a shop learns.

    Attributes
    ----------
    prior_jobs
        The pack's shares weigh as much as this many finished jobs: one job moves a share by at most 1 in 21.
    prior_trials
        The assumed rate of an error weighs as much as this many observations.
    prior_errors
        The assumed errors of characters weigh as much as if this many had been expected and seen.
    half_life_days
        After this time a job weighs half: makers change suppliers with a new version, and so do remotes.
    kept
        Part of the listed share that always stays.
    """

    prior_jobs: float = 20.0
    prior_trials: float = 60.0
    prior_errors: float = 10.0
    half_life_days: float = 730.0
    kept: float = 0.02


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one finished job says; nothing in it is about a person.

    Attributes
    ----------
    article
        By its id in the pack; empty for something that the pack does not have.
    outcome
        ``fitted``: the vehicle takes it, proven; ``wrong``: the vehicle refused it.
    observations
        What was known before the truth was.
    weight
        1 for an ordinary job.
    case
        Lessons with the same number above 0 are about one vehicle.
    """

    day: date
    make: str
    model: str
    year: int | None
    start: str
    article: str
    outcome: Literal["fitted", "wrong"] = "fitted"
    observations: tuple[Observation, ...] = ()
    weight: float = 1.0
    case: int = 0


@dataclass(frozen=True, slots=True)
class LearntShare:
    """One outcome of a cell: its chance as listed and as learnt, and the jobs behind.

    ``alpha`` and ``total`` are the posterior's: the share has a Beta(alpha, total - alpha) distribution.
    """

    article: str
    listed: float
    learnt: float
    alpha: float
    total: float
    fitted: int = 0
    refused: int = 0

    @property
    def interval(self) -> tuple[float, float]:
        """The share is between these with a chance of 90 %."""
        return beta_interval(self.alpha, self.total - self.alpha)


@dataclass(frozen=True, slots=True)
class LearntCell:
    """What was learnt about vehicles of one make, model and start from ``year_from`` to ``year_to``.

    ``shares`` sum to 1 and end with :data:`OUTSIDE`; ``jobs`` counts lessons, ``weight`` what they weigh.
    """

    make: str
    model: str
    start: str
    year_from: int
    year_to: int
    shares: tuple[LearntShare, ...]
    jobs: int
    weight: float

    @property
    def moved(self) -> float:
        """Sum of what all shares moved by, halved: 0 for not at all, 1 for everything."""
        return sum(abs(one.learnt - one.listed) for one in self.shares) / 2

    def covers(self, make: str, model: str, year: int | None, start: str) -> bool:
        """Tell whether a vehicle is one of the cell's, as far as it is known."""
        return (
            (plain_name(make), plain_name(model)) == (plain_name(self.make), plain_name(self.model))
            and (year is None or self.year_from <= year <= self.year_to)
            and start in ("", self.start)
        )


@dataclass(frozen=True, slots=True)
class LearntShares:
    """Cells with lessons, in the order of make, model, year and start; how many lessons found no cell."""

    cells: tuple[LearntCell, ...] = ()
    unplaced: int = 0


@dataclass(slots=True)
class _Tally:
    """Weight and number of lessons of one cell."""

    make: str
    model: str
    start: str
    years: tuple[int, int]
    fitted: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    excluded: dict[tuple[str, ...], float] = field(default_factory=lambda: defaultdict(float))
    count: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    refused: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    jobs: int = 0


def weigh_lesson(lesson: Lesson, today: date, rule: Rule) -> float:
    """Return what a lesson weighs ``today``; one of a day yet to come weighs as one of today.

    >>> one = Lesson(date(2030, 1, 1), "Heron", "One", 2020, "turn", "H-1")
    >>> weigh_lesson(one, date(2032, 1, 1), Rule())
    0.5
    """
    age_days = max(0, (today - lesson.day).days)
    return float(lesson.weight * 0.5 ** (age_days / rule.half_life_days))


def learn_shares(
    index: KeyIndex, lessons: Iterable[Lesson], today: date, rates: Rates, rule: Rule
) -> LearntShares:
    """Return the shares learnt from ``lessons``, in any order, as of ``today``.

    Parameters
    ----------
    index
        The pack. A lesson about an article that it no longer has counts as one from outside it.
    lessons
        Those without model or year, and those with a start that the model's listed rows of that year do not
        have, are about no cell; they are counted as unplaced.
    rates
        ``outside_floor`` belongs to the listed shares, as in :mod:`~bittern.engines.key.prior`.
    """
    cases: dict[object, list[Lesson]] = defaultdict(list)
    for place, lesson in enumerate(lessons):
        cases[lesson.case if lesson.case > 0 else ("", place)].append(lesson)
    tallies: dict[tuple[str, str, str, int], _Tally] = {}
    found: dict[tuple[str, str, int | None, str, str], tuple[str, int, int] | None] = {}
    unplaced = 0
    for case in cases.values():
        truth = next((one for one in case if one.outcome == "fitted"), None)
        first = truth or case[0]
        wanted = first.article if truth else OUTSIDE
        key = (plain_name(first.make), plain_name(first.model), first.year, first.start, wanted)
        if key not in found:
            found[key] = _find_cell(index, *key)
        cell = found[key]
        if cell is None:
            unplaced += 1
            continue
        start, year_from, year_to = cell
        tally = tallies.setdefault(
            (key[0], key[1], start, year_from),
            _Tally(first.make, first.model, start, (year_from, year_to)),
        )
        # The spelling shown does not depend on which lesson came first.
        tally.make, tally.model = min(tally.make, first.make), min(tally.model, first.model)
        _count(index, tally, case, truth, weigh_lesson(first, today, rule))
    cells = [_close_cell(index, tallies[key], rates, rule) for key in sorted(tallies)]
    return LearntShares(
        tuple(sorted(cells, key=lambda one: (one.make, one.model, one.year_from, one.start))), unplaced
    )


def _count(index: KeyIndex, tally: _Tally, case: Sequence[Lesson], truth: Lesson | None, w: float) -> None:
    def known(article: str) -> str:
        return article if article in index.position else OUTSIDE

    refused = tuple(sorted({known(one.article) for one in case if one.outcome == "wrong"} - {OUTSIDE}))
    for article in refused:
        tally.refused[article] += 1
    if truth is not None:
        tally.fitted[known(truth.article)] += w
        tally.count[known(truth.article)] += 1
    elif refused:
        tally.excluded[refused] += w
    tally.jobs += 1


def _find_cell(
    index: KeyIndex, make: str, model: str, year: int | None, start: str, article: str
) -> tuple[str, int, int] | None:
    """Return start, first and last year of the cell that a vehicle is in, or None."""
    if not (make and model) or year is None:
        return None
    rows, places = index.rows, index.rows_of(index.groups_of(make, model))
    inside = places[(rows.year_from[places] <= year) & (rows.year_to[places] >= year)]
    listed = sorted({STARTS[int(rows.start[row])] for row in inside})
    if not start:
        own = {
            STARTS[int(rows.start[row])]
            for row in inside
            if index.articles[int(rows.article[row])].article == article
        }
        starts = own if len(own) == 1 else set(listed)
        if len(starts) != 1:
            return None
        start = starts.pop()
    if not listed:
        return start, year, year
    if start not in listed:
        # The list knows this year with the other start only: taking it for a row of its own would make both
        # starts alike after a single job.
        return None
    same = places[rows.start[places] == STARTS.index(start)]
    return start, *_span(rows.year_from[same], rows.year_to[same], year)


def _span(first: Integers, last: Integers, year: int) -> tuple[int, int]:
    """Return the longest run of years around ``year`` to which the same rows apply."""
    edges = np.concatenate([first, last + 1])
    return int(edges[edges <= year].max()), int(edges[edges > year].min()) - 1


def list_shares(index: KeyIndex, tally_key: tuple[str, str, str, int], rates: Rates) -> dict[str, float]:
    """Return the listed chance of each article of one make, model, start and year, and of :data:`OUTSIDE`."""
    make, model, start, year = tally_key
    rows, places = index.rows, index.rows_of(index.groups_of(make, model))
    inside = (rows.year_from[places] <= year) & (rows.year_to[places] >= year)
    inside &= rows.start[places] == STARTS.index(start)
    total: dict[str, float] = defaultdict(float)
    for row in places[inside]:
        total[index.articles[int(rows.article[row])].article] += float(rows.share[row])
    scale = max(1.0, sum(total.values()))
    shares = {name: (1.0 - rates.outside_floor) * share / scale for name, share in sorted(total.items())}
    return {**shares, OUTSIDE: 1.0 - sum(shares.values())}


def _close_cell(index: KeyIndex, tally: _Tally, rates: Rates, rule: Rule) -> LearntCell:
    listed = list_shares(index, (tally.make, tally.model, tally.start, tally.years[0]), rates)
    for article in sorted({*tally.fitted, *tally.refused}):
        listed.setdefault(article, 0.0)
    names = [name for name in listed if name != OUTSIDE] + [OUTSIDE]
    alpha = {name: rule.prior_jobs * listed[name] + tally.fitted.get(name, 0.0) for name in names}
    total = sum(alpha.values())
    base = {name: alpha[name] / total for name in names}
    for excluded, w in sorted(tally.excluded.items()):
        rest = 1.0 - sum(base[name] for name in excluded)
        for name in names:
            if name not in excluded and rest > 0.0:
                alpha[name] += w * base[name] / rest
    total = sum(alpha.values())
    kept, shares = rule.kept, []
    for name in names:
        learnt = (1.0 - kept) * alpha[name] / total + kept * listed[name]
        count, refused = tally.count.get(name, 0), tally.refused.get(name, 0)
        shares.append(LearntShare(name, listed[name], learnt, alpha[name], total, count, refused))
    return LearntCell(
        tally.make,
        tally.model,
        tally.start,
        *tally.years,
        shares=tuple(shares),
        jobs=tally.jobs,
        weight=total - rule.prior_jobs,
    )


def lay_learnt(index: KeyIndex, shares: LearntShares, rates: Rates) -> KeyIndex:
    """Return ``index`` with the fitments of the cells as learnt; itself where nothing was learnt."""
    if not shares.cells:
        return index
    by_model: dict[tuple[str, str], list[LearntCell]] = defaultdict(list)
    for cell in shares.cells:
        by_model[plain_name(cell.make), plain_name(cell.model)].append(cell)
    rows: list[Fitment] = []
    for (make, model), cells in by_model.items():
        for place in index.rows_of(index.groups_of(make, model)).tolist():
            rows += _cut_around(index.fitments[place], cells)
        for cell in cells:
            rows += cell_fitments(cell, rates)
    return index.with_models(list(by_model), rows)


def cell_fitments(cell: LearntCell, rates: Rates, sheets: Mapping[str, str] | None = None) -> list[Fitment]:
    """Return the rows that say what was learnt about a cell, run sheets from ``sheets`` by article."""
    shares = {
        one.article: one.learnt / (1.0 - rates.outside_floor) for one in cell.shares if one.article != OUTSIDE
    }
    # The floor of what is outside every pack stays, however many jobs ended inside.
    scale = max(1.0, sum(shares.values()))
    return [
        Fitment(
            cell.make, cell.model, cell.year_from, cell.year_to, cell.start, "", "",
            name, share / scale, (sheets or {}).get(name, ""),
        )
        for name, share in shares.items()
        if share > 0.0
    ]  # fmt: skip


def _cut_around(row: Fitment, cells: Sequence[LearntCell]) -> list[Fitment]:
    """Return what is left of a row outside the years of the cells of its start."""
    spans = [(row.year_from, row.year_to)]
    for cell in cells:
        if cell.start == row.start:
            spans = [
                part
                for first, last in spans
                for part in ((first, min(last, cell.year_from - 1)), (max(first, cell.year_to + 1), last))
                if part[0] <= part[1]
            ]
    return [
        Fitment(
            row.make, row.model, first, last, row.start, row.trim, row.region,
            row.article, row.share, row.runsheet,
        )
        for first, last in spans
    ]  # fmt: skip
