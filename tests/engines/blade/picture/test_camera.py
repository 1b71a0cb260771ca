"""The camera's fit: exact where the corners are, derivatives as differences, a height as sure as it says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.blade.picture import camera
from bittern.engines.blade.picture.board import locate_corners
from bittern.engines.blade.picture.camera import PARAMETERS, Pose, fit_homography, fit_pose, turn_by
from tests.engines.blade.picture.card_photos import Shot, choose_shot

POINTS = locate_corners()


def fit(shot: Shot, sd_px: float = 0.0, focal_hint_px: float | None = None) -> Pose:
    noise = np.random.default_rng(shot.seed).normal(0, 1, POINTS.shape) * sd_px
    return fit_pose(POINTS, shot.project(POINTS) + noise, shot.size_px, focal_hint_px=focal_hint_px)


@given(st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_a_plane_seen_without_noise_is_mapped_back_exactly(seed: int) -> None:
    shot = choose_shot(seed)
    pose = fit(shot)
    # Points between the corners, where no corner holds the fit.
    field = np.stack(np.meshgrid(np.linspace(41, 139, 15), np.linspace(32, 85, 9)), axis=-1).reshape(-1, 2)
    assert np.abs(pose.project(field) - shot.project(field)).max() < 0.02


@given(st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_the_lens_is_found_within_what_is_said_of_it(seed: int) -> None:
    shot = choose_shot(seed)
    pose = fit(shot, 0.03)
    off = np.log(pose.lens_mm[2] / shot.height_mm)
    assert abs(off) < 4 * pose.sd_log_height
    if shot.tilt_deg >= 5:
        assert abs(off) < 0.03


def test_the_stated_standard_deviation_is_that_of_the_errors() -> None:
    # Without the prior of the principal point, which these cameras have in the middle.
    shots = [choose_shot(seed) for seed in range(80)]
    shares = np.array(
        [
            np.log(pose.lens_mm[2] / shot.height_mm) / pose.sd_log_height
            for shot in shots
            for pose in [fit(shot, 0.05)]
        ]
    )
    assert 0.6 < np.sqrt((shares**2).mean()) < 1.1
    assert (np.abs(shares) < 3).mean() > 0.98


def test_straight_from_above_only_the_prior_speaks_of_the_height() -> None:
    pose = fit(Shot(tilt_deg=0, k1=0.05), 0.03)
    assert pose.sd_log_height == pytest.approx(camera.SD_LOG_FOCAL, rel=0.05)
    hinted = fit(Shot(tilt_deg=0, k1=0.05), 0.03, focal_hint_px=Shot().focal_px)
    assert hinted.sd_log_height == pytest.approx(camera.SD_HINT, rel=0.1)
    assert hinted.lens_mm[2] == pytest.approx(260, rel=0.01)


def test_where_the_camera_stood_is_read_on_the_card() -> None:
    shot = Shot(tilt_deg=12, toward_deg=0, turn_deg=77)
    pose = fit(shot)
    assert pose.tilt_deg == pytest.approx(12, abs=0.05)
    # It looks toward the right, so it stands to the left of what it looks at.
    assert pose.lens_mm[0] == pytest.approx(90 - 260 * np.tan(np.radians(12)), abs=1)
    assert pose.lens_mm[1] == pytest.approx(58.5, abs=1)


def test_slopes_are_those_of_the_projection() -> None:
    pose = replace(fit(choose_shot(3)), origin_mm=(0.0, 0.0))
    local = POINTS - POINTS.mean(axis=0)
    slopes = camera._differentiate(pose, local)
    for index, step in enumerate(1e-6 * np.eye(PARAMETERS)):
        ahead, back = (camera._move(pose, sign * step).project(local) for sign in (1, -1))
        np.testing.assert_allclose(slopes[:, index], (ahead - back).ravel() / 2e-6, rtol=1e-5, atol=1e-2)


def test_turns_are_rotations_that_add_up() -> None:
    vector = np.array([0.3, -1.1, 0.7])
    np.testing.assert_allclose(turn_by(vector) @ turn_by(-vector), np.eye(3), atol=1e-14)
    np.testing.assert_allclose(turn_by(vector) @ turn_by(vector), turn_by(2 * vector), atol=1e-14)
    np.testing.assert_allclose(turn_by(np.zeros(3)), np.eye(3))
    # A quarter turn about the third axis takes the first to the second.
    np.testing.assert_allclose(turn_by(np.array([0, 0, np.pi / 2]))[:, 0], [0, 1, 0], atol=1e-15)


def test_a_homography_is_found_exactly() -> None:
    true = np.array([[2.0, 0.1, 30], [-0.2, 1.7, 4], [1e-3, -5e-4, 1]])
    flat = np.column_stack([POINTS, np.ones(len(POINTS))]) @ true.T
    found = fit_homography(POINTS, flat[:, :2] / flat[:, 2:])
    np.testing.assert_allclose(found / found[2, 2], true, atol=1e-8)
