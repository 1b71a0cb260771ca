"""The outline of a key in a picture against the drawn key it was made from."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from bittern.engines.blade.picture.outline import find_silhouette
from bittern.engines.blade.silhouette import Silhouette
from tests.engines.blade.picture.drawn_keys import Drawing, DrawnKey, Look, draw

Floats = NDArray[np.float64]

SAME = (6.8, 8.0, 7.4, 6.2, 7.4, 6.8, 8.0, 6.8)
OTHER = (7.4, 6.8, 6.8, 8.0, 7.4, 6.2, 7.4, 8.0)


def to_key(drawing: Drawing, found: Silhouette, s: Floats, h: Floats) -> Floats:
    """Return points of the silhouette in the drawn key's own frame."""
    place = np.stack([s, h], axis=1) @ found.to_picture[:, :2].T + found.to_picture[:, 2]
    back = np.linalg.inv(drawing.to_picture[:, :2])
    return np.asarray((place - drawing.to_picture[:, 2]) @ back.T)


def find_errors(drawing: Drawing, found: Silhouette) -> dict[str, Floats]:
    """Return both edges' errors in pixels, outward positive, NaN where nothing was seen."""
    errors = {}
    for name, height in (("upper", found.upper_mm), ("lower", found.lower_mm)):
        points = to_key(drawing, found, found.s_mm, height)
        upper, lower = drawing.key.edges(points[:, 0])
        is_upper = np.nanmean(np.abs(points[:, 1] - upper)) < np.nanmean(np.abs(points[:, 1] - lower))
        away = points[:, 1] - upper if is_upper else lower - points[:, 1]
        blade = (points[:, 0] > 0.3) & (points[:, 0] < drawing.key.length - 2.2)
        errors[name] = np.where(blade, away, np.nan) * drawing.flat.pixels_per_mm
    return errors


@pytest.mark.parametrize("dpi", [300.0, 600.0])
@pytest.mark.parametrize("flipped", [False, True])
@pytest.mark.parametrize("turn", [0.0, 7.0, 95.0, 184.0])
@pytest.mark.parametrize("lower_roots", [(), SAME, OTHER], ids=["single", "mirror", "split"])
def test_heights_are_right_to_a_tenth_of_a_pixel(
    dpi: float, flipped: bool, turn: float, lower_roots: tuple[float, ...]
) -> None:
    key = DrawnKey(roots=SAME, lower_roots=lower_roots)
    drawing = draw(key, Look(dpi=dpi, turn_deg=turn, flipped=flipped), seed=round(turn))
    found = find_silhouette(drawing.flat)
    for error in find_errors(drawing, found).values():
        assert abs(np.nanmean(error)) < 0.06
        assert math.sqrt(np.nanmean(error**2)) < 0.15
        assert np.isfinite(error).sum() > 0.95 * (key.length - 2.5) / (found.s_mm[1] - found.s_mm[0])
    tip = to_key(drawing, found, np.array([0.0]), np.array([0.0]))[0, 0]
    assert abs(tip - key.length) * drawing.flat.pixels_per_mm < 0.15
    for shoulder in (found.shoulder_upper_mm, found.shoulder_lower_mm):
        place = to_key(drawing, found, np.array([shoulder]), np.array([0.0]))[0, 0]
        assert abs(place) * drawing.flat.pixels_per_mm < 0.15
