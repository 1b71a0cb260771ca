"""Heights of roots with their budget, and what blur does to an outline."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from bittern.engines.blade.bitting import Bitting
from bittern.engines.cutting.blurring import BLURS_PX, lift_edge, weigh_blurs
from bittern.engines.cutting.laying import find_common, lay_finished
from bittern.engines.cutting.roots import PARTS, mean_budget_mm, measure_heights
from tests.simulated import EDGE_BLADES, draw_bitting, make_key, make_silhouette

from simulated_keys.sight import Lie, Sharpness, draw_lie  # isort: skip

HERON, REED, FELL = EDGE_BLADES["heron-8"], EDGE_BLADES["reed-6"], EDGE_BLADES["fell-9"]
ALL = pytest.mark.parametrize("standard", [HERON, REED, FELL], ids=lambda one: one.id)


def measure(standard, seed, dpi=600, **how):
    rng = np.random.default_rng(seed)
    bitting = draw_bitting(standard, rng)
    key = make_key(standard, bitting, 0.0, rng, tolerance_share=0.3)
    _, laid = lay_finished(make_silhouette(key, dpi, rng, **how), standard, bitting)
    return key, laid, measure_heights(laid, weigh_blurs(laid))


@ALL
def test_the_parts_of_the_budget_add_up_to_the_whole(standard):
    _, _, roots = measure(standard, 3)
    assert roots.parts_mm2.shape == (len(roots.cut), len(PARTS))
    assert (roots.parts_mm2 >= 0).all()
    assert roots.parts_mm2.sum(axis=1) == pytest.approx(np.diag(roots.covariance_mm2), rel=1e-6)
    assert np.linalg.eigvalsh(roots.covariance_mm2).min() > 0
    assert set(mean_budget_mm(roots)) == set(PARTS)
    # A scan has no camera.
    assert mean_budget_mm(roots)["card"] == 0


def test_a_coarser_scan_is_less_sure_and_edges_count_twice_where_both_bound_a_height():
    sd = {dpi: float(measure(HERON, 4, dpi)[2].sd_mm.mean()) for dpi in (300, 600, 1200)}
    assert sd[300] > 1.5 * sd[600] > 1.5 * sd[1200]
    single = mean_budget_mm(measure(HERON, 4)[2])["edge"]
    mirror = mean_budget_mm(measure(REED, 4)[2])["edge"]
    assert single / mirror == pytest.approx(2, rel=0.15)


def test_errors_of_heights_are_as_great_as_stated():
    z = []
    for standard in (HERON, FELL):
        for seed in range(12):
            rng = np.random.default_rng([9, seed])
            pixel = 25.4 / 600
            lie = replace(draw_lie(rng, resolution_mm=pixel), bias_mm=float(rng.normal(0, 0.12)) * pixel)
            key, _, roots = measure(standard, seed, lie=lie)
            true = np.array([height for edge in key.making.roots_mm for height in edge])
            z.append((roots.height_mm - true) / roots.sd_mm)
    assert 0.7 < float(np.sqrt(np.mean(np.square(np.concatenate(z))))) < 1.3


@ALL
@pytest.mark.parametrize("way", ["level", "taper"])
def test_what_all_cuts_share_does_not_pull_the_line(standard, way):
    rng = np.random.default_rng(7)
    bitting = draw_bitting(standard, rng)
    bitting = Bitting(tuple(tuple(max(1, cut) for cut in edge) for edge in bitting.edges))
    places = np.asarray(standard.positions_mm)
    off = -0.2 * (np.ones_like(places) if way == "level" else (places - places[0]) / np.ptp(places))
    key = make_key(standard, bitting, 0.0, rng, tolerance_share=0.1)
    roots = tuple(tuple(map(float, np.array(edge) + off)) for edge in key.making.roots_mm)
    key = make_key(standard, bitting, 0.0, rng, making=replace(key.making, roots_mm=roots))
    _, laid = lay_finished(make_silhouette(key, 600, rng), standard, bitting)
    found = measure_heights(laid, weigh_blurs(laid))
    assert np.abs(found.off_mm - off[found.cut % len(places)]).max() < 0.05
    assert np.abs(find_common(laid)).max() < 0.01


def test_blur_is_found_and_taken_out():
    straight = Lie(1.0, 0.0, False, 0.0, 0.0, 0.0, 0.0)
    means = []
    for blur in (0.5, 1.5):
        key, laid, roots = measure(HERON, 5, 300, lie=straight, sharpness=Sharpness(blur, 1.0, 150.0))
        blurs = weigh_blurs(laid)
        assert math.fsum(one.p for one in blurs) == pytest.approx(1)
        means.append(math.fsum(one.p * px for one, px in zip(blurs, BLURS_PX, strict=True)))
        true = np.array(key.making.roots_mm[0])
        assert abs(float((roots.height_mm - true).mean())) < 0.008
    assert means[0] < 1.0 < means[1]


def test_a_corner_is_filled_by_blur_as_its_integral_says():
    """A right-angled valley: the level along its middle line is that of two independent half planes."""
    x = np.linspace(-3, 3, 3001)
    seen = float(lift_edge(x, np.abs(x), np.array([0.0]), 0.1)[0])
    # Seen along the walls' own directions, height h over the vertex lies h / sqrt(2) inside each wall, and
    # outside the metal with probability Phi(h / (sqrt(2) blur)) for each: a half where that is sqrt(1/2).
    from statistics import NormalDist

    assert seen == pytest.approx(0.1 * math.sqrt(2) * NormalDist().inv_cdf(math.sqrt(0.5)), rel=0.01)


def test_a_ridge_is_lowered_as_a_valley_is_filled():
    x = np.linspace(-3, 3, 1501)
    at = np.array([-0.2, 0.0, 0.2])
    assert lift_edge(x, -np.abs(x), at, 0.1) == pytest.approx(-lift_edge(x, np.abs(x), at, 0.1), abs=1e-6)
    assert not lift_edge(x, np.abs(x), at, 0.0).any()
