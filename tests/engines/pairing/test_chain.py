"""The figures of run sheets: closed forms, published chains, and runs played by chance."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from bittern.engines.pairing.chain import (
    SheetFigures,
    analyse_sheet,
    find_outcome_chances,
    find_time_quantiles,
)
from bittern.engines.pairing.duration import duration_variance_s2, lattice_duration, mean_duration_s
from bittern.engines.pairing.errors import SheetUnsoundError
from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Step
from tests.engines.pairing.simulation import simulate
from tests.strategies.sheets import make_sheet, sound_sheets

FINE = Step("fine", "end", "Done.", outcome="good")
AS_IT_WAS = Step("as-it-was", "end", "Nothing changed.", outcome="unchanged")
STUCK = Step("stuck", "end", "No key works.", outcome="stranded", recovery="The maker's workshop comes.")


def act(name: str, typical_s: float, slowest_s: float, then: str, *fails: Failure) -> Step:
    return Step(name, "act", f"Do {name}.", typical_s, slowest_s, then=then, fails=fails)


def get_chances(figures: SheetFigures) -> tuple[float, float, float]:
    return figures.p_good, figures.p_unchanged, figures.p_stranded


def triangular_quantile_s(typical_s: float, slowest_s: float, chance: float) -> float:
    return slowest_s - (slowest_s - typical_s) * math.sqrt(1 - chance)


def test_one_step_has_the_figures_of_its_triangle() -> None:
    figures = analyse_sheet(make_sheet(act("turn", 30, 90, "fine"), FINE))
    assert get_chances(figures) == (1.0, 0.0, 0.0)
    assert figures.time_mean_s == pytest.approx((2 * 30 + 90) / 3, rel=1e-13)
    assert figures.time_sd_s == pytest.approx(60 / math.sqrt(18), rel=1e-12)
    assert figures.time_p50_s == pytest.approx(triangular_quantile_s(30, 90, 0.5), rel=2e-4)
    assert figures.time_p90_s == pytest.approx(triangular_quantile_s(30, 90, 0.9), rel=2e-4)


def test_constant_times_give_exact_quantiles() -> None:
    figures = analyse_sheet(make_sheet(act("turn", 12.5, 12.5, "hold"), act("hold", 0.3, 0.3, "fine"), FINE))
    assert figures.time_mean_s == pytest.approx(12.8, rel=1e-13)
    assert figures.time_sd_s == pytest.approx(0, abs=1e-5)
    assert figures.time_p50_s == pytest.approx(12.8, rel=1e-12)
    assert figures.time_p90_s == pytest.approx(12.8, rel=1e-12)


@pytest.mark.parametrize("again", [0.1, 0.5, 0.55, 0.9, 0.99, 0.999])
def test_a_constant_step_tried_again_is_geometric(again: float) -> None:
    figures = analyse_sheet(make_sheet(act("turn", 7, 7, "fine", Failure("turn", again)), FINE))
    assert figures.time_mean_s == pytest.approx(7 / (1 - again), rel=1e-9)
    assert figures.time_sd_s == pytest.approx(7 * math.sqrt(again) / (1 - again), rel=1e-6)
    for chance, found_s in ((0.5, figures.time_p50_s), (0.9, figures.time_p90_s)):
        # A little less than an exact tie (0.5 of 0.5, 0.9 of 0.1) counts as reached.
        tries = math.ceil(math.log(1 - chance) / math.log(again) - 1e-6)
        assert found_s == pytest.approx(7 * tries, rel=3e-4)


@pytest.mark.parametrize("again", [0.25, 0.5, 0.6, 0.75, 0.9])
@pytest.mark.parametrize("took_s", [3, 7, 10])
def test_a_chance_that_is_met_exactly_is_met(again: float, took_s: float) -> None:
    sheet = make_sheet(act("turn", took_s, took_s, "fine", Failure("turn", again)), FINE)
    for tries in range(1, 9):
        # With so many tries it is over with exactly this chance.
        chance = 1 - again**tries
        if chance < 0.999:
            assert find_time_quantiles(sheet, [chance]) == [pytest.approx(took_s * tries, rel=1e-9)]


def test_a_rare_long_detour_spoils_neither_quantile() -> None:
    detour = act("wait", 1_000, 100_000, "fine")
    figures = analyse_sheet(make_sheet(act("turn", 1, 1, "fine", Failure("wait", 0.11)), detour, FINE))
    assert figures.time_p50_s == pytest.approx(1.0, rel=1e-4)
    expected_s = 1 + triangular_quantile_s(1_000, 100_000, 1 - 0.1 / 0.11)
    assert figures.time_p90_s == pytest.approx(expected_s, rel=5e-4)


def test_a_short_median_beside_a_long_ninth_decile_keeps_its_own_grid() -> None:
    detour = act("wait", 1_000, 100_000, "fine")
    figures = analyse_sheet(make_sheet(act("turn", 1, 4, "fine", Failure("wait", 0.11)), detour, FINE))
    assert figures.time_p50_s == pytest.approx(triangular_quantile_s(1, 4, 0.5 / 0.89), rel=2e-4)
    assert figures.time_p90_s > 1_000


def test_sheets_that_take_no_time_say_so() -> None:
    for sheet in (make_sheet(FINE), make_sheet(act("turn", 0, 0, "fine", Failure("turn", 0.3)), FINE)):
        figures = analyse_sheet(sheet)
        times = (figures.time_mean_s, figures.time_sd_s, figures.time_p50_s, figures.time_p90_s)
        assert times == (0, 0, 0, 0)
        assert get_chances(figures) == (1, 0, 0)
    assert get_chances(analyse_sheet(make_sheet(STUCK))) == (0, 0, 1)


def test_a_quantile_may_be_zero_when_the_mean_is_not() -> None:
    choose = Step("which", "choose", "", options=(Option("a", "fine", 0.95), Option("b", "turn")))
    figures = analyse_sheet(make_sheet(choose, act("turn", 5, 50, "fine"), FINE))
    assert figures.time_mean_s == pytest.approx(0.05 * 20)
    assert (figures.time_p50_s, figures.time_p90_s) == (0, 0)


def test_the_drunkards_walk_as_a_run_sheet() -> None:
    # Grinstead & Snell, Introduction to Probability, examples 11.13 to 11.15: from the middle corner of four
    # blocks both ends are equally likely after 4 steps on average; variance 8 by calculation.
    ways = {"one": ("as-it-was", "two"), "two": ("one", "three"), "three": ("two", "fine")}
    steps = [
        Step(name, "choose", "", 1, 1, options=(Option("left", left), Option("right", right)))
        for name, (left, right) in ways.items()
    ]
    figures = analyse_sheet(make_sheet(*steps, FINE, AS_IT_WAS, start="two"))
    assert get_chances(figures) == pytest.approx((0.5, 0.5, 0.0), abs=1e-14)
    assert figures.time_mean_s == pytest.approx(4, rel=1e-13)
    assert figures.time_sd_s == pytest.approx(math.sqrt(8), rel=1e-12)
    # Only even numbers of steps end it: P(T <= 2k) = 1 - 2^-k.
    assert (figures.time_p50_s, figures.time_p90_s) == pytest.approx((2, 8), rel=1e-9)


def test_the_leaning_walk_as_a_run_sheet() -> None:
    # Grinstead & Snell, exercise 11.2.8: from the first corner home with 8/15, in 17/5 steps.
    third = 1 / 3
    steps = [
        act("one", 1, 1, "two", Failure("as-it-was", third)),
        act("two", 1, 1, "three", Failure("one", third)),
        act("three", 1, 1, "fine", Failure("two", third)),
    ]
    figures = analyse_sheet(make_sheet(*steps, FINE, AS_IT_WAS))
    assert get_chances(figures) == pytest.approx((8 / 15, 7 / 15, 0), rel=1e-13)
    assert figures.time_mean_s == pytest.approx(17 / 5, rel=1e-13)


def test_a_failing_visit_takes_its_whole_time() -> None:
    figures = analyse_sheet(make_sheet(act("turn", 10, 40, "fine", Failure("stuck", 1.0)), FINE, STUCK))
    assert get_chances(figures) == (0, 0, 1)
    assert figures.time_mean_s == pytest.approx(20)


def test_options_share_what_the_others_leave() -> None:
    options = (Option("a", "fine", 0.5), Option("b", "as-it-was"), Option("c", "stuck"))
    choose = Step("which", "choose", "", 1, 1, options=options, fails=(Failure("stuck", 0.2),))
    figures = analyse_sheet(make_sheet(choose, FINE, AS_IT_WAS, STUCK))
    assert get_chances(figures) == pytest.approx((0.4, 0.2, 0.2 + 0.2), rel=1e-13)


def test_steps_that_nothing_reaches_do_not_disturb() -> None:
    lost = act("lost", 5, 5, "nowhere")
    assert analyse_sheet(make_sheet(act("turn", 5, 9, "fine"), FINE, lost)).p_good == 1


@pytest.mark.parametrize(
    ("sheet", "where"),
    [
        (make_sheet(FINE, start="nowhere"), "start"),
        (make_sheet(act("turn", 1, 1, "nowhere"), FINE), "turn"),
        (make_sheet(act("turn", 1, 1, "", Failure("fine", 0.2)), FINE), "turn"),
        (make_sheet(act("turn", 1, 1, "hold"), act("hold", 1, 1, "turn"), FINE), "turn"),
        (make_sheet(act("turn", 1, 1, "fine", Failure("turn", 1.0)), FINE), "turn"),
        (make_sheet(act("turn", 1, 1, "fine", Failure("turn", 0.7), Failure("fine", 0.7)), FINE), "turn"),
        (make_sheet(Step("which", "choose", "", options=(Option("a", "fine", 0.4),)), FINE), "which"),
        (make_sheet(Step("which", "choose", ""), FINE), "which"),
        (make_sheet(act("turn", 1, 1, "end"), Step("end", "end", "")), "turn"),
        (make_sheet(Step("end", "end", "")), "end"),
    ],
)
def test_sheets_whose_figures_mean_nothing_are_refused(sheet: RunSheet, where: str) -> None:
    with pytest.raises(SheetUnsoundError) as caught:
        analyse_sheet(sheet)
    assert caught.value.where == where


def test_impossible_times_leave_the_chances() -> None:
    sheet = make_sheet(act("turn", 9, 5, "fine", Failure("stuck", 0.25)), FINE, STUCK)
    assert find_outcome_chances(sheet) == pytest.approx({"good": 0.75, "unchanged": 0, "stranded": 0.25})
    with pytest.raises(SheetUnsoundError):
        analyse_sheet(sheet)


def test_points_of_no_return_are_listed_in_the_order_written() -> None:
    steps = [
        Step("b", "act", "Do.", then="a", no_return=True),
        Step("a", "act", "Do.", then="fine", no_return=True),
    ]
    assert analyse_sheet(make_sheet(*steps, FINE)).points_of_no_return == ("b", "a")


def test_two_triangles_in_a_row_have_the_quantiles_of_their_sum() -> None:
    # P(X + Y <= t) by Gauss-Legendre quadrature over X, piece by piece: no grid, no transform.
    first, second = (5.0, 25.0), (2.0, 40.0)
    figures = analyse_sheet(make_sheet(act("turn", *first, "hold"), act("hold", *second, "fine"), FINE))
    nodes, weights = np.polynomial.legendre.leggauss(40)

    def behind(time_s: float) -> float:
        kinks = sorted({first[0], first[1], *(min(max(time_s - end, first[0]), first[1]) for end in second)})
        total = 0.0
        for low, high in itertools.pairwise(kinks):
            x = (high + low) / 2 + (high - low) / 2 * nodes
            density = 2 * (first[1] - x) / (first[1] - first[0]) ** 2
            share = np.clip((time_s - x - second[0]) / (second[1] - second[0]), 0, 1)
            total += float((high - low) / 2 * np.sum(weights * density * (1 - (1 - share) ** 2)))
        return total

    assert behind(figures.time_p50_s) == pytest.approx(0.5, abs=1e-4)
    assert behind(figures.time_p90_s) == pytest.approx(0.9, abs=1e-4)


@pytest.mark.parametrize("loops", [1, 3, 6])
def test_tangled_loops_agree_with_runs_played_by_chance(loops: int) -> None:
    names = [f"s{number}" for number in range(loops + 2)]
    steps = []
    for number, name in enumerate(names):
        then = names[number + 1] if number + 1 < len(names) else "fine"
        back = Failure(names[max(0, number - 2)], 0.3)
        steps.append(act(name, 3 + number, 3 + 5 * number, then, back, Failure("stuck", 0.02)))
    sheet = make_sheet(*steps, FINE, STUCK)
    figures = analyse_sheet(sheet)
    time_s, outcomes = simulate(sheet, 200_000, seed=loops)
    assert figures.p_good == pytest.approx((outcomes == "good").mean(), abs=5e-3)
    assert figures.time_mean_s == pytest.approx(time_s.mean(), rel=0.01)
    assert figures.time_sd_s == pytest.approx(time_s.std(), rel=0.02)
    # The chance behind the quantile, rather than the quantile: its sampling error is known, 0.0011 at most.
    assert (time_s <= figures.time_p50_s).mean() == pytest.approx(0.5, abs=5e-3)
    assert (time_s <= figures.time_p90_s).mean() == pytest.approx(0.9, abs=4e-3)


@settings(max_examples=40, deadline=None)
@given(sound_sheets(), st.integers(0, 2**32 - 1))
def test_random_sheets_agree_with_runs_played_by_chance(sheet: RunSheet, seed: int) -> None:
    runs = 20_000
    figures = analyse_sheet(sheet)
    time_s, outcomes = simulate(sheet, runs, seed)
    # Six standard errors: one false alarm in a thousand million comparisons.
    noise = 6 * 0.5 / math.sqrt(runs)
    for outcome, chance in zip(("good", "unchanged", "stranded"), get_chances(figures), strict=True):
        assert (outcomes == outcome).mean() == pytest.approx(chance, abs=noise)
    assert time_s.mean() == pytest.approx(
        figures.time_mean_s, abs=6 * figures.time_sd_s / math.sqrt(runs) + 1e-6
    )
    for chance, quantile_s in ((0.5, figures.time_p50_s), (0.9, figures.time_p90_s)):
        # A quantile at an atom has more than its chance behind it and less than that before it.
        grain_s = 1e-3 * quantile_s + 1e-6
        assert (time_s <= quantile_s + grain_s).mean() >= chance - noise
        assert (time_s < quantile_s - grain_s).mean() <= chance + noise


@given(sound_sheets())
@settings(max_examples=40, deadline=None)
def test_chances_sum_to_one_and_quantiles_are_in_order(sheet: RunSheet) -> None:
    figures = analyse_sheet(sheet)
    assert sum(get_chances(figures)) == pytest.approx(1, abs=1e-12)
    assert min(get_chances(figures)) >= 0
    assert find_outcome_chances(sheet) == dict(
        zip(("good", "unchanged", "stranded"), get_chances(figures), strict=True)
    )
    assert 0 <= figures.time_p50_s <= figures.time_p90_s * (1 + 1e-4)
    assert figures.time_p90_s <= 10 * figures.time_mean_s * (1 + 1e-3)


@settings(deadline=None)
@given(st.floats(0, 50), st.floats(0, 50), st.floats(0.05, 2))
def test_the_grid_keeps_whole_chance_and_exact_mean(typical_s: float, span_s: float, grid_s: float) -> None:
    step = act("turn", typical_s, typical_s + span_s, "fine")
    chances = lattice_duration(step.typical_s, step.slowest_s, grid_s, int(101 / grid_s) + 3)
    points_s = grid_s * np.arange(len(chances))
    assert chances.sum() == pytest.approx(1, abs=1e-9)
    assert chances @ points_s == pytest.approx(mean_duration_s(step), abs=1e-7)
    # Sharing a time between its neighbours adds at most a quarter of the grid's square to the variance.
    added_s2 = chances @ points_s**2 - (chances @ points_s) ** 2 - duration_variance_s2(step)
    assert -1e-6 <= added_s2 <= grid_s**2 / 4 + 1e-6


@settings(deadline=None)
@given(st.floats(0, 50), st.floats(0, 50), st.floats(0.05, 20))
def test_three_points_of_the_grid_keep_the_variance_too(
    typical_s: float, span_s: float, grid_s: float
) -> None:
    step = act("turn", typical_s, typical_s + span_s, "fine")
    times = (step.typical_s, step.slowest_s, grid_s, int(101 / grid_s) + 4)
    chances = lattice_duration(*times, keep_variance=True)
    points_s = grid_s * np.arange(len(chances))
    mean_s = chances @ points_s
    assert chances.sum() == pytest.approx(1, abs=1e-9)
    assert mean_s == pytest.approx(mean_duration_s(step), abs=1e-7)
    assert chances @ (points_s - mean_s) ** 2 == pytest.approx(duration_variance_s2(step), abs=1e-6)
    # No weight below zero is larger than that of a time half a grid step from its point.
    assert chances.min() >= -0.125 - 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_long_sheets_on_a_coarse_grid_have_the_quantiles_of_runs_played_by_chance(seed: int) -> None:
    # Beyond what a file may hold, so that the grid is coarse and its times keep their variance.
    rng = np.random.default_rng(seed)
    steps = []
    for number in range(400):
        then = f"s{number + 1}" if number < 399 else "fine"
        back = Failure(f"s{max(0, number - int(rng.integers(0, 6)))}", float(rng.uniform(0, 0.2)))
        typical_s = float(rng.integers(3, 60))
        steps.append(act(f"s{number}", typical_s, typical_s + float(rng.integers(0, 90)), then, back))
    sheet = make_sheet(*steps, FINE)
    figures = analyse_sheet(sheet)
    time_s, _ = simulate(sheet, 20_000, seed)
    assert time_s.mean() == pytest.approx(figures.time_mean_s, abs=6 * figures.time_sd_s / math.sqrt(20_000))
    for chance, quantile_s in ((0.5, figures.time_p50_s), (0.9, figures.time_p90_s)):
        # Standard error of the share: 0.0035 at most.
        assert (time_s <= quantile_s).mean() == pytest.approx(chance, abs=0.018)


def test_any_quantile_can_be_asked_for_and_they_rise() -> None:
    sheet = make_sheet(act("turn", 10, 100, "fine", Failure("turn", 0.3)), FINE)
    chances = (0.05, 0.5, 0.9, 0.95, 0.99)
    found = find_time_quantiles(sheet, chances)
    assert found == sorted(found)
    figures = analyse_sheet(sheet)
    assert (found[1], found[2]) == pytest.approx((figures.time_p50_s, figures.time_p90_s), rel=3e-4)
    # A run that works at once, with chance 0.7, lasts one triangle.
    assert found[0] == pytest.approx(triangular_quantile_s(10, 100, 0.05 / 0.7), rel=3e-4)
    assert find_time_quantiles(make_sheet(FINE), chances) == [0] * 5


def test_an_exit_too_small_to_be_one_is_none() -> None:
    sheet = make_sheet(act("turn", 1, 1, "fine", Failure("turn", 1 - 1e-12)), FINE)
    with pytest.raises(SheetUnsoundError):
        analyse_sheet(sheet)


def enumerate_runs(sheet: RunSheet, most_s: int) -> tuple[dict[str, float], np.ndarray]:
    """Return the chance of each outcome and of each whole second at which a run is over, second by second.

    Every step must take a whole number of seconds above 0. Written from the format's text alone.
    """
    arriving = {name: np.zeros(most_s + 1) for name in sheet.steps}
    arriving[sheet.start][0] = 1.0
    for second in range(most_s + 1):
        for name, step in sheet.steps.items():
            chance = arriving[name][second]
            after = second + int(step.typical_s)
            if step.kind == "end" or chance == 0 or after > most_s:
                continue
            works = 1 - sum(failure.chance for failure in step.fails)
            for failure in step.fails:
                arriving[failure.to][after] += chance * failure.chance
            if step.kind != "choose":
                arriving[step.then][after] += chance * works
                continue
            stated = sum(option.chance or 0 for option in step.options)
            blank = sum(option.chance is None for option in step.options)
            for option in step.options:
                share = (1 - stated) / blank if option.chance is None else option.chance
                arriving[option.then][after] += chance * works * share
    ends = [step for step in sheet.steps.values() if step.kind == "end"]
    outcomes = {step.outcome: 0.0 for step in ends}
    for step in ends:
        outcomes[step.outcome] += float(arriving[step.id].sum())
    return outcomes, sum((arriving[step.id] for step in ends), np.zeros(most_s + 1))


@settings(max_examples=60, deadline=None)
@given(sound_sheets(most_steps=5), st.lists(st.integers(1, 6), min_size=5, max_size=5))
def test_small_sheets_have_the_figures_of_every_run_enumerated(sheet: RunSheet, seconds: list[int]) -> None:
    steps = {}
    for number, step in enumerate(sheet.steps.values()):
        took_s = 0.0 if step.kind == "end" else float(seconds[number % 5])
        steps[step.id] = replace(step, typical_s=took_s, slowest_s=took_s, window_s=None)
    sheet = replace(sheet, steps=steps)
    outcomes, over = enumerate_runs(sheet, 3_000)
    left = 1 - over.sum()
    assume(left < 1e-9)
    figures = analyse_sheet(sheet)
    for outcome, chance in find_outcome_chances(sheet).items():
        assert chance == pytest.approx(outcomes.get(outcome, 0.0), abs=1e-8)
    at_s = np.arange(len(over))
    mean_s = float(over @ at_s)
    assert figures.time_mean_s == pytest.approx(mean_s, abs=1e-4)
    assert figures.time_sd_s == pytest.approx(math.sqrt(over @ (at_s - mean_s) ** 2), abs=1e-2)
    behind = np.cumsum(over)
    for chance, quantile_s in ((0.5, figures.time_p50_s), (0.9, figures.time_p90_s)):
        # Exactly that second, but for ties within the accuracy of the inversion.
        assert quantile_s == pytest.approx(round(quantile_s), abs=1e-6)
        second = round(quantile_s)
        assert behind[second] >= chance - 1e-6
        assert second == 0 or behind[second - 1] <= chance + 1e-6
