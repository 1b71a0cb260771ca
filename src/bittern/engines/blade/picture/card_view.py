"""What a fitted camera sees of the card: scales, grey values, the chessboard's sides, its edges' blur."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.picture.board import BOARD, FIELD, SQUARE_MM, Box, locate_corners
from bittern.engines.blade.picture.camera import Pose

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

EDGE_MM = 1.0
"""Left out along the field's border, where blur and compression bring in the squares."""


def choose_window() -> Box:
    return FIELD.shrink(EDGE_MM)


def list_field_corners() -> Floats:
    field = choose_window()
    return np.array(
        [[x, y] for x in (field.left_mm, field.right_mm) for y in (field.top_mm, field.bottom_mm)]
    )


def measure_scale(pose: Pose, points: Floats) -> float:
    """Return pixels per mm in the middle of the points."""
    return float(measure_scales(pose, points.mean(axis=0)[None, :])[0].mean())


def measure_scales(pose: Pose, points: Floats) -> Floats:
    """Return the photo's least and largest pixels per mm at each point, shape (n, 2)."""
    step = 0.5
    ways = [
        (pose.project(points + way) - pose.project(points - way)) / (2 * step)
        for way in np.array([[step, 0], [0, step]])
    ]
    sizes = np.linalg.svd(np.stack(ways, axis=-1), compute_uv=False)
    return np.asarray(sizes[:, ::-1])


def sample_grey(grey: Grey, places: Floats) -> Floats:
    import cv2

    maps = places.astype(np.float32).reshape(-1, 2)
    # A map of more than 32,767 rows is refused.
    parts = [
        cv2.remap(grey, part[:, 0], part[:, 1], cv2.INTER_LINEAR)
        for part in np.array_split(maps, len(maps) // 20_000 + 1)
    ]
    values: Floats = np.concatenate(parts).reshape(places.shape[:-1]).astype(float)
    return values


def name_sides(points: Floats) -> dict[str, NDArray[np.bool_]]:
    x, y = points.T
    return {
        "left": x < FIELD.left_mm,
        "right": x > FIELD.right_mm,
        "upper": y < FIELD.top_mm,
        "lower": y > FIELD.bottom_mm,
    }


def measure_blur(grey: Grey, pose: Pose) -> float:
    """Return the standard deviation of the photo's blur in mm, on the side of the card where it is worst.

    From the steepest slope of the squares' edges, averaged along and over them: a step of height A blurred
    by a normal of standard deviation s has slope A / (s sqrt(2 pi)). Edges along and across are told apart:
    a movement blurs one of them.
    """
    reach, count = 1.3, 53
    offsets = np.linspace(-reach, reach, count)
    worst = 0.0
    for axis in (0, 1):
        middles, signs = _list_edges(axis)
        along = np.linspace(-2, 2, 5)
        places = np.repeat(middles[:, None, None, :], len(along), axis=1).repeat(count, axis=2)
        places[..., axis] += offsets
        places[..., 1 - axis] += along[:, None]
        profiles = sample_grey(grey, pose.project(places)).mean(axis=1) * signs[:, None]
        for side in name_sides(middles).values():
            if side.any():
                worst = max(worst, _measure_step(profiles[side].mean(axis=0), offsets))
    return worst


def _measure_step(profile: Floats, offsets: Floats) -> float:
    height = profile[-6:].mean() - profile[:6].mean()
    slope = np.gradient(profile, offsets).max()
    return float(height / (slope * np.sqrt(2 * np.pi))) if height > 0 and slope > 0 else np.inf


def _list_edges(axis: int) -> tuple[Floats, Floats]:
    """Return middles of squares' edges across ``axis`` between two corners, and 1 where white is second."""
    corners = locate_corners()
    known = {(round(x, 3), round(y, 3)) for x, y in corners}
    other = 1 - axis
    ends = corners.copy()
    ends[:, other] += SQUARE_MM
    kept = np.array([(round(x, 3), round(y, 3)) in known for x, y in ends])
    middles = (corners[kept] + ends[kept]) / 2
    cells = np.floor((middles - [BOARD.left_mm, BOARD.top_mm]) / SQUARE_MM + 1e-6)
    # The square that begins at the edge is black where column and row together are even.
    signs = np.where(cells.sum(axis=1) % 2 == 0, -1.0, 1.0)
    return middles, signs
