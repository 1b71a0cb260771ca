"""Finished keys measured against their target: verdicts, doubt, and what was clamped or set wrongly."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from bittern.engines.blade.bitting import Bitting, parse_bitting
from bittern.engines.blade.errors import PictureError, UnknownCutError
from bittern.engines.cutting.inspection import inspect_key
from tests.simulated import EDGE_BLADES, draw_bitting, make_key, make_silhouette
from tests.strategies.blades import SNIPE

HERON, REED, FELL = EDGE_BLADES["heron-8"], EDGE_BLADES["reed-6"], EDGE_BLADES["fell-9"]


def cut(seed, standard=HERON, *, exact=0.1, **how):
    """Return a fresh key whose roots are off by a part of the tolerance, its outline and bitting."""
    rng = np.random.default_rng(seed)
    bitting = draw_bitting(standard, rng)
    key = make_key(standard, bitting, 0.0, rng, tolerance_share=exact, **how)
    return key, make_silhouette(key, 600, rng), bitting


def shift_depths(standard, by_mm):
    """The same standard cut by_mm shallower everywhere: a cutter set wrongly."""
    return replace(standard, depths_mm=tuple(depth + by_mm for depth in standard.depths_mm))


@pytest.mark.parametrize("standard", list(EDGE_BLADES.values()), ids=lambda one: one.id)
def test_a_good_key_never_fails_and_its_heights_are_within_their_doubt(standard):
    for seed in range(4):
        key, silhouette, bitting = cut(seed, standard)
        found = inspect_key(silhouette, standard, bitting)
        assert found.verdict in ("pass", "undecided")
        assert not found.findings
        if standard.sides != "mirror":
            true = [height for edge in key.making.roots_mm for height in edge]
            for one, height in zip(found.cuts, true, strict=True):
                assert abs(one.measured_mm - height) < 4 * one.sd_mm


def test_one_cut_of_the_wrong_depth_fails_by_name_and_the_others_do_not():
    rng = np.random.default_rng(2)
    wanted = parse_bitting(HERON, "2 1 3 4 2 2 1 3")
    made = make_key(HERON, parse_bitting(HERON, "2 1 3 3 2 2 1 3"), 0.0, rng, tolerance_share=0.1)
    found = inspect_key(make_silhouette(made, 600, rng), HERON, wanted)
    assert found.verdict == "fail"
    assert [one.name for one in found.cuts if one.verdict == "fail"] == ["4"]
    (finding,) = found.findings
    name, off, way = re.fullmatch(r"cut (\d) is (0\.\d+) mm too (\w+)", finding).groups()
    assert (name, way) == ("4", "shallow")
    assert float(off) == pytest.approx(made.making.roots_mm[0][3] - HERON.depths_mm[3], abs=0.03)


@pytest.mark.parametrize(("off", "way"), [(0.15, "shallow"), (-0.15, "deep")])
@pytest.mark.parametrize("standard", [HERON, REED], ids=lambda one: one.id)
def test_a_cutter_set_wrongly_is_told_with_what_to_adjust(standard, off, way):
    rng = np.random.default_rng(3)
    # Depths that leave room on both sides.
    bitting = draw_bitting(standard, rng)
    bitting = Bitting((tuple(max(1, number) for number in bitting.edges[0]),))
    key = make_key(shift_depths(standard, off), bitting, 0.0, rng, tolerance_share=0.05)
    found = inspect_key(make_silhouette(key, 600, rng), standard, bitting)
    assert found.verdict == "fail"
    assert any("all cuts are 0.1" in one and f"too {way}" in one for one in found.findings)


def test_a_key_that_was_not_at_its_stop_is_told():
    rng = np.random.default_rng(5)
    bitting = draw_bitting(HERON, rng)
    moved = replace(HERON, positions_mm=tuple(place + 0.35 for place in HERON.positions_mm))
    key = make_key(moved, bitting, 0.0, rng, tolerance_share=0.1)
    found = inspect_key(make_silhouette(key, 600, rng), HERON, bitting)
    assert found.verdict == "fail"
    assert found.shift_mm == pytest.approx(0.35, abs=0.06)
    assert any("too far from the shoulder" in one for one in found.findings)


def test_a_taper_is_told_and_which_way():
    rng = np.random.default_rng(6)
    wanted = parse_bitting(HERON, "2 2 3 2 3 3 2 2")
    key = make_key(HERON, wanted, 0.0, rng, tolerance_share=0.05)
    silhouette = make_silhouette(key, 600, rng)
    # The cut edge alone leans: 0.2 mm deeper at the tip than at the shoulder.
    deeper = 0.2 * (1 - np.clip(silhouette.s_mm / HERON.length_mm, 0, 1))
    from bittern.engines.blade.evidence import find_cut_edge

    if find_cut_edge(silhouette) == 1:
        leaning = replace(silhouette, upper_mm=silhouette.upper_mm - deeper)
    else:
        leaning = replace(silhouette, lower_mm=silhouette.lower_mm + deeper)
    found = inspect_key(leaning, HERON, wanted)
    assert any("deeper toward the tip" in one for one in found.findings)


def test_a_burr_is_told_with_its_place():
    _key, silhouette, bitting = cut(7)
    from bittern.engines.blade.evidence import find_cut_edge

    at = HERON.length_mm - 10.6
    burr = 0.25 * (np.abs(silhouette.s_mm - at) < 0.12)
    if find_cut_edge(silhouette) == 1:
        rough = replace(silhouette, upper_mm=silhouette.upper_mm + burr)
    else:
        rough = replace(silhouette, lower_mm=silhouette.lower_mm - burr)
    found = inspect_key(rough, HERON, bitting)
    assert any("burr" in one and "10." in one for one in found.findings)


def test_a_split_blade_is_known_whichever_face_is_up():
    for seed in range(4):
        _, silhouette, bitting = cut(seed, FELL)
        assert inspect_key(silhouette, FELL, bitting).verdict != "fail"


def test_a_smaller_risk_leaves_more_undecided_and_never_turns_a_verdict_round():
    order = {"pass": 0, "undecided": 1, "fail": 2}
    for seed in range(6):
        _, silhouette, bitting = cut(seed, exact=0.5)
        strict = inspect_key(silhouette, HERON, bitting, risk=0.001).verdict
        loose = inspect_key(silhouette, HERON, bitting, risk=0.3).verdict
        assert strict in ("undecided", loose)
        assert abs(order[strict] - order[loose]) <= 1


def test_what_cannot_be_inspected_is_refused():
    _, silhouette, bitting = cut(1)
    with pytest.raises(PictureError, match="track"):
        inspect_key(silhouette, SNIPE, bitting)
    with pytest.raises(UnknownCutError):
        inspect_key(silhouette, HERON, parse_bitting(HERON, "2 1 ? 4 2 2 1 3"))
    with pytest.raises(ValueError, match="risk"):
        inspect_key(silhouette, HERON, bitting, risk=0.0)
