"""Silhouettes of simulated keys, worn by laws the decoder does not know, back to the factory's bitting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bittern.engines.blade.bitting import format_bitting, parse_bitting
from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.decoding import decode_silhouette
from bittern.engines.blade.errors import PictureError
from bittern.engines.blade.silhouette import Camera
from tests.simulated import EDGE_BLADES, draw_bitting, draw_standard, make_key, make_silhouette
from tests.strategies.blades import SNIPE

HERON, REED, FELL = EDGE_BLADES["heron-8"], EDGE_BLADES["reed-6"], EDGE_BLADES["fell-9"]


def draw(seed, standard=None, *, wear=None, dpi=600, **how):
    rng = np.random.default_rng(seed)
    standard = standard or (
        draw_standard(rng) if rng.random() < 0.5 else list(EDGE_BLADES.values())[seed % len(EDGE_BLADES)]
    )
    bitting = draw_bitting(standard, rng)
    key = make_key(standard, bitting, rng.uniform(0, 0.5) if wear is None else wear, rng)
    return key, make_silhouette(key, dpi, rng, **how)


def turned_over(key, text):
    """On a split blade the other face up makes A of B: nothing in a silhouette tells."""
    written = format_bitting(key.standard, key.bitting)
    return text in (written, " / ".join(reversed(written.split(" / "))))


@pytest.mark.parametrize("dpi", [300, 600])
def test_worn_keys_of_many_families_give_the_factorys_bitting_surely(dpi):
    for seed in range(20):
        key, silhouette = draw(seed, dpi=dpi)
        measured = decode_silhouette(silhouette, [key.standard])
        assert turned_over(key, measured.bitting), seed
        assert measured.probability > 0.9
        assert measured.p_none < 0.02
        assert measured.allowed


def test_wear_and_heights_are_measured_within_their_doubt():
    for seed in range(8):
        key, silhouette = draw(seed, HERON, wear=0.05 + 0.05 * seed)
        measured = decode_silhouette(silhouette, [HERON])
        assert measured.wear_mm == pytest.approx(key.losses_mm.mean(), abs=0.06)
        true = [np.interp(x + key.making.shift_mm, key.x_mm, key.worn_mm[0]) for x in HERON.positions_mm]
        for cut, height in zip(measured.cuts, true, strict=True):
            assert abs(cut.depth_mm - height) < 4 * cut.sd_mm


def test_nearest_depths_would_have_been_wrong():
    """The point of it all: on worn keys rounding each height to the nearest depth gives another bitting."""
    wrong = 0
    for seed in range(10):
        key, silhouette = draw(100 + seed, HERON, wear=0.45)
        measured = decode_silhouette(silhouette, [HERON])
        nearest = [
            min(range(4), key=lambda number: abs(HERON.depths_mm[number] - cut.depth_mm))
            for cut in measured.cuts
        ]
        wrong += tuple(nearest) != key.bitting.edges[0]
        assert measured.bitting == format_bitting(HERON, key.bitting)
    assert wrong >= 8


def test_standards_compete_and_the_right_one_wins():
    for seed in range(8):
        standard = list(EDGE_BLADES.values())[seed % len(EDGE_BLADES)]
        key, silhouette = draw(seed, standard)
        measured = decode_silhouette(silhouette, list(EDGE_BLADES.values()))
        assert measured.standard == standard.id
        assert turned_over(key, measured.bitting)
        assert sum(measured.by_standard.values()) + measured.p_none == pytest.approx(1)


def test_a_blade_of_another_family_is_said_to_be_of_none():
    osier = EDGE_BLADES["osier-10"]
    for seed in range(6):
        _, silhouette = draw(seed, osier)
        measured = decode_silhouette(silhouette, [HERON])
        assert measured.p_none > 0.98
        assert measured.probability < 0.02
        assert any("does not look like" in problem for problem in measured.problems)


def test_a_blade_of_quite_another_size_is_refused_with_its_size():
    _, silhouette = draw(1, HERON)
    long = replace(HERON, id="long", length_mm=40.0)
    with pytest.raises(PictureError, match=r"mm long and .* mm wide.*40 mm long"):
        decode_silhouette(silhouette, [long])
    with pytest.raises(PictureError, match="track blade"):
        decode_silhouette(silhouette, [SNIPE])


def test_edges_of_a_mirror_blade_that_disagree_are_reported():
    _key, silhouette = draw(3, REED, wear=0.1)
    assert not decode_silhouette(silhouette, [REED]).problems
    place = REED.length_mm - REED.positions_mm[2]
    here = np.abs(silhouette.s_mm - place) < 1.2
    bent = replace(silhouette, upper_mm=silhouette.upper_mm - 0.3 * here)
    measured = decode_silhouette(bent, [REED])
    assert any("edges disagree at cut 3" in problem for problem in measured.problems)


def test_a_height_measured_again_moves_the_odds_at_once():
    key, silhouette = draw(5, HERON, wear=0.1)
    hidden = np.abs(silhouette.s_mm - (HERON.length_mm - HERON.positions_mm[3])) < 2.2
    dusty = replace(silhouette, upper_mm=np.where(hidden, np.nan, silhouette.upper_mm),
                    lower_mm=np.where(hidden, np.nan, silhouette.lower_mm))  # fmt: skip
    before = decode_silhouette(dusty, [HERON])
    assert before.cuts[3].probability < 0.98
    assert any(problem.startswith("cut 4 is") for problem in before.problems)
    height = float(np.interp(HERON.positions_mm[3], key.x_mm, key.worn_mm[0]))
    after = decode_silhouette(dusty, [HERON], [Reading(3, height, 0.03)])
    assert after.cuts[3].probability > 0.99
    assert after.bitting == format_bitting(HERON, key.bitting)


def test_a_thick_blade_under_a_tilted_camera_is_read_with_its_thickness():
    for seed in range(6):
        rng = np.random.default_rng([3, seed])
        camera = Camera(float(rng.uniform(-60, 60)), float(rng.uniform(-60, 60)), 230.0, 0.02)
        key, silhouette = draw(seed, list(EDGE_BLADES.values())[seed % 7], wear=0.1, camera=camera)
        measured = decode_silhouette(silhouette, [key.standard])
        assert turned_over(key, measured.bitting)
        assert measured.probability > 0.98


def test_without_its_camera_the_same_blade_is_read_wrongly_or_doubted():
    """So that the parallax term is known to be needed."""
    camera = Camera(-40.0, 60.0, 220.0, 0.02)
    lost = 0
    for seed in range(6):
        key, silhouette = draw(seed, list(EDGE_BLADES.values())[seed % 7], wear=0.1, camera=camera)
        try:
            blind = decode_silhouette(replace(silhouette, camera=None), [key.standard])
        except PictureError:
            lost += 1
            continue
        lost += not turned_over(key, blind.bitting) or blind.probability < 0.9
    assert lost >= 1


def test_the_fit_lies_on_the_outline_in_the_picture():
    _key, silhouette = draw(2, REED, wear=0.0)
    fit = decode_silhouette(silhouette, [REED]).fit
    assert fit is not None
    assert fit.residual_mm < 0.03
    upper, lower = fit.traces
    for trace, sign, heights in ((upper, 1, silhouette.upper_mm), (lower, -1, silhouette.lower_mm)):
        good = np.isfinite(trace.measured_mm)
        points = fit.to_picture @ np.stack(
            (trace.x_mm[good], sign * trace.measured_mm[good], np.ones(int(good.sum())))
        )
        seen = silhouette.to_picture @ np.stack((silhouette.s_mm, heights, np.ones(len(heights))))
        seen = seen[:, np.isfinite(seen).all(axis=0)]
        near = np.hypot(*(points[:, :, None] - seen[:, None, :])).min(axis=1)
        # Pixels of 42 um; averaged samples lie between the columns.
        assert np.median(near) < 1.0


def test_which_edge_is_a_is_said_and_follows_the_frame():
    _key, silhouette = draw(4, FELL, wear=0.0)
    measured = decode_silhouette(silhouette, [FELL])
    assert any(note.startswith("edge A is the one that is up") for note in measured.assumed)
    flipped = replace(
        silhouette,
        upper_mm=-silhouette.lower_mm,
        lower_mm=-silhouette.upper_mm,
        upper_sd_mm=silhouette.lower_sd_mm,
        lower_sd_mm=silhouette.upper_sd_mm,
        shoulder_upper_mm=silhouette.shoulder_lower_mm,
        shoulder_lower_mm=silhouette.shoulder_upper_mm,
    )
    assert decode_silhouette(flipped, [FELL]).bitting == " / ".join(reversed(measured.bitting.split(" / ")))


def test_a_bitting_the_rules_forbid_is_read_but_not_allowed():
    rng = np.random.default_rng(8)
    key = make_key(HERON, parse_bitting(HERON, "2 2 2 2 2 2 2 2"), 0.1, rng)
    measured = decode_silhouette(make_silhouette(key, 600, rng), [HERON])
    assert measured.bitting == "2 2 2 2 2 2 2 2"
    assert not measured.allowed
    assert any("max_run" in problem for problem in measured.problems)
