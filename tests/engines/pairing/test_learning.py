"""What real runs teach a run sheet: shrinkage, bounded influence, and sheets that stay sound."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.pairing.chain import analyse_sheet
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.graph import list_ways
from bittern.engines.pairing.learning import (
    Proposal,
    Rule,
    RunRecord,
    VisitRecord,
    apply_proposals,
    propose_figures,
)
from bittern.engines.pairing.learning_times import Times, learn_times
from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Step
from tests.strategies.sheets import make_sheet, sound_sheets

TODAY = date(2031, 5, 5)
FINE = Step("fine", "end", "Done.", outcome="good")
OFF = Step("off", "end", "As it was.", outcome="unchanged")
TURN = Step("turn", "act", "Turn it.", 40, 120, then="which", fails=(Failure("off", 0.1, "dark"),))
WHICH = Step("which", "choose", "Again?", 4, 20, options=(Option("yes", "turn", 0.2), Option("no", "fine")))
SHEET = make_sheet(TURN, WHICH, FINE, OFF)


def draw_s(rng: np.random.Generator, typical_s: float, slowest_s: float, count: int = 1) -> np.ndarray:
    return typical_s + (slowest_s - typical_s) * (1 - np.sqrt(rng.random(count)))


def visit(seconds: float | None, how: str = "done", to: str = "which", choice: str = "") -> VisitRecord:
    return VisitRecord("turn" if how != "chosen" else "which", seconds, how, to, choice)


def run_of(*visits: VisitRecord, sheet: RunSheet = SHEET, age: int = 0) -> RunRecord:
    return RunRecord(sheet, TODAY - timedelta(days=age), visits)


def play(sheet: RunSheet, rng: np.random.Generator, age: int = 0) -> RunRecord:
    """Walk ``sheet`` by its own figures; the record is that of a real run."""
    visits: list[VisitRecord] = []
    at = sheet.steps[sheet.start]
    while at.kind != "end":
        ways = list_ways(at)
        chances = np.array([way.chance for way in ways])
        way = ways[rng.choice(len(ways), p=chances / chances.sum())]
        seconds = float(draw_s(rng, at.typical_s, at.slowest_s)[0])
        how = {"then": "done", "fail": "failed", "option": "chosen"}[way.kind]
        visits.append(VisitRecord(at.id, seconds, how, way.to, way.label if how == "chosen" else ""))
        at = sheet.steps[way.to]
    return RunRecord(sheet, TODAY - timedelta(days=age), tuple(visits))


def by_kind(proposals: tuple[Proposal, ...], step: str = "turn") -> dict[str, Proposal]:
    return {one.kind: one for one in proposals if one.step == step}


def get_mean_s(step: Step) -> float:
    return (2 * step.typical_s + step.slowest_s) / 3


def test_failures_are_those_of_the_dirichlet_posterior() -> None:
    runs = [run_of(visit(60, "failed", "off")) for _ in range(6)] + [run_of(visit(60)) for _ in range(14)]
    (figure,) = by_kind(propose_figures(SHEET, runs, today=TODAY))["failures"].figures
    # Nothing else was visited, so the family says nothing: (40 * 0.1 + 6) / (40 + 20).
    assert figure.proposed == pytest.approx(round(10 / 60, 3))
    assert figure.low < figure.proposed < figure.high


def test_a_family_that_fails_more_often_raises_the_chance_of_a_step_seen_little() -> None:
    other = replace(SHEET, id="heath-other")
    failing = [run_of(visit(None, "failed", "off"), sheet=other) for _ in range(8)]
    working = [run_of(visit(None), sheet=other) for _ in range(12)]
    own = [run_of(visit(60)) for _ in range(3)]
    assert "failures" in by_kind(propose_figures(SHEET, own, failing + working, today=TODAY))
    (figure,) = by_kind(propose_figures(SHEET, own, failing + working, today=TODAY))["failures"].figures
    factor = (4 + 8) / (4 + 2)
    prior = factor * 0.1 / (0.9 + factor * 0.1)
    assert figure.proposed == pytest.approx(round(40 * prior / 43, 3))
    # Without the family three runs that worked hardly move it.
    assert by_kind(propose_figures(SHEET, own, today=TODAY)).get("failures") is None or figure.proposed > 0.1


def test_choices_make_one_and_follow_what_was_taken() -> None:
    runs = [run_of(visit(5, "chosen", "turn", "yes")) for _ in range(20)]
    yes, no = by_kind(propose_figures(SHEET, runs, today=TODAY), "which")["choice"].figures
    assert yes.proposed == pytest.approx(round((40 * 0.2 + 20) / 60, 3))
    assert yes.proposed + no.proposed == pytest.approx(1, abs=1e-12)


def test_what_was_never_seen_stays_possible() -> None:
    rule = Rule(least_chance=1e-9)
    worked = [run_of(visit(60), visit(6, "chosen", "fine", "no")) for _ in range(3_000)]
    turn, which = (
        by_kind(propose_figures(SHEET, worked, today=TODAY, rule=rule), step) for step in ("turn", "which")
    )
    # The posterior means are 4 and 8 in 3,040.
    assert turn["failures"].figures[0].proposed == 0.002
    assert which["choice"].figures[0].proposed == pytest.approx(0.003)
    rare = make_sheet(
        replace(TURN, fails=(Failure("off", 0.0004, "dark"),)),
        replace(WHICH, options=(Option("yes", "turn", 0.0004), Option("no", "fine"))),
        FINE,
        OFF,
    )
    runs = [replace(one, sheet=rare) for one in worked]
    for proposal in propose_figures(rare, runs, today=TODAY, rule=rule):
        assert all(figure.proposed > 0 for figure in proposal.figures)
    after = apply_proposals(rare, propose_figures(rare, runs, today=TODAY, rule=rule))
    assert after.steps["turn"].fails[0].chance == 0.0004
    assert list_ways(after.steps["which"])[0].chance == pytest.approx(0.0004)


def test_one_run_that_goes_round_and_round_counts_as_five_visits() -> None:
    rule = Rule(fewest_runs=1, least_chance=0)
    many = [run_of(*[visit(60, "failed", "off") for _ in range(50)])]
    (figure,) = by_kind(propose_figures(SHEET, many, today=TODAY, rule=rule))["failures"].figures
    assert figure.proposed == pytest.approx(round((4 + 5) / 45, 3))


def test_a_run_of_a_year_ago_weighs_half_and_one_of_five_years_nothing() -> None:
    rule = Rule(fewest_runs=1, least_chance=0)

    def get_chance(age: int) -> float:
        runs = [run_of(visit(60, "failed", "off"), age=age) for _ in range(10)]
        found = by_kind(propose_figures(SHEET, runs, today=TODAY, rule=rule)).get("failures")
        return found.figures[0].proposed if found else 0.1

    assert get_chance(0) == pytest.approx(round((4 + 10) / 50, 3))
    assert get_chance(365) == pytest.approx(round((4 + 5) / 45, 3))
    assert get_chance(5 * 365) == 0.1


def test_odd_times_alone_propose_nothing() -> None:
    for times in ((5, 250), (0, 60), (600, 600)):
        wide = replace(TURN, typical_s=times[0], slowest_s=times[1])
        sheet = make_sheet(wide, WHICH, FINE, OFF)
        runs = [run_of(visit(1e5), sheet=sheet) for _ in range(4)]
        assert by_kind(propose_figures(sheet, runs, today=TODAY)) == {}


def test_two_steps_of_a_family_have_the_posterior_summed_up_at_length() -> None:
    # From the model's own words, over every mu, tau, theta and shape of both steps, with no step left out.
    seen = {"one": np.array([95.0, 120.0, 88.0]), "two": np.array([30.0, 41.0])}
    sheet_s = {"one": (40, 120), "two": (20, 30)}
    theta, shape = np.linspace(-1.5, 1.5, 201), np.geomspace(0.02, 3.0, 120)
    mu, tau = np.linspace(-0.6, 0.6, 25), (0.05, 0.1, 0.2, 0.3)
    likelihood = {}
    for name, (typical_s, slowest_s) in sheet_s.items():
        mean_s = (2 * typical_s + slowest_s) / 3
        means = mean_s * np.exp(theta)[:, None]
        width = means * shape
        spread = np.log(shape / ((slowest_s - typical_s) / mean_s)) / 0.25
        found = np.exp(-0.5 * spread**2) * np.ones_like(means)
        for second in seen[name]:
            left = (means + 2 * width / 3 - second) / width
            density = np.where((left >= 0) & (left <= 1), 2 * left / width, 0)
            found = found * (0.9 * density + 0.1 / (2 * np.log(30) * second))
        likelihood[name] = found
    posterior = np.zeros((len(theta), len(shape)))
    for one_mu in mu:
        for one_tau in tau:
            prior = np.exp(-0.5 * ((theta - one_mu) / one_tau) ** 2) / one_tau
            chance = np.exp(-0.5 * (one_mu / 0.15) ** 2) * float(prior @ likelihood["two"].sum(axis=1))
            posterior += chance * prior[:, None] * likelihood["one"]
    typical_s = (200 / 3 * np.exp(theta)[:, None] * (1 - shape / 3)).ravel()
    order = np.argsort(typical_s)
    behind = np.cumsum(posterior.ravel()[order]) / posterior.sum()
    times = {name: Times(*sheet_s[name], seconds, np.ones(len(seconds))) for name, seconds in seen.items()}
    learnt = learn_times(times, ["one"])["one"].typical
    expected = [float(typical_s[order][np.searchsorted(behind, chance)]) for chance in (0.05, 0.5, 0.95)]
    assert [learnt.low, learnt.value, learnt.high] == pytest.approx(expected, rel=0.02)


def test_old_times_weigh_less_than_new_ones() -> None:
    rng = np.random.default_rng(4)
    slow, usual = draw_s(rng, 80, 240, 10), draw_s(rng, 40, 120, 10)

    def get_typical_s(old: np.ndarray, new: np.ndarray) -> float:
        weights = np.array([0.1] * 10 + [1.0] * 10)
        times = Times(40, 120, np.concatenate([old, new]), weights)
        return learn_times({"turn": times}, ["turn"])["turn"].typical.value

    assert get_typical_s(slow, usual) < 0.75 * get_typical_s(usual, slow)


@pytest.mark.parametrize("truth", [(40, 120), (60, 200), (25, 60), (90, 95)])
def test_many_visits_find_the_times_that_people_take(truth: tuple[float, float]) -> None:
    rng = np.random.default_rng(5)
    seconds = draw_s(rng, *truth, 200)
    learnt = learn_times({"turn": Times(40, 120, seconds, np.ones(200))}, ["turn"])["turn"]
    assert learnt.typical.value == pytest.approx(truth[0], rel=0.06)
    # The tail is thin: of 200 visits about 2 lie in the last tenth of the width.
    assert learnt.slowest.value == pytest.approx(truth[1], rel=0.1)


@pytest.mark.parametrize("visits", [3, 10, 120])
def test_intervals_hold_the_truth_as_often_as_they_say(visits: int) -> None:
    # Truths drawn from the model's own prior, one visit in ten odd.
    rng = np.random.default_rng(11)
    held = np.zeros(2)
    cases = 200
    for _ in range(cases):
        mean_s = 60 * np.exp(rng.normal(rng.normal(0, 0.15), rng.choice([0.05, 0.1, 0.2, 0.3])))
        shape = 1.2 * np.exp(rng.normal(0, 0.25))
        typical_s, slowest_s = mean_s * (1 - shape / 3), mean_s * (1 + 2 * shape / 3)
        seconds = draw_s(rng, typical_s, slowest_s, visits)
        odd = rng.random(visits) < 0.1
        seconds[odd] = 60 * np.exp(rng.uniform(-np.log(30), np.log(30), odd.sum()))
        # Typical 36 and slowest 108 have the mean 60 and the shape 1.2.
        learnt = learn_times({"x": Times(36, 108, seconds, np.ones(visits))}, ["x"])["x"]
        held += (
            learnt.typical.low <= typical_s <= learnt.typical.high,
            learnt.slowest.low <= slowest_s <= learnt.slowest.high,
        )
    # 90 % with a standard error of 2.1 %.
    assert held / cases == pytest.approx([0.9, 0.9], abs=0.06)


@settings(deadline=None, max_examples=60)
@given(st.floats(0.001, 1e5), st.integers(3, 30), st.integers(0, 5))
def test_one_odd_time_moves_little(odd_s: float, count: int, seed: int) -> None:
    usual = draw_s(np.random.default_rng(seed), 40, 120, count)
    times = {"turn": Times(40, 120, usual, np.ones(count))}
    with_odd = {"turn": Times(40, 120, np.append(usual, odd_s), np.ones(count + 1))}
    before, after = (learn_times(one, ["turn"])["turn"] for one in (times, with_odd))
    means = [(2 * one.typical.value + one.slowest.value) / 3 for one in (before, after)]
    assert means[1] == pytest.approx(means[0], rel=0.6 / count + 0.06)


def test_a_family_that_is_slower_everywhere_slows_a_step_that_was_hardly_seen() -> None:
    rng = np.random.default_rng(3)
    family = {f"s{k}": Times(20, 50, draw_s(rng, 30, 75, 20), np.ones(20)) for k in range(6)}
    hardly = Times(40, 120, np.array([75.0]), np.ones(1))
    alone = learn_times({"turn": hardly}, ["turn"])["turn"]
    together = learn_times({"turn": hardly} | family, ["turn"])["turn"]
    assert together.typical.value > 1.2 * alone.typical.value
    # What was seen of the step itself goes before what its family does.
    seen = Times(40, 120, draw_s(rng, 40, 120, 100), np.ones(100))
    own = learn_times({"turn": seen} | family, ["turn"])["turn"]
    assert own.typical.value == pytest.approx(40, rel=0.08)


def test_a_typical_time_beyond_the_window_is_said_and_kept_within() -> None:
    step = replace(TURN, typical_s=20, slowest_s=25, window_s=30)
    sheet = make_sheet(step, WHICH, FINE, OFF)
    rng = np.random.default_rng(2)
    runs = [run_of(visit(float(s)), sheet=sheet) for s in draw_s(rng, 45, 60, 20)]
    proposals = propose_figures(sheet, runs, today=TODAY)
    assert "the window is 30 s" in by_kind(proposals)["time"].caution
    after = apply_proposals(sheet, proposals)
    assert after.steps["turn"].typical_s == 30
    assert find_sheet_faults(after) == []


def test_a_step_whose_words_have_changed_learns_nothing_from_before() -> None:
    changed = replace(TURN, say="Push it.")
    sheet = make_sheet(changed, WHICH, FINE, OFF)
    runs = [run_of(visit(300, "failed", "off")) for _ in range(20)]
    assert by_kind(propose_figures(sheet, runs, today=TODAY)) == {}
    assert by_kind(propose_figures(SHEET, runs, today=TODAY)) != {}


def test_few_runs_and_runs_of_other_sheets_propose_nothing() -> None:
    runs = [run_of(visit(300, "failed", "off")) for _ in range(2)]
    assert propose_figures(SHEET, runs, today=TODAY) == ()
    others = [replace(one, sheet=replace(SHEET, id="other")) for one in runs * 10]
    assert propose_figures(SHEET, others, others, today=TODAY) == ()


def test_a_proposal_for_a_sheet_that_has_changed_since_is_left_out() -> None:
    runs = [run_of(visit(300, "failed", "off")) for _ in range(20)]
    proposals = propose_figures(SHEET, runs, today=TODAY)
    assert {one.kind for one in proposals} == {"time", "failures"}
    gone = make_sheet(replace(TURN, id="go", then="fine"), FINE, OFF)
    assert apply_proposals(gone, proposals) == gone
    other = make_sheet(replace(TURN, fails=()), WHICH, FINE, OFF)
    assert apply_proposals(other, proposals).steps["turn"].fails == ()


@settings(deadline=None, max_examples=30)
@given(sound_sheets(most_steps=5), st.integers(0, 2**16), st.floats(0.3, 4), st.data())
def test_any_part_of_the_proposals_leaves_a_sound_sheet_sound(
    sheet: RunSheet, seed: int, slower: float, data: st.DataObject
) -> None:
    rng = np.random.default_rng(seed)
    runs = []
    for age in range(8):
        run = play(sheet, rng, 90 * age)
        slow = [replace(one, seconds=one.seconds and one.seconds * slower) for one in run.visits]
        runs.append(replace(run, visits=tuple(slow)))
    proposals = propose_figures(sheet, runs, today=TODAY, rule=Rule(least_chance=1e-9, least_time=0))
    part = data.draw(st.lists(st.sampled_from(proposals), unique=True)) if proposals else []
    after = apply_proposals(sheet, part)
    unreached = "a step that nothing reaches"
    assert {one.found for one in find_sheet_faults(after)} <= {unreached}
    analyse_sheet(after)
    assert [step.id for step in after.steps.values()] == list(sheet.steps)
    for step in after.steps.values():
        before = sheet.steps[step.id]
        keep = {"typical_s": 0, "slowest_s": 0, "fails": (), "options": ()}
        assert replace(step, **keep) == replace(before, **keep)  # type: ignore[arg-type]
        # A way that was possible stays possible.
        for old, new in zip(list_ways(before), list_ways(step), strict=True):
            assert (old.to, old.label) == (new.to, new.label)
            assert (new.chance > 0) or old.chance == 0
    # Taken once, they are not proposed again.
    taken = apply_proposals(sheet, proposals)
    kinds = {(one.step, one.kind) for one in propose_figures(taken, runs, today=TODAY, base=sheet)}
    assert kinds == set()


def test_the_figures_of_a_played_sheet_are_found_again() -> None:
    truth = make_sheet(
        replace(TURN, typical_s=60, slowest_s=150, fails=(Failure("off", 0.25, "dark"),)),
        replace(WHICH, options=(Option("yes", "turn", 0.5), Option("no", "fine"))),
        FINE,
        OFF,
    )
    rng = np.random.default_rng(8)
    records = [replace(play(truth, rng), sheet=SHEET) for _ in range(300)]
    after = apply_proposals(SHEET, propose_figures(SHEET, records, today=TODAY))
    assert get_mean_s(after.steps["turn"]) == pytest.approx(get_mean_s(truth.steps["turn"]), rel=0.05)
    assert after.steps["turn"].fails[0].chance == pytest.approx(0.25, abs=0.05)
    assert after.steps["which"].options[0].chance == pytest.approx(0.5, abs=0.06)
    figures = [analyse_sheet(one) for one in (SHEET, after, truth)]
    assert abs(figures[1].p_good - figures[2].p_good) < 0.3 * abs(figures[0].p_good - figures[2].p_good)


def test_keys_of_proposals_tell_them_apart() -> None:
    runs = [run_of(visit(300, "failed", "off"), visit(30, "chosen", "turn", "yes")) for _ in range(20)]
    proposals = propose_figures(SHEET, runs, today=TODAY)
    for one, other in itertools.combinations(proposals, 2):
        assert one.key != other.key
    assert len(proposals) == 4
