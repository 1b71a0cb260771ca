"""What the Bayes rule would cost with single pieces of its model taken from the engine, on the same jobs."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from random import Random

from simulated_shop.accounting import compare, find_worst, take_account
from simulated_shop.customers import draw_job
from simulated_shop.pieces import PIECES, PiecedRule
from simulated_shop.policies import Outcome
from simulated_shop.report import say
from simulated_shop.year import Year, open_shop

VARIANTS: Mapping[str, tuple[str, ...]] = {
    "none": (),
    **{piece: (piece,) for piece in PIECES},
    "all of them": PIECES,
}
"""Which pieces of the rule are the engine's."""
ENGINE = "the engine itself"


def decompose_year(year: Year) -> list[dict[str, Outcome]]:
    """Return each job's outcome by variant, and the engine's."""
    shop = open_shop(year)
    shops = {
        name: replace(shop, rule=PiecedRule(shop.table, shop.index, shop.rates, pieces))
        for name, pieces in VARIANTS.items()
    }
    draw = Random(f"customers {year.seed}")
    jobs = [draw_job(draw, shop.table) for _ in range(year.jobs)]
    return [
        {name: one.serve_by_rule(job) for name, one in shops.items()} | {ENGINE: shop.serve_by_engine(job)[0]}
        for job in jobs
    ]


def decompose_years(years: Sequence[Year], *, processes: int) -> list[dict[str, Outcome]]:
    """Return the jobs of all years, several years at a time."""
    if processes <= 1:
        return [job for year in years for job in decompose_year(year)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        return [job for year in pool.imap(decompose_year, years) for job in year]


def list_pieces(jobs: Sequence[Mapping[str, Outcome]]) -> Iterator[str]:
    """Yield the table of variants."""
    yield (
        "| pieces taken from the engine | wrong orders | needless searches | questions a job | cost a job"
        " | of the Bayes rule's (95 %) | log score | worst decile |"
    )
    yield "|---|" + "---:|" * 7
    below = [job["none"].cost for job in jobs]
    for name in (*VARIANTS, ENGINE):
        one = take_account(name, [job[name] for job in jobs])
        worst = find_worst(one.deciles)
        ratio = compare([job[name].cost for job in jobs], below)
        off = "–" if worst is None else f"{100 * worst.deviation:+.1f} points"
        yield (
            f"| {name} | {one.wrong} | {one.needless} | {one.questions:.2f} | {one.cost:.2f} | {say(ratio)}"
            f" | {one.log_score:.3f} | {off} |"
        )
