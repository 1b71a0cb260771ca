"""Photos of the card become pictures in millimetres, or are refused with the reason."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest

from bittern.engines.blade.errors import CardError
from bittern.engines.blade.picture.board import FIELD
from bittern.engines.blade.picture.card_fit import flatten_photo
from bittern.engines.blade.picture.card_view import EDGE_MM
from bittern.engines.blade.picture.flat import FlatPicture
from bittern.formats.card import draw_card
from tests.engines.blade.picture.card_photos import Grey, Shot, choose_shot, take_photo

# Discs of three sizes that no turn and no mirror takes to each other, near the field's border and inside it.
SPOTS = ((46.0, 37.0, 2.0), (134.0, 40.0, 2.5), (132.0, 80.0, 1.5), (60.0, 78.0, 2.0), (95.0, 55.0, 3.0))
WINDOW = FIELD.shrink(EDGE_MM)


def find_spots(flat: FlatPicture) -> np.ndarray:
    """Return centres of dark spots in mm on the card and their radii, ordered as SPOTS, shape (n, 3)."""
    found = []
    for x, y, radius in SPOTS:
        reach = radius + 1.5
        low = (np.array([x, y]) - reach - [WINDOW.left_mm, WINDOW.top_mm]) * flat.pixels_per_mm
        high = low + 2 * reach * flat.pixels_per_mm
        (left, top), (right, bottom) = np.rint(low).astype(int), np.rint(high).astype(int)
        part = flat.grey[top:bottom, left:right].astype(float)
        ink = np.median(part[0]) - part
        ink[ink < 0.1 * ink.max()] = 0
        rows, columns = np.mgrid[top:bottom, left:right]
        middle = np.array([(ink * columns).sum(), (ink * rows).sum()]) / ink.sum()
        area = ink.sum() / np.percentile(ink, 99) / flat.pixels_per_mm**2
        found.append(
            [*((middle + 0.5) / flat.pixels_per_mm + [WINDOW.left_mm, WINDOW.top_mm]), np.sqrt(area / np.pi)]
        )
    return np.array(found)


@pytest.mark.parametrize("seed", range(8))
def test_places_in_the_flat_picture_are_true(seed: int) -> None:
    shot = choose_shot(seed, (4000, 3000) if seed % 2 else (3000, 2250), spots_mm=SPOTS)
    flat = flatten_photo(take_photo(shot))
    found = find_spots(flat)
    # The discs are drawn to half a pixel of 600 dpi, 0.02 mm; shading moves a centroid a little.
    np.testing.assert_allclose(found[:, :2], np.array(SPOTS)[:, :2], atol=0.035)
    np.testing.assert_allclose(found[:, 2], np.array(SPOTS)[:, 2], atol=0.15)
    assert flat.grey.shape == (
        round(WINDOW.height_mm * flat.pixels_per_mm),
        round(WINDOW.width_mm * flat.pixels_per_mm),
    )
    assert flat.residual_mm is not None
    assert flat.residual_mm < 0.01
    assert flat.height_mm is not None
    assert flat.sd_log_height is not None
    assert flat.foot_column is not None
    assert flat.foot_row is not None
    height = -shot.lens_mm[2]
    off = abs(np.log(flat.height_mm / height))
    assert off < 4 * flat.sd_log_height
    assert off < 0.03 or shot.tilt_deg < 5
    foot = (np.array([flat.foot_column, flat.foot_row]) + 0.5) / flat.pixels_per_mm
    foot += [WINDOW.left_mm, WINDOW.top_mm]
    np.testing.assert_allclose(foot, shot.lens_mm[:2], atol=2.0)


@pytest.fixture(scope="module")
def photo() -> Grey:
    return take_photo(Shot())


def test_nothing_of_the_squares_is_in_the_flat_picture(photo: Grey) -> None:
    grey = flatten_photo(photo).grey.astype(float)
    assert grey.min() > 0.7 * np.median(grey)


def test_the_flat_picture_has_the_photos_own_resolution_rounded_up(photo: Grey) -> None:
    assert (
        flatten_photo(photo).pixels_per_mm == 14
    )  # 3,400 pixels of focal length from 260 mm: 13.1 and a tilt
    half = cv2.resize(photo, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    assert flatten_photo(np.asarray(half, dtype=np.uint8)).pixels_per_mm == 7


def test_a_focal_length_from_the_file_tells_the_height_of_a_photo_from_straight_above() -> None:
    shot = Shot(tilt_deg=0.3, focal=0.58, height_mm=220)
    photo = take_photo(shot)
    without, hinted = flatten_photo(photo), flatten_photo(photo, focal_hint_px=shot.focal_px * 1.02)
    assert hinted.height_mm == pytest.approx(220, rel=0.04)
    assert without.sd_log_height is not None
    assert hinted.sd_log_height is not None
    assert hinted.sd_log_height < 0.06 < 0.1 < without.sd_log_height


def test_a_little_of_the_squares_may_be_covered(photo: Grey) -> None:
    covered = cover(photo, 10, 60, 150)
    whole, partly = flatten_photo(photo), flatten_photo(covered)
    assert partly.height_mm == pytest.approx(whole.height_mm, rel=0.01)
    assert partly.residual_mm == pytest.approx(whole.residual_mm, abs=0.001)


def cover(photo: Grey, x: float, y: float, radius_px: int) -> Grey:
    column, row = np.rint(Shot().project(np.array([[x, y]]))[0]).astype(int)
    return np.asarray(cv2.circle(photo.copy(), (int(column), int(row)), radius_px, 80, -1), dtype=np.uint8)


def blur(photo: Grey, sd: float) -> Grey:
    return np.asarray(cv2.GaussianBlur(photo, (0, 0), sd), dtype=np.uint8)


def move(photo: Grey, length: int) -> Grey:
    kernel = np.zeros((length, length), dtype=np.float32)
    kernel[length // 2] = 1 / length
    return np.asarray(cv2.filter2D(photo, -1, kernel), dtype=np.uint8)


def shrink(photo: Grey, by: float) -> Grey:
    return np.asarray(cv2.resize(photo, None, fx=by, fy=by, interpolation=cv2.INTER_AREA), dtype=np.uint8)


CHANGED: dict[str, tuple[Callable[[Grey], Grey], str]] = {
    "mirrored": (lambda photo: photo[:, ::-1].copy(), "a mirrored measuring card"),
    "upside down in a mirror": (lambda photo: photo[::-1].copy(), "a mirrored measuring card"),
    "cut at the right": (lambda photo: photo[:, :2600].copy(), "cut off at the photo's right edge"),
    "cut above": (lambda photo: photo[1000:].copy(), "cut off at the photo's upper edge"),
    "a quarter": (lambda photo: photo[:1400, :2000].copy(), "cut off at the photo's right and lower edge"),
    "a hand on it": (lambda photo: cover(photo, 10, 60, 400), "left side"),
    "out of focus": (lambda photo: blur(photo, 5), "a blurred photo"),
    "far out of focus": (lambda photo: blur(photo, 10), "a blurred photo"),
    "shaken": (lambda photo: move(photo, 25), "a blurred photo"),
    "small": (lambda photo: shrink(photo, 0.35), "pixels to the millimetre"),
    "smaller": (lambda photo: shrink(photo, 0.2), "pixels to the millimetre"),
    "a thumbnail": (lambda photo: shrink(photo, 0.05), "no measuring card"),
    "a crumb": (lambda photo: photo[:20, :30].copy(), "a picture of 30 by 20 pixels"),
    "blank": (lambda photo: np.full_like(photo, 200), "no measuring card"),
    "noise": (
        lambda photo: np.random.default_rng(1).integers(0, 256, (1500, 2000)).astype(np.uint8),
        "no measuring card",
    ),
    "a corner of it": (lambda photo: photo[600:1000, 1000:1400].copy(), "no measuring card"),
}


@pytest.mark.parametrize("name", CHANGED)
def test_a_photo_that_tells_nothing_is_refused_with_the_reason(photo: Grey, name: str) -> None:
    change, said = CHANGED[name]
    with pytest.raises(CardError) as refusal:
        flatten_photo(change(photo))
    assert said in refusal.value.found
    assert refusal.value.expected
    assert refusal.value.code == "blade.card"


@pytest.mark.parametrize(
    ("shot", "said"),
    [
        (Shot(bend_mm=2.5), "a bent measuring card"),
        (Shot(bend_mm=-3.0, tilt_deg=10), "a bent measuring card"),
        (Shot(tilt_deg=18), "a camera tilted by 18 degrees"),
        (Shot(tilt_deg=25, toward_deg=200), "a camera tilted by 25 degrees"),
        (Shot(height_mm=155, focal=0.5), "a camera 15"),
    ],
    ids=["bent up", "bent down", "tilted", "tilted more", "near"],
)
def test_a_card_or_camera_that_is_out_of_place_is_refused(shot: Shot, said: str) -> None:
    with pytest.raises(CardError, match=said):
        flatten_photo(take_photo(shot))


@pytest.mark.parametrize(("height", "tilt"), [(200, 0), (200, 14), (400, 0), (400, 14)])
def test_what_the_card_asks_for_is_taken(height: float, tilt: float) -> None:
    shot = Shot(
        height_mm=height, tilt_deg=tilt, focal=0.6, blur_px=1.4, noise=5, light=(0.4, 0.3), quality=85
    )
    flat = flatten_photo(take_photo(replace(shot, turn_deg=13)))
    assert flat.height_mm == pytest.approx(height, rel=0.25 if tilt == 0 else 0.03)


def test_the_card_itself_as_a_picture_is_a_photo_from_straight_above() -> None:
    flat = flatten_photo(draw_card(300))
    assert flat.residual_mm is not None
    assert flat.residual_mm < 0.01
    assert "tilted 0.0 degrees" in flat.notes[0]
