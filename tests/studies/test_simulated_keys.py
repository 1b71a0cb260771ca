"""The generator of keys: what it says is true of a key is true of the picture."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image

from bittern.engines.blade.bitting import find_violations
from bittern.engines.blade.outline import get_height_mm
from bittern.engines.blade.silhouette import Camera
from bittern.engines.blade.soundness import find_standard_faults

BENCH = Path(__file__).resolve().parents[2] / "bench"
if str(BENCH) not in sys.path:
    sys.path.insert(0, str(BENCH))

from simulated_keys.key import get_step_mm, make_key  # noqa: E402
from simulated_keys.photo import render_photo  # noqa: E402
from simulated_keys.raster import cover_pixels, list_rings  # noqa: E402
from simulated_keys.scan import render_scan  # noqa: E402
from simulated_keys.shape import sample_factory_heights  # noqa: E402
from simulated_keys.sight import Lie, Sharpness, make_silhouette, raise_outline  # noqa: E402
from simulated_keys.standards import draw_bitting, draw_standard, list_demo_standards  # noqa: E402
from simulated_keys.wear import LAWS, MOST_LOSS_STEPS  # noqa: E402

STANDARDS = list_demo_standards() + [draw_standard(np.random.default_rng(seed)) for seed in range(6)]
STRAIGHT = Lie(1.0, 0.0, False, 0.0, 0.0, 0.0, 0.0)
EXACT = Sharpness(blur_px=0.05, noise=1e-6, step=100.0)


def draw_key(standard, seed, wear=0.3, **how):
    rng = np.random.default_rng(seed)
    return make_key(standard, draw_bitting(standard, rng), wear, rng, **how)


@pytest.mark.parametrize("standard", STANDARDS, ids=lambda one: one.id)
def test_drawn_standards_are_sound_and_bittings_allowed(standard):
    assert not find_standard_faults(standard)
    rng = np.random.default_rng(1)
    for _ in range(20):
        assert not find_violations(standard, draw_bitting(standard, rng))


@pytest.mark.parametrize("standard", STANDARDS, ids=lambda one: one.id)
def test_the_factory_outline_is_that_of_the_standard(standard):
    bitting = draw_bitting(standard, np.random.default_rng(2))
    x = np.linspace(0.0, standard.length_mm, 301)
    for edge, cuts in enumerate(bitting.edges):
        roots = np.array([standard.depths_mm[cut] for cut in cuts])
        expected = [get_height_mm(standard, bitting, float(one), edge=edge) for one in x]
        assert sample_factory_heights(standard, roots, x) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("wear", [0.0, 0.25, 0.5])
def test_wear_takes_off_as_much_as_was_asked_and_most_from_high_roots(law, wear):
    for seed, standard in enumerate(STANDARDS):
        key = draw_key(standard, seed, wear, law=law)
        steps = key.losses_mm / get_step_mm(standard)
        inside = key.to_u_mm(key.x_mm) < -2.2
        assert key.wear_steps == pytest.approx(wear, abs=0.01)
        # Simplified polygons are a third of a micrometre off.
        assert (key.worn_mm - key.factory_mm)[:, inside].max() < 1e-3
        assert steps.max() < MOST_LOSS_STEPS + 0.03
        roots = np.array([key.making.roots_mm[edge] for edge in range(len(steps))])
        if wear and law != "threshold" and np.ptp(roots) > 1.5 * get_step_mm(standard):
            assert steps.ravel()[np.argmax(roots)] > steps.ravel()[np.argmin(roots)]


def test_the_same_seed_makes_the_same_key_and_scan():
    one, two = (draw_key(STANDARDS[0], 5) for _ in range(2))
    assert one.outline.equals(two.outline)
    scans = [render_scan(one, 300, np.random.default_rng(3)) for _ in range(2)]
    assert scans[0].png == scans[1].png


def test_shares_of_pixels_are_exact():
    shape = shapely.Point(20.3, 15.2).buffer(9.7).difference(shapely.Point(17, 14).buffer(3.1))
    shares = cover_pixels(list_rings(shape), 40, 45)
    for row in range(40):
        for column in range(45):
            pixel = shapely.box(column - 0.5, row - 0.5, column + 0.5, row + 0.5)
            assert shares[row, column] == pytest.approx(shape.intersection(pixel).area, abs=1e-5)


@pytest.mark.parametrize("points_left", [False, True])
@pytest.mark.parametrize("turned_over", [False, True])
def test_the_edge_of_a_scan_lies_where_it_is_said_to(points_left, turned_over):
    key = draw_key(STANDARDS[2], 4, bow="round")
    scan = render_scan(
        key, 600, np.random.default_rng(8), points_left=points_left, turned_over=turned_over, ground=220.0,
        metal=100.0, light=0.0, shadow=0.0, bias_px=0.0, blur_px=0.5, noise=0.0, dust=0, hairs=0, marks=False,
        turn_deg=7.0,
    )  # fmt: skip
    pixels = np.asarray(Image.open(io.BytesIO(scan.png))).astype(float)
    root = key.standard.positions_mm[3] + key.making.shift_mm
    height = float(
        np.interp(root, key.x_mm, key.worn_mm[0])
    ) + key.wear.back_share * key.wear_steps * get_step_mm(key.standard)
    # Along the line across the blade the level falls from ground to metal, half way at the edge.
    across = np.linspace(-0.3, 0.3, 241)
    points = np.array([scan.place_cut(root, height + one) for one in across])
    column, row = np.floor(points).astype(int).T
    a, b = (points - np.floor(points)).T
    level = (
        pixels[row, column] * (1 - a) * (1 - b) + pixels[row, column + 1] * a * (1 - b)
        + pixels[row + 1, column] * (1 - a) * b + pixels[row + 1, column + 1] * a * b
    )  # fmt: skip
    ground, metal = level[-20:].mean(), level[:20].mean()
    assert ground == pytest.approx(220.0, abs=1.0) and metal < 125
    crossing = across[np.argmin(np.abs(level - (ground + metal) / 2))]
    assert abs(crossing) < 0.15 * 25.4 / 600


@pytest.mark.parametrize("standard", STANDARDS[:6], ids=lambda one: one.id)
def test_an_exact_silhouette_has_the_worn_heights_of_the_key(standard):
    key = draw_key(standard, 11)
    seen = make_silhouette(key, 1200, np.random.default_rng(1), lie=STRAIGHT, sharpness=EXACT, missing=0.0)
    tip = key.outline.bounds[2]
    s = tip - key.to_u_mm(np.asarray(standard.positions_mm) + key.making.shift_mm)
    upper, lower = (np.interp(s, seen.s_mm, edge) for edge in (seen.upper_mm, seen.lower_mm))
    left = np.array(
        [
            np.interp(standard.positions_mm + np.float64(key.making.shift_mm), key.x_mm, one)
            for one in key.worn_mm
        ]
    )
    if standard.sides == "single":
        assert upper - lower == pytest.approx(left[0], abs=2e-3)
    else:
        # x grows away from the tip where that is the datum, so edge A is then the lower one.
        first, second = left if standard.datum == "shoulder" else left[::-1]
        assert upper == pytest.approx(first, abs=2e-3) and -lower == pytest.approx(second, abs=2e-3)
    assert seen.shoulder_upper_mm == pytest.approx(key.making.length_mm + tip, abs=1e-9)


def test_the_noise_of_a_silhouette_is_what_it_says():
    key = draw_key(STANDARDS[3], 3)
    sharp = Sharpness(blur_px=1.0, noise=4.0, step=80.0)
    clean = make_silhouette(
        key, 600, np.random.default_rng(1), lie=STRAIGHT, sharpness=Sharpness(1.0, 1e-9, 80.0), missing=0.0
    )
    ratios = []
    for seed in range(10):
        noisy = make_silhouette(
            key, 600, np.random.default_rng(seed), lie=STRAIGHT, sharpness=sharp, missing=0.0
        )
        ratios.append((noisy.upper_mm - clean.upper_mm) / noisy.upper_sd_mm)
    joined = np.concatenate(ratios)
    joined = joined[np.isfinite(joined)]
    assert joined.std() == pytest.approx(1.0, abs=0.03)
    # checks.md 6.16, height 200, noise 2, blur 1: 0.01883 px.
    assert Sharpness(1.0, 2.0, 200.0).get_sd_px() == pytest.approx(0.01883, abs=1e-5)


def test_a_camera_sees_the_upper_face_from_its_lens():
    square = shapely.box(-10.0, -2.0, 0.0, 2.0)
    seen = raise_outline(
        square, 2.0, Camera(foot_s_mm=40.0, foot_h_mm=0.0, height_mm=200.0, sd_log_height=0.0)
    )
    # The tip, 40 mm from the foot, is seen 40 * 200 / 198 from it, the far end of the square at 30 mm stays.
    assert seen.bounds == pytest.approx((-10.0, -2.0 * 200 / 198, -40 + 40 * 200 / 198, 2.0 * 200 / 198))


def test_a_photo_keeps_the_key_in_the_field_and_the_card_in_the_picture():
    key = draw_key(STANDARDS[4], 6)
    photo = render_photo(key, np.random.default_rng(2), tilt_deg=14.0)
    pixels = np.asarray(Image.open(io.BytesIO(photo.jpeg)))
    assert pixels.shape == (3000, 4000)
    middle = photo.to_card @ np.array([key.shoulder_u_mm / 2, -1.0, 1.0])
    column, row = np.round(photo.lens.project(np.array([[*middle, -key.standard.thickness_mm]]))[0]).astype(
        int
    )
    corner = photo.lens.project(np.array([[62.0, 34.0, 0.0]]))[0].round().astype(int)
    assert pixels[row, column] < 145 < pixels[corner[1], corner[0]]
    back = photo.lens.meet_card(photo.lens.project(np.array([[10.0, 20.0, 0.0], [170.0, 100.0, 0.0]])))
    assert back == pytest.approx(np.array([[10.0, 20.0], [170.0, 100.0]]), abs=1e-6)
    assert photo.height_mm == pytest.approx(photo.conditions.distance_mm * np.cos(np.radians(14.0)))
