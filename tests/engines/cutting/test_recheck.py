"""Caliper readings weighed in: against least squares over all observations, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.errors import PictureError
from bittern.engines.cutting.conformity import get_p_all_conform
from bittern.engines.cutting.recheck import weigh_in
from bittern.engines.cutting.roots import PARTS, Roots
from bittern.formats.packs import read_pack

HERON = read_pack(PACK_DIR).blades["heron-8"]
BITTING = parse_bitting(HERON, "2 1 3 4 2 2 1 3")
TARGETS = np.array([HERON.depths_mm[cut] for cut in BITTING.edges[0] if cut is not None])


def make_roots(off_mm: float = 0.0, *, cuts: int = 8, own_sd: float = 0.01, shared_sd: float = 0.02) -> Roots:
    parts = np.zeros((cuts, len(PARTS)))
    parts[:, PARTS.index("pixel")] = own_sd**2
    parts[:, PARTS.index("edge")] = shared_sd**2
    covariance = np.full((cuts, cuts), shared_sd**2) + np.eye(cuts) * own_sd**2
    return Roots(np.arange(cuts), TARGETS[:cuts], TARGETS[:cuts] + off_mm, parts, covariance)


def test_it_is_least_squares_over_picture_and_caliper() -> None:
    roots = make_roots(0.01)
    readings = [Reading(2, TARGETS[2] - 0.02, 0.03), Reading(5, TARGETS[5] + 0.01, 0.02)]
    found = weigh_in(roots, HERON, BITTING, readings)
    # All observations at once, by the normal equations.
    design = np.zeros((2, 8))
    design[[0, 1], [2, 5]] = 1.0
    weight = np.diag([one.sd_mm**-2 for one in readings])
    prior = np.linalg.inv(roots.covariance_mm2)
    covariance = np.linalg.inv(prior + design.T @ weight @ design)
    heights = np.array([one.height_mm for one in readings])
    mean = covariance @ (prior @ roots.height_mm + design.T @ weight @ heights)
    assert found.height_mm == pytest.approx(mean, abs=1e-12)
    assert found.covariance_mm2 == pytest.approx(covariance, abs=1e-15)
    assert found.parts_mm2.sum(axis=1) == pytest.approx(np.diag(found.covariance_mm2), rel=1e-12)


def test_one_reading_on_target_makes_the_whole_key_surer() -> None:
    roots = make_roots()
    found = weigh_in(roots, HERON, BITTING, [Reading(0, TARGETS[0], 0.01)])
    assert (found.sd_mm < roots.sd_mm).all()
    before, after = (get_p_all_conform(one.off_mm, one.covariance_mm2, 0.05) for one in (roots, found))
    assert after > before


def test_a_cut_that_was_not_seen_is_as_the_caliper_has_it() -> None:
    found = weigh_in(make_roots(cuts=7), HERON, BITTING, [Reading(7, TARGETS[7] + 0.03, 0.02)])
    assert found.cut.tolist() == list(range(8))
    assert found.off_mm[7] == pytest.approx(0.03)
    assert found.sd_mm[7] == pytest.approx(0.02)


def test_two_edges_alike_are_read_as_their_mean() -> None:
    rush = read_pack(PACK_DIR).blades["rush-10"]
    bitting = parse_bitting(rush, " ".join([rush.labels[0]] * 10))
    parts = np.zeros((2, len(PARTS)))
    parts[:, 0] = 0.01**2
    target = np.full(2, rush.depths_mm[0])
    roots = Roots(np.array([4, 4]), target, target + np.array([0.02, -0.02]), parts, np.eye(2) * 0.01**2)
    found = weigh_in(roots, rush, bitting, [Reading(4, rush.depths_mm[0], 0.01)])
    assert found.height_mm == pytest.approx(roots.height_mm)
    assert (found.sd_mm < roots.sd_mm).all()


def test_a_caliper_that_contradicts_the_picture_is_no_verdict_and_tells_no_height() -> None:
    with pytest.raises(PictureError, match=r"0\.30 mm below what the picture shows of cut 3") as refused:
        weigh_in(make_roots(), HERON, BITTING, [Reading(2, TARGETS[2] - 0.3, 0.03)])
    assert f"{TARGETS[2]:.2f}" not in str(refused.value)
    assert f"{TARGETS[2] - 0.3:.2f}" not in str(refused.value)
