"""The study of inspection, small: keys have the error they were given, and verdicts are counted rightly."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

BENCH = Path(__file__).resolve().parents[2] / "bench"
if str(BENCH) not in sys.path:
    sys.path.insert(0, str(BENCH))

from simulated_keys.finished import KINDS, CuttingError, draw_error, finish_key  # noqa: E402
from simulated_keys.inspect_picture import draw_heights, draw_risks  # noqa: E402
from simulated_keys.inspect_report import count_accepted, count_rejected, find_targets  # noqa: E402
from simulated_keys.inspecting import (  # noqa: E402
    Height,
    InspectionOutcome,
    InspectionTrial,
    Judged,
    run_inspection,
)
from simulated_keys.page import put_tables  # noqa: E402
from simulated_keys.standards import draw_bitting, list_demo_standards  # noqa: E402
from study_inspect import plan, write_lines  # noqa: E402

STANDARDS = {one.id: one for one in list_demo_standards()}
HERON, REED, FELL = STANDARDS["heron-8"], STANDARDS["reed-6"], STANDARDS["fell-9"]
TRIALS = [
    InspectionTrial(3, number, kind, 600.0)
    for number, kind in enumerate(("good", "shifted", "taper", "one cut"))
]


@pytest.fixture(scope="module")
def outcomes() -> list[InspectionOutcome]:
    return [run_inspection(one) for one in TRIALS]


def finish(standard, error, seed=1):
    rng = np.random.default_rng(seed)
    return finish_key(standard, draw_bitting(standard, rng), error, rng)


@pytest.mark.parametrize("standard", [HERON, REED, FELL], ids=lambda one: one.id)
def test_a_key_has_the_error_it_was_given(standard):
    # Far enough from the blank's edge that nothing is cut in air.
    level = finish(standard, CuttingError("level", -0.2))
    assert level.off_mm.mean() == pytest.approx(-0.2, abs=0.02)
    taper = finish(standard, CuttingError("taper", -0.25))
    places = np.asarray(standard.positions_mm)
    slope = np.polyfit(places, taper.off_mm.mean(axis=0), 1)[0] * np.ptp(places)
    assert slope == pytest.approx(-0.25, abs=0.05)
    one = finish(standard, CuttingError("one cut", 0.3, 2))
    assert one.off_mm[0, 2] == pytest.approx(-0.3, abs=0.06)
    assert np.abs(np.delete(one.off_mm[0], 2)).max() < 0.1
    shifted = finish(standard, CuttingError("shifted", 0.4))
    assert shifted.shift_mm == pytest.approx(0.4, abs=0.06)
    assert np.abs(shifted.off_mm).max() < 0.1


def test_a_burr_adds_metal_and_leaves_the_roots():
    burr = finish(HERON, CuttingError("burr", 0.25, 3))
    plain = finish(HERON, CuttingError("good"))
    assert 0.005 < burr.key.outline.area - plain.key.outline.area < 0.25 * 0.3
    assert np.array_equal(burr.off_mm, plain.off_mm)


def test_errors_are_drawn_within_their_sizes_and_both_ways():
    rng = np.random.default_rng(5)
    drawn = [draw_error("level", HERON, rng).amount_mm for _ in range(60)]
    assert min(map(abs, drawn)) >= 0.06 and max(map(abs, drawn)) <= 0.25
    assert min(drawn) < 0 < max(drawn)
    assert draw_error("good", HERON, rng).amount_mm == 0


def test_the_same_trial_gives_the_same_outcome(outcomes):
    assert run_inspection(TRIALS[0]) == outcomes[0]


def test_heights_are_within_their_doubt_and_patterns_are_named(outcomes):
    z = np.array([one.error_mm / one.sd_mm for outcome in outcomes for one in outcome.heights])
    assert 0.4 < np.sqrt(np.mean(z**2)) < 1.4
    assert np.abs(z).max() < 5
    by_kind = {one.trial.kind: one for one in outcomes}
    assert not set(by_kind["good"].named) - {"burr"}
    assert all(by_kind[kind].right for kind in ("shifted", "taper", "one cut"))


def judge(conforms: bool, p: float, verdict: str) -> Judged:
    return Judged(conforms, p, verdict)


def test_wrong_verdicts_are_counted_beside_what_was_stated():
    judged = [
        judge(True, 0.98, "pass"),
        judge(False, 0.96, "pass"),
        judge(True, 0.03, "fail"),
        judge(False, 0.01, "fail"),
        judge(False, 0.5, "undecided"),
    ]
    accepted, rejected = count_accepted(judged), count_rejected(judged)
    assert (accepted.given, accepted.wrong, accepted.stated) == (2, 1, pytest.approx(0.03))
    assert (rejected.given, rejected.wrong, rejected.stated) == (2, 1, pytest.approx(0.02))


def test_targets_are_missed_by_wrong_passes_and_by_a_deviation_that_is_too_small(outcomes):
    good = replace(
        outcomes[0],
        key=judge(True, 0.97, "pass"),
        cuts=(judge(True, 0.98, "pass"),) * 8,
        heights=tuple(Height(0.0, 0.01 * way, 0.01, ()) for way in (1, -1, 1, -1)),
    )
    assert all(one.held for one in find_targets([good] * 40))
    wrong = replace(
        good,
        cuts=(judge(False, 0.98, "pass"),) * 8,
        key=judge(False, 0.97, "pass"),
        heights=tuple(replace(one, sd_mm=0.005) for one in good.heights),
    )
    assert not any(one.held for one in find_targets([wrong] * 40))


def test_the_study_writes_its_tables_and_pictures(outcomes, tmp_path):
    assert len(plan(2)) == 2 * len(KINDS) * 4
    assert {one.dpi for one in plan(1)} == {300.0, 600.0, 1200.0, None}
    lines = list(write_lines(outcomes))
    for heading in ("Targets", "Wrong verdicts", "Heights", "Where the doubt comes from", "Patterns"):
        assert f"### {heading}" in lines
    page = tmp_path / "page.md"
    page.write_text(
        "before\n<!-- tables of the study: begin -->\nold\n<!-- tables of the study: end -->\nafter\n"
    )
    put_tables(page, lines)
    text = page.read_text()
    assert text.startswith("before") and text.endswith("after\n") and "old" not in text
    for drawing in (draw_risks(outcomes), draw_heights(outcomes)):
        assert drawing.startswith("<svg") and "style=" not in drawing
