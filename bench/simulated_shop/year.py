"""A year of the shop: its pack, its customers in order, and every job under every policy."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from random import Random

from bittern.engines.key.index import KeyIndex
from bittern.engines.key.rates import Rates
from simulated_shop.bayes import Rule
from simulated_shop.customers import draw_job
from simulated_shop.habits import Habits
from simulated_shop.pack import Size, make_world
from simulated_shop.policies import Outcome, Shop
from simulated_shop.table import Table


@dataclass(frozen=True, slots=True)
class Year:
    """What makes a year: the same fields give the same year, job by job."""

    seed: int
    jobs: int = 600
    habits: Habits = field(default_factory=Habits)
    size: Size = field(default_factory=Size)
    rates: Rates | None = None


def open_shop(year: Year) -> Shop:
    """Return the year's shop."""
    world = make_world(year.seed, year.size, year.habits.share_concentration)
    table = Table(world, year.habits)
    return Shop(table, Rule(table), KeyIndex(world.catalogue), rates=year.rates or Rates())


def run_year(year: Year) -> list[dict[str, Outcome]]:
    """Return each job's outcomes by policy."""
    shop = open_shop(year)
    draw = Random(f"customers {year.seed}")
    return [shop.serve(draw_job(draw, shop.table)) for _ in range(year.jobs)]


def run_years(years: Sequence[Year], *, processes: int) -> Iterator[list[dict[str, Outcome]]]:
    """Yield the years' outcomes in order, several at a time."""
    if processes <= 1:
        yield from map(run_year, years)
        return
    # Fresh processes: nothing is shared that a fork would copy half-used.
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        yield from pool.imap(run_year, years)
