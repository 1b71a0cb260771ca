"""The study of blade reading, small: its parts are what they say, and its tables add up."""

from __future__ import annotations

import sys
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from bittern.core.errors import BitternError
from bittern.engines.blade.bitting import Bitting
from bittern.work.blade_picture import read_blade_picture

BENCH = Path(__file__).resolve().parents[2] / "bench"
if str(BENCH) not in sys.path:
    sys.path.insert(0, str(BENCH))

from simulated_keys.damaged import DPI, KINDS, ODD_KINDS, make_damaged  # noqa: E402
from simulated_keys.key import make_key  # noqa: E402
from simulated_keys.oracle import _tell, ask_oracle, round_heights  # noqa: E402
from simulated_keys.picture import draw_rates, draw_stated  # noqa: E402
from simulated_keys.report import count, find_targets, take_heights  # noqa: E402
from simulated_keys.sight import Lie, make_silhouette  # noqa: E402
from simulated_keys.standards import draw_bitting, keeps_rules, list_demo_standards  # noqa: E402
from simulated_keys.trial import Trial, run_trial  # noqa: E402
from simulated_keys.wear import LAWS, ODD_LAWS  # noqa: E402
from study_blade import BANDS, plan, write_lines  # noqa: E402
from study_blade import Results as StudyResults  # noqa: E402

STANDARDS = list_demo_standards()
SCANS = [Trial(5, number, band, 300.0) for number, band in enumerate(BANDS)]


@pytest.fixture(scope="module")
def outcomes():
    return [run_trial(one) for one in SCANS]


def test_the_same_trial_gives_the_same_outcome(outcomes):
    assert replace(run_trial(SCANS[1]), seconds=0.0) == replace(outcomes[1], seconds=0.0)


def test_a_trial_reads_a_key_in_three_ways(outcomes):
    assert [one.wear_steps for one in outcomes] == pytest.approx(
        [np.mean(one.trial.band) for one in outcomes], abs=0.08
    )
    assert all(one.oracle for one in outcomes)
    assert sum(one.engine for one in outcomes) >= 3
    assert outcomes[0].rounding and not outcomes[-1].rounding
    for one in outcomes:
        assert one.engine == (one.truth == one.found)
        if one.heights:
            # Nobody is much better than the bound, and a tenth of a pixel was promised.
            assert 0.7 * one.heights.bound_px < one.heights.typical_px < 0.2


@pytest.mark.parametrize(
    ("why", "trial"),
    [
        ("the levels of its cuts line up askew", Trial(4104, 122, BANDS[1], 300.0)),
        ("and one side of its shoulder is not seen", Trial(4104, 80, BANDS[0], 1200.0)),
        ("its narrow cuts hide behind its thickness", Trial(4105, 118, (0.0, 0.25), None, (10.0, 14.0))),
    ],
)
def test_keys_that_once_were_misread_are_read(why, trial):
    outcome = run_trial(trial)
    assert outcome.found == outcome.truth, why
    assert outcome.probability > 0.98


@pytest.mark.parametrize("law", [*LAWS, *ODD_LAWS])
def test_nothing_within_the_rules_is_likelier_than_what_the_oracle_says(law):
    standard = STANDARDS[2]
    short = replace(standard, positions_mm=standard.positions_mm[:4], length_mm=16.0, max_run=None, macs=2)
    rng = np.random.default_rng(4)
    for wear in (0.1, 0.5):
        key = make_key(short, draw_bitting(short, rng), wear, rng, law=law)
        found, gain = ask_oracle(key, 0.02, np.random.default_rng(9))
        told = _tell(key, 0, 0.02, np.random.default_rng(9))
        allowed = [cuts for cuts in product(range(4), repeat=4) if keeps_rules(short, cuts)]
        assert found.edges[0] == max(allowed, key=told.score)
        assert gain >= 0.0


def test_the_oracle_knows_every_key_and_the_nearest_depth_only_new_ones():
    rounded = {0.0: 0, 0.5: 0}
    straight = Lie(1.0, 0.0, False, 0.0, 0.0, 0.0, 0.0)
    for wear, (number, standard) in product(rounded, enumerate(STANDARDS)):
        rng = np.random.default_rng(number)
        key = make_key(standard, draw_bitting(standard, rng), wear, rng)
        assert ask_oracle(key, 0.003, rng)[0] == key.bitting
        seen = make_silhouette(key, 600, rng, lie=straight)
        rounded[wear] += round_heights(key, seen, turned_over=False) == key.bitting
    assert rounded[0.0] == len(STANDARDS) and rounded[0.5] <= 1


def test_a_split_blade_turned_over_reads_the_other_way_round():
    standard = next(one for one in STANDARDS if one.sides == "split" and one.datum == "tip")
    rng = np.random.default_rng(2)
    key = make_key(standard, draw_bitting(standard, rng), 0.0, rng)
    over = Lie(1.0, 0.0, True, 0.0, 0.0, 0.0, 0.0)
    seen = make_silhouette(key, 600, rng, lie=over)
    assert key.bitting.edges[0] != key.bitting.edges[1]
    assert round_heights(key, seen, turned_over=True) == Bitting(key.bitting.edges[::-1])


@pytest.mark.parametrize("kind", KINDS)
def test_no_bitting_comes_from_a_damaged_picture(kind):
    raw = make_damaged(kind, np.random.default_rng(3))
    dpi = DPI / 2 if kind == "wrong-dpi" else DPI
    if kind in ODD_KINDS and kind != "wrong-dpi":
        # A whole key in an unusual file: what can be decoded is read, or it is refused; it is not misread.
        try:
            read = read_blade_picture(raw, STANDARDS, dpi=dpi).measurement
        except BitternError:
            return
        plain = read_blade_picture(_make_plain(), STANDARDS, dpi=DPI).measurement
        assert (read.standard, read.bitting) == (plain.standard, plain.bitting)
    else:
        with pytest.raises(BitternError) as caught:
            read_blade_picture(raw, STANDARDS, dpi=dpi)
        assert caught.value.expected


def _make_plain():
    """The key that every odd file of that seed shows, in an ordinary PNG."""
    from simulated_keys import damaged

    return damaged._scan(np.random.default_rng(3))


def test_targets_are_read_off_the_outcomes(outcomes):
    good = [
        replace(one, trial=replace(one.trial, dpi=600.0), engine=True, oracle=True, probability=0.99)
        for one in outcomes
        for _ in range(30)
    ]
    held = {one.name: one.held for one in find_targets(good, good)}
    assert all(held.values()) and len(held) == 4
    worst = [replace(one, engine=number % 10 > 0) for number, one in enumerate(good)]
    missed = [one.held for one in find_targets(worst, worst)]
    assert missed == [False, True, False, False]
    rates = count(worst)
    assert (rates.cases, rates.engine, rates.of_oracle) == (120, 108, pytest.approx(0.9))


def test_heights_are_pooled_as_root_mean_squares(outcomes):
    found = take_heights([one for one in outcomes if one.heights])
    each = np.array([one.heights.typical_px for one in outcomes if one.heights])
    assert found.typical_px == pytest.approx(np.sqrt((each**2).mean()))


def test_the_study_writes_all_its_tables_and_pictures(outcomes):
    scans, photos, odd, competing = plan(2, 3, 4)
    assert (len(scans), len(photos), len(odd), len(competing)) == (24, 9, 4, 4)
    assert {one.dpi for one in photos} == {None}
    fine = [replace(one, trial=replace(one.trial, dpi=600.0)) for one in outcomes]
    text = "\n".join(write_lines(StudyResults(fine, fine[:2], fine[:1], fine[:1])))
    for heading in ("Targets", "Cramer-Rao", "measuring card", "Stated against observed", "Damaged"):
        assert heading in text
    for drawing in (draw_rates(outcomes), draw_stated(outcomes)):
        assert drawing.startswith("<svg") and "style=" not in drawing
