"""What finished jobs teach: closed forms, bounds, order, and convergence to what is true."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.core.beta import beta_interval
from bittern.core.channel import CHANNEL_BY_HOW
from bittern.engines.key.comparison import count_errors
from bittern.engines.key.evidence import Observation, Vehicle
from bittern.engines.key.identification import identify
from bittern.engines.key.index import KeyIndex
from bittern.engines.key.learning import OUTSIDE, LearntCell, Lesson, Rule, lay_learnt, learn_shares
from bittern.engines.key.learnt import learn
from bittern.engines.key.prior import prior_of
from bittern.engines.key.rates import Rates
from tests.engines.key.toy import toy_catalogue

INDEX = KeyIndex(toy_catalogue())
RATES, RULE = Rates(), Rule()
TODAY = date(2031, 3, 3)
FLOOR = RATES.outside_floor
# The toy's turn keys of 2014 and 2015, with what is outside.
LISTED = {"M-0": 0.1 * (1 - FLOOR), "T-2": 0.5 * (1 - FLOOR), "T-3": 0.3 * (1 - FLOOR)}
LISTED[OUTSIDE] = 1 - sum(LISTED.values())
ARTICLES = ("M-0", "T-2", "T-3", "T-1", "P-4", OUTSIDE)


def lesson(article: str, *, days: int = 0, year: int | None = 2015, **more: object) -> Lesson:
    values: dict[str, object] = {"make": "heron", "model": "One", "start": "turn"} | more
    return Lesson(TODAY - timedelta(days=days), year=year, article=article, **values)  # type: ignore[arg-type]


def only_cell(lessons: list[Lesson], rule: Rule = RULE) -> LearntCell:
    cells = learn_shares(INDEX, lessons, TODAY, RATES, rule).cells
    assert len(cells) == 1
    return cells[0]


def shares_of(cell: LearntCell) -> dict[str, float]:
    return {one.article: one.learnt for one in cell.shares}


some_lessons = st.lists(
    st.builds(
        lesson,
        st.sampled_from(ARTICLES),
        days=st.integers(0, 4000),
        outcome=st.sampled_from(["fitted", "wrong"]),
        case=st.integers(0, 3),
    ),
    max_size=12,
)


def test_nothing_learnt_leaves_everything_as_it_was() -> None:
    learnt = learn(INDEX, [], TODAY)
    assert learnt.index is INDEX
    assert learnt.rates == Rates()
    assert (learnt.shares.cells, learnt.moved_rates) == ((), ())


@given(st.lists(st.tuples(st.sampled_from(ARTICLES), st.integers(0, 2000)), min_size=1, max_size=12))
def test_shares_are_the_mean_of_the_dirichlet_posterior(jobs: list[tuple[str, int]]) -> None:
    """Brute force against the textbook: pseudo-counts plus decayed counts, over their sum."""
    cell = only_cell([lesson(article, days=days) for article, days in jobs])
    weights = [(article, 2 ** -(days / 730)) for article, days in jobs]
    total = 20 + sum(w for _, w in weights)
    for one in cell.shares:
        listed = LISTED.get(one.article, 0.0)
        mean = (20 * listed + sum(w for article, w in weights if article == one.article)) / total
        assert one.listed == pytest.approx(listed)
        assert one.learnt == pytest.approx(0.98 * mean + 0.02 * listed)


def test_the_posterior_mean_agrees_with_integration() -> None:
    """Two outcomes: Bayes' rule summed over a fine grid of the unknown share, no formula of Dirichlet's."""
    rule = replace(RULE, kept=0.0)
    cell = only_cell([lesson("T-2")] * 7 + [lesson("T-3")] * 2, rule)
    a, b = 20 * LISTED["T-2"], 20 * (1 - LISTED["T-2"])
    grid = [(i + 0.5) / 20_000 for i in range(20_000)]
    density = [x ** (a - 1 + 7) * (1 - x) ** (b - 1 + 2) for x in grid]
    mean = sum(x * d for x, d in zip(grid, density, strict=True)) / sum(density)
    assert shares_of(cell)["T-2"] == pytest.approx(mean, abs=1e-6)


@given(some_lessons)
def test_shares_sum_to_one_and_no_listed_share_is_forgotten(lessons: list[Lesson]) -> None:
    for cell in learn_shares(INDEX, lessons, TODAY, RATES, RULE).cells:
        assert sum(shares_of(cell).values()) == pytest.approx(1.0)
        for one in cell.shares:
            assert one.learnt >= 0.02 * one.listed
            low, high = one.interval
            assert 0.0 <= low <= high <= 1.0


@given(
    some_lessons, st.builds(lesson, st.sampled_from(ARTICLES), outcome=st.sampled_from(["fitted", "wrong"]))
)
def test_one_job_moves_no_share_by_more_than_one_in_twenty_one(lessons: list[Lesson], one: Lesson) -> None:
    known = [one for one in lessons if one.outcome == "fitted"]
    before, after = (
        learn_shares(INDEX, jobs, TODAY, RATES, RULE).cells
        for jobs in (known, [*known, replace(one, case=0)])
    )
    old = shares_of(before[0]) if before else LISTED
    for article, share in shares_of(after[0]).items():
        assert abs(share - old.get(article, 0.0)) <= 1 / 21 + 1e-12


@given(some_lessons, st.sampled_from(ARTICLES))
def test_a_job_that_fitted_never_lowers_its_share(lessons: list[Lesson], article: str) -> None:
    known = [one for one in lessons if one.outcome == "fitted"]
    before = learn_shares(INDEX, known, TODAY, RATES, RULE).cells
    after = only_cell([*known, lesson(article)])
    old = shares_of(before[0]) if before else LISTED
    assert shares_of(after)[article] >= old.get(article, 0.0) - 1e-12


@given(some_lessons, st.sampled_from(["M-0", "T-2", "T-3"]))
def test_a_refused_article_loses_and_no_other_does(lessons: list[Lesson], article: str) -> None:
    known = [one for one in lessons if one.outcome == "fitted" and not one.case]
    before = learn_shares(INDEX, known, TODAY, RATES, RULE).cells
    after = shares_of(only_cell([*known, lesson(article, outcome="wrong")]))
    old = shares_of(before[0]) if before else LISTED
    assert after[article] < old[article]
    assert all(share >= old[name] - 1e-12 for name, share in after.items() if name != article)


def test_a_vehicle_counts_once_however_many_articles_it_refused() -> None:
    refused = [lesson("T-2", outcome="wrong", case=7), lesson("M-0", outcome="wrong", case=7)]
    with_refusals = only_cell([lesson("T-3", case=7), *refused])
    assert shares_of(with_refusals) == shares_of(only_cell([lesson("T-3")]))
    assert {one.article: one.refused for one in with_refusals.shares if one.refused} == {"M-0": 1, "T-2": 1}


@given(some_lessons, st.randoms())
def test_order_does_not_matter(lessons: list[Lesson], draw: random.Random) -> None:
    other = lessons[:]
    draw.shuffle(other)
    one, two = learn(INDEX, lessons, TODAY), learn(INDEX, other, TODAY)
    assert (one.shares, one.rates, one.moved_rates) == (two.shares, two.rates, two.moved_rates)


def test_years_with_the_same_rows_learn_together_and_others_do_not() -> None:
    cell = only_cell([lesson("T-2", year=2017)])
    # Since 2016 the mechanical key is not listed any more.
    assert (cell.year_from, cell.year_to) == (2016, 2017)
    learnt = lay_learnt(INDEX, learn_shares(INDEX, [lesson("T-2", year=2017)] * 9, TODAY, RATES, RULE), RATES)

    def chance(index: KeyIndex, year: int) -> float:
        vehicle = Vehicle(make="Heron", model="One", year=year, year_sure=True, start="turn")
        found = prior_of(index, vehicle, replace(RATES, unlisted=0.0)).article
        return float(found[INDEX.position["T-2"]].sum())

    assert chance(learnt, 2015) == pytest.approx(chance(INDEX, 2015))
    assert chance(learnt, 2016) > chance(INDEX, 2016) + 0.05


def test_what_is_laid_out_for_identification_is_what_was_learnt() -> None:
    lessons = [lesson("T-2")] * 5 + [lesson("P-4")] * 2 + [lesson(OUTSIDE)]
    cell = only_cell(lessons)
    learnt = learn(INDEX, lessons, TODAY)
    vehicle = Vehicle(make="Heron", model="One", year=2015, year_sure=True)
    prior = prior_of(learnt.index, vehicle, replace(RATES, unlisted=0.0))
    for one in cell.shares[:-1]:
        assert prior.article[INDEX.position[one.article]].sum() == pytest.approx(one.learnt)
    assert prior.outside.sum() == pytest.approx(cell.shares[-1].learnt)
    # The push remote is not listed for this year: the shop's own fitment.
    assert prior.listed[INDEX.position["P-4"]]
    assert not prior_of(INDEX, vehicle, RATES).listed[INDEX.position["P-4"]]


def test_a_vehicle_without_any_row_becomes_listed_for_this_shop() -> None:
    jobs = [Lesson(TODAY, "Wader", "Nine", 2012, "turn", "T-1")] * 3
    learnt = learn(INDEX, jobs, TODAY)
    nine = Vehicle(make="wader", model="nine", year=2012, year_sure=True)
    found = identify(learnt.index, nine, [], rates=replace(RATES, unlisted=0.0))
    p = {one.article: one.probability for one in found.candidates}["T-1"]
    assert 0.1 < p < 0.2
    assert found.outside_pack > 0.75


def test_what_has_no_cell_is_counted_and_changes_nothing() -> None:
    jobs = [lesson("T-2", year=None), lesson("T-2", model=""), lesson("T-2", year=2015, start="push")]
    found = learn_shares(INDEX, jobs, TODAY, RATES, RULE)
    assert (found.cells, found.unplaced) == ((), 3)


def test_a_start_that_nobody_recorded_follows_from_the_article() -> None:
    found = learn_shares(INDEX, [lesson("P-4", year=2016, start="")], TODAY, RATES, RULE)
    assert [(one.start, one.year_from, one.year_to) for one in found.cells] == [("push", 2016, 2017)]


def test_an_article_that_the_pack_no_longer_has_counts_as_outside() -> None:
    assert shares_of(only_cell([lesson("gone")])) == shares_of(only_cell([lesson(OUTSIDE)]))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_shares_converge_to_the_true_ones(seed: int) -> None:
    true = {"M-0": 0.05, "T-2": 0.15, "T-3": 0.5, "T-1": 0.1, OUTSIDE: 0.2}
    draw = random.Random(seed)
    off = []
    for jobs in (50, 4000):
        names = draw.choices(list(true), list(true.values()), k=jobs)
        found = shares_of(only_cell([lesson(name) for name in names]))
        off.append(max(abs(found.get(name, 0.0) - share) for name, share in true.items()))
    # Three standard deviations of a share at most, and what is kept of the list.
    assert off[1] < 3 * (0.25 / 4000) ** 0.5 + 0.02
    assert off[1] < off[0]


# Errors.


def see(kind: str, value: object, how: str = "seen") -> Observation:
    return Observation(kind, value, how)  # type: ignore[arg-type]


def rate_of(lessons: list[Lesson], name: str, how: str = "") -> float:
    found = {(one.name, one.how): one for one in learn(INDEX, lessons, TODAY).moved_rates}
    return found[name, how].learnt


def test_a_rate_is_the_mean_of_the_beta_posterior() -> None:
    # The start is about the vehicle: no foreign key blurs it.
    jobs = [lesson("T-2", observations=(see("start", "push", "told"),))] * 2
    jobs += [lesson("T-2", observations=(see("start", "turn", "told"),))] * 8
    assert rate_of(jobs, "start_wrong", "told") == pytest.approx((60 * 0.03 + 2) / (60 + 10))
    assert learn(INDEX, jobs, TODAY).rates.start_wrong.told == rate_of(jobs, "start_wrong", "told")
    assert learn(INDEX, jobs, TODAY).rates.start_wrong.seen == RATES.start_wrong.seen


def test_a_question_that_had_no_answer_is_a_trial_of_its_own() -> None:
    jobs = [lesson("T-2", observations=(see("fcc_id", None),))] * 3
    assert rate_of(jobs, "null:fcc_id:has") == pytest.approx((60 * 0.30 + 3) / 63)


@given(st.integers(0, 6), st.integers(0, 6))
def test_one_more_error_never_lowers_its_rate(wrong: int, right: int) -> None:
    def jobs(wrong: int) -> list[Lesson]:
        return [lesson("T-2", observations=(see("button_count", 3),))] * wrong + [
            lesson("T-2", observations=(see("button_count", 2),))
        ] * (right + 1)

    assert rate_of(jobs(wrong + 1), "miscount", "seen") >= rate_of(jobs(wrong), "miscount", "seen") - 1e-9


def test_a_button_overlooked_in_list_and_number_is_one_slip() -> None:
    two = next(one for one in INDEX.articles if one.article == "T-2").buttons
    seen = (see("button_count", len(two) - 1), see("buttons", two[:-1]))
    jobs = [lesson("T-2", observations=seen)] * 4
    learnt = learn(INDEX, jobs, TODAY)
    (found,) = (one for one in learnt.moved_rates if one.name == "overlooked")
    assert (found.cases, found.trials) == (4, pytest.approx(found.wrong))
    assert found.wrong > 3.0
    assert rate_of(jobs, "miscount", "seen") < RATES.miscount.seen
    assert rate_of(jobs, "missed", "seen") < RATES.missed.seen


def test_a_key_that_contradicts_everything_is_foreign_rather_than_misread() -> None:
    odd = (see("fcc_id", "2AB7Q9ZT1"), see("button_count", 4), see("blade", "heron-5"))
    one = [lesson("T-2", observations=odd)]
    # The job counts nearly whole as a foreign key, and next to nothing as three errors.
    assert rate_of(one, "foreign") > (60 * 0.03 + 0.9) / 61
    assert rate_of(one, "miscount", "seen") == pytest.approx(RATES.miscount.seen, abs=0.002)
    assert rate_of(one, "elsewhere_fcc", "seen") == pytest.approx(0.01, abs=0.002)


def test_misread_identifiers_widen_their_channel_alone() -> None:
    jobs = [lesson("T-2", observations=(see("fcc_id", "KX4-HM2Z", "read-aloud"),))] * 20
    learnt = learn(INDEX, jobs, TODAY)
    assert learnt.rates.channel["read-aloud"].look_alike > 1.5 * CHANNEL_BY_HOW["read-aloud"].look_alike
    assert learnt.rates.channel["seen"] == CHANNEL_BY_HOW["seen"]
    same = [lesson("T-2", observations=(see("fcc_id", "KX4HM22", "read-aloud"),))] * 20
    narrow = learn(INDEX, same, TODAY).rates.channel["read-aloud"]
    assert narrow.look_alike < CHANNEL_BY_HOW["read-aloud"].look_alike


@pytest.mark.parametrize(
    ("label", "reading", "errors"),
    [
        ("KX4-HM22", "fcc id: kx4 hm22", 0), ("KX4-HM22", "KX4-HM", 1), ("KX4-HM22", "KX4-MH22", 1),
        ("KX4-HM22", "KX4-H22", 1), ("KX4-HM22", "KX4-HMM22", 1), ("KX4-HM22", "KX4-HNZ2", 2),
        ("KX4-HM22", "KX4-HB31", 3),
    ],
)  # fmt: skip
def test_slips_are_counted(label: str, reading: str, errors: int) -> None:
    assert count_errors(label, reading) == errors


@pytest.mark.parametrize("seed", [11, 12])
def test_error_rates_converge_to_the_true_ones(seed: int) -> None:
    """Keys shown and read by known rates, some foreign; nobody tells which."""
    draw = random.Random(seed)
    true = {"foreign": 0.12, "miscount": 0.15, "category_wrong": 0.20, "overlooked": 0.10, "missed": 0.01}
    articles = {one.article: one for one in INDEX.articles}
    weight = INDEX.general.of_articles(np.arange(len(INDEX))).tolist()
    jobs = []
    for _ in range(6000):
        truth = draw.choice(["T-2", "T-3"])
        # As the model has it: any key of the pack, by how often it turns up, be it by chance the same.
        stray = draw.choices(INDEX.articles, weight)[0]
        shown = stray if draw.random() < true["foreign"] else articles[truth]
        unseen = draw.choice(shown.buttons) if shown.buttons and draw.random() < true["overlooked"] else ""
        visible = [one for one in shown.buttons if one != unseen]
        count = len(visible) + (draw.random() < true["miscount"])
        blades = [one.blade for one in INDEX.articles]
        blade = draw.choice(blades) if draw.random() < true["category_wrong"] else shown.blade
        words = tuple(one for one in visible if draw.random() >= true["missed"])
        seen = (see("button_count", count), see("blade", blade), see("buttons", words))
        jobs.append(lesson(truth, observations=seen))
    found = learn(INDEX, jobs, TODAY).rates
    assert found.foreign == pytest.approx(true["foreign"], abs=0.03)
    assert found.miscount.seen == pytest.approx(true["miscount"], abs=0.03)
    # One button left out by itself is taken for one overlooked: of two or three buttons with 1 in 100 each.
    assert found.overlooked == pytest.approx(true["overlooked"] + 0.025, abs=0.02)
    assert found.missed.seen < 0.01
    # Of the blades named at random three in five are right by chance, and count as right.
    assert found.category_wrong.seen == pytest.approx(true["category_wrong"] * 0.4, abs=0.03)


@pytest.mark.parametrize(("a", "b", "low", "high"), [(1.0, 3.0, 0.016952, 0.631597), (1.0, 1.0, 0.05, 0.95)])
def test_intervals_of_a_beta_distribution(a: float, b: float, low: float, high: float) -> None:
    """With a = 1 the distribution function is 1 - (1 - x)^b, so quantiles are 1 - (1 - p)^(1/b)."""
    assert low == pytest.approx(1 - 0.95 ** (1 / b), abs=1e-6)
    assert high == pytest.approx(1 - 0.05 ** (1 / b), abs=1e-6)
    assert beta_interval(a, b) == pytest.approx((low, high), abs=1e-3)
    assert beta_interval(0.0, b) == (0.0, 0.0)


def test_a_refusal_is_evidence_against_one_article() -> None:
    vehicle = Vehicle(make="Heron", model="One", year=2015, year_sure=True)
    label = [see("fcc_id", "KX4-HM22")]

    def odds(vehicle: Vehicle, label: list[Observation]) -> float:
        found = {one.article: one.probability for one in identify(INDEX, vehicle, label).candidates}
        return found["T-2"] / (1 - found["T-2"])

    for seen in ([], label):
        tried = replace(vehicle, refused=(("T-2", 0.05),))
        assert odds(tried, seen) == pytest.approx(0.05 * odds(vehicle, seen), rel=1e-6)
        twice = replace(vehicle, refused=(("T-2", 0.05), ("T-2", 0.05), ("gone", 0.05)))
        assert odds(twice, seen) == pytest.approx(0.0025 * odds(vehicle, seen), rel=1e-6)
