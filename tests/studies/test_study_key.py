"""The simulated year, small: the study runs, its parts add up, and the engine is worth its questions."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest

BENCH = Path(__file__).resolve().parents[2] / "bench"
if str(BENCH) not in sys.path:
    sys.path.insert(0, str(BENCH))

from simulated_shop.accounting import compare, sort_bounds, sort_deciles, wilson  # noqa: E402
from simulated_shop.customers import draw_job  # noqa: E402
from simulated_shop.decomposing import VARIANTS, decompose_year, list_pieces  # noqa: E402
from simulated_shop.habits import ERRORS, Habits, scale_errors  # noqa: E402
from simulated_shop.pack import Size  # noqa: E402
from simulated_shop.pieces import PIECES, PiecedRule  # noqa: E402
from simulated_shop.policies import POLICIES  # noqa: E402
from simulated_shop.report import account_all, find_targets  # noqa: E402
from simulated_shop.year import Year, open_shop, run_year  # noqa: E402

SMALL = Year(seed=3, jobs=120, size=Size(makes=5, models=8, families=6))


@pytest.fixture(scope="module")
def jobs():
    return run_year(SMALL)


def test_the_same_seed_gives_the_same_year(jobs):
    assert [job["engine"] for job in run_year(Year(3, 12, size=SMALL.size))] == [
        job["engine"] for job in jobs[:12]
    ]


def test_every_policy_decides_every_job_and_pays_for_it(jobs):
    costs = open_shop(SMALL).costs
    for job in jobs:
        assert tuple(job) == POLICIES
        for one in job.values():
            mistake = 0.0 if one.right else costs.needless_search if one.article is None else costs.wrong
            assert one.cost >= mistake
            assert (one.cost > mistake) == (one.questions > 0)
            assert not (one.wrong_order and one.needless_search)


def test_the_engine_errs_less_and_costs_less_than_the_list_and_the_label(jobs):
    accounts = account_all(jobs)
    engine, bayes = accounts["engine"], accounts["bayes"]
    assert engine.wrong < 0.75 * accounts["label"].wrong < accounts["listed"].wrong
    assert engine.cost < 0.75 * accounts["label"].cost
    assert accounts["engine, cautious"].wrong <= accounts["engine, from 60 %"].wrong < engine.wrong + 1
    assert engine.questions <= 2.0
    # Nobody beats the simulator's own parameters by much, even on few jobs.
    assert bayes.cost < 1.1 * engine.cost
    assert engine.log_score is not None and bayes.log_score is not None
    assert engine.log_score < bayes.log_score + 0.05


def test_probabilities_of_the_bound_come_true(jobs):
    stated = [one for job in jobs for one in job["bayes"].stated]
    p, true = np.array([one.p for one in stated]), np.array([one.true for one in stated])
    for low, high in ((0.0, 0.3), (0.3, 0.7), (0.7, 1.01)):
        held = (p >= low) & (p < high)
        spread = math.sqrt(float((p[held] * (1 - p[held])).sum())) / max(1, held.sum())
        assert abs(true[held].mean() - p[held].mean()) < 4 * spread + 0.02


def test_what_is_stated_stands_beside_the_rule_on_the_same_answers(jobs):
    table = sort_bounds([job["engine"] for job in jobs])
    deciles = account_all(jobs)["engine"].deciles
    for one, plain in zip(table, deciles, strict=True):
        if one is not None:
            assert (one.cases, one.stated) == (plain.cases, pytest.approx(plain.stated))
    # What is stated of a job leaves little out, and the rule's chance of the same does.
    for job in jobs:
        assert 0.5 < sum(job["engine"].bound) < 1.0 + 1e-9
    most = table[9]
    assert most is not None and abs(most.deviation) < 0.1


def test_targets_are_read_off_the_same_jobs(jobs):
    held = {one.name: one.held for one in find_targets(jobs, policy="engine, cautious")}
    assert held["at most 2 questions a job"]
    assert held["wrong orders at most a third of `label`"]


def test_scaled_errors_are_scaled_and_nothing_else_is():
    doubled = scale_errors(Habits(), 2.0)
    for name in Habits.__slots__:
        factor = 2.0 if name in ERRORS else 1.0
        assert getattr(doubled, name) == pytest.approx(factor * getattr(Habits(), name))
    assert scale_errors(Habits(), 100.0).year_off == 0.95


def test_intervals_and_tables_of_the_accounting():
    # 81 of 263, as in Newcombe, Stat. Med. 17, 857 (1998): from memory, recomputed.
    one = wilson(81, 263)
    assert (round(one.low, 4), round(one.high, 4)) == (0.2553, 0.3662)
    assert compare([1.0, 2.0, 3.0], [2.0, 4.0, 6.0]).value == pytest.approx(0.5)
    table = sort_deciles([(0.95, True), (0.95, True), (0.05, False), (1.0, True)])
    assert [None if one is None else one.cases for one in table] == [1, *[None] * 8, 3]


def test_a_rule_without_pieces_is_the_bayes_rule_and_every_piece_is_taken():
    shop = open_shop(SMALL)
    draw = Random("customers 3")
    held = [draw_job(draw, shop.table) for _ in range(12)]
    plain, pieced = shop, replace(shop, rule=PiecedRule(shop.table, shop.index, shop.rates, ()))
    assert [pieced.serve_by_rule(job) for job in held] == [plain.serve_by_rule(job) for job in held]
    for piece in PIECES:
        taken = PiecedRule(shop.table, shop.index, shop.rates, (piece,))
        changed = [
            np.abs(
                taken.believe(job, job.answers).article - shop.rule.believe(job, job.answers).article
            ).max()
            for job in held
        ]
        assert max(changed) > 1e-6, piece
    with pytest.raises(ValueError, match="no such pieces"):
        PiecedRule(shop.table, shop.index, shop.rates, ("hunches",))


def test_the_pieces_are_weighed_on_the_same_jobs():
    held = decompose_year(Year(3, 10, size=SMALL.size))
    assert [job["none"] for job in held] == [job["bayes"] for job in run_year(Year(3, 10, size=SMALL.size))]
    rows = list(list_pieces(held))
    assert len(rows) == 2 + len(VARIANTS) + 1
    assert rows[2].split("|")[6].strip() == "1.00 (1.00 to 1.00)"
