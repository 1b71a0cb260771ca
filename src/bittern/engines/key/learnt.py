"""What a shop has learnt: everything that its finished jobs say, ready for identification."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from bittern.engines.key.error_learning import LearntRate, learn_rates
from bittern.engines.key.evidence import Vehicle
from bittern.engines.key.index import KeyIndex
from bittern.engines.key.learning import (
    LearntCell,
    LearntShares,
    Lesson,
    Rule,
    lay_learnt,
    learn_shares,
)
from bittern.engines.key.rates import Rates


@dataclass(frozen=True, slots=True)
class Learnt:
    """What lessons made of a pack and of the assumed rates.

    Attributes
    ----------
    index
        The pack with the shares as learnt.
    rates
        The rates as learnt.
    shares, moved_rates
        What was learnt, from which to which and on how many jobs.
    lessons, jobs
        How many lessons there were, and of how many jobs.
    """

    index: KeyIndex
    rates: Rates
    shares: LearntShares
    moved_rates: tuple[LearntRate, ...]
    lessons: int
    jobs: int = 0

    def cells_of(self, vehicle: Vehicle) -> list[LearntCell]:
        """Return what was learnt about such vehicles, none unless make and model are known."""
        if not (vehicle.make and vehicle.model):
            return []
        return [
            cell
            for cell in self.shares.cells
            if cell.covers(vehicle.make, vehicle.model, vehicle.year, vehicle.start)
        ]


def learn(
    index: KeyIndex,
    lessons: Iterable[Lesson],
    today: date,
    rates: Rates | None = None,
    rule: Rule | None = None,
) -> Learnt:
    """Return what ``lessons`` teach as of ``today``; their order does not matter.

    Examples
    --------
    >>> from bittern.engines.key.catalogue import Article, Catalogue, Fitment
    >>> rows = tuple(Fitment("Heron", "One", 2015, 2019, "turn", "", "", a, 0.45) for a in ("H-1", "H-2"))
    >>> pack = KeyIndex(Catalogue({a: Article(a, a, "remote") for a in ("H-1", "H-2")}, rows))
    >>> jobs = [Lesson(date(2030, 1, 1), "Heron", "One", 2017, "turn", "H-1")] * 10
    >>> learnt = learn(pack, jobs, date(2030, 1, 1))
    >>> [(one.article, round(one.learnt, 2)) for one in learnt.shares.cells[0].shares]
    [('H-1', 0.62), ('H-2', 0.3), ('', 0.08)]
    """
    rates, rule = rates or Rates(), rule or Rule()
    # Sums of the same numbers in another order differ in their last digits.
    every = sorted(lessons, key=repr)
    jobs = len({one.case for one in every if one.case}) + sum(1 for one in every if not one.case)
    if not len(index):
        return Learnt(index, rates, LearntShares(unplaced=jobs), (), len(every), jobs)
    shares = learn_shares(index, every, today, rates, rule)
    new_rates, moved = learn_rates(index, every, today, rates, rule)
    return Learnt(lay_learnt(index, shares, rates), new_rates, shares, moved, len(every), jobs)
