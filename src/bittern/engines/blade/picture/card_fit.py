"""From a photo of the measuring card to its free field in millimetres: markers, corners, camera, picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.picture.board import BOARD, SQUARE_MM, Box, locate_corners
from bittern.engines.blade.picture.camera import Pose, fit_pose
from bittern.engines.blade.picture.card_limits import (
    LIMITS,
    refuse_bent,
    refuse_blurred,
    refuse_covered,
    refuse_cut,
    refuse_pose,
    refuse_small,
)
from bittern.engines.blade.picture.card_markers import Seen, find_markers
from bittern.engines.blade.picture.card_view import (
    choose_window,
    list_field_corners,
    measure_blur,
    measure_scale,
    measure_scales,
    sample_grey,
)
from bittern.engines.blade.picture.flat import FlatPicture

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

EVERY = 8
FREE_MM = 1.3
"""Around a corner there is nothing but its own squares: the markers begin at 1.5 mm."""


def flatten_photo(grey: Grey, *, focal_hint_px: float | None = None) -> FlatPicture:
    """Return the card's free field with perspective and lens removed, upright as the card is read.

    Parameters
    ----------
    grey
        Shape (rows, columns): the photo as the camera took it, uncropped. The card may be turned any way.
    focal_hint_px
        Focal length in pixels where the file tells it.

    Raises
    ------
    CardError
        No card, or one that is mirrored, cut off, covered, too small, blurred, bent, too tilted or too near.

    Notes
    -----
    Markers are found on a smaller copy and give a first camera; the chessboard's corners are then found in
    the whole photo, and the camera is fitted to them (:mod:`~bittern.engines.blade.picture.camera`). The
    card is taken to be flat and printed true to scale.
    """
    size = (grey.shape[1], grey.shape[0])
    rough = _fit_markers(find_markers(grey), size, focal_hint_px)
    refuse_cut(rough)
    refuse_small(rough)
    points, seen = _refine_corners(grey, rough)
    refuse_covered(points)
    fit = _fit_corners(points, seen, size, focal_hint_px, rough)
    refuse_blurred(measure_blur(grey, fit.pose))
    refuse_bent(fit.bend_mm)
    refuse_pose(fit.pose)
    return _resample(grey, fit.pose, fit.residual_mm)


def _fit_markers(seen: Seen, size: tuple[int, int], focal_hint_px: float | None) -> Pose:
    """Return a first camera from the markers."""
    points, pixels = seen.places_mm.reshape(-1, 2), seen.places_px.reshape(-1, 2)
    pose = fit_pose(points, pixels, size, focal_hint_px=focal_hint_px)
    off = np.abs(pose.project(points) - pixels).max(axis=1)
    close = off < max(4 * float(np.median(off)), 2.0)
    if close.all() or close.sum() < 4 * LIMITS.least_markers:
        return pose
    return fit_pose(points[close], pixels[close], size, focal_hint_px=focal_hint_px, start=pose)


def _refine_corners(grey: Grey, rough: Pose) -> tuple[Floats, Floats]:
    """Return the chessboard's corners that are seen: on the card in mm and in the photo, each (n, 2)."""
    import cv2

    points = locate_corners()
    start = rough.project(points)
    scale = measure_scale(rough, points)
    half = int(np.clip(round(FREE_MM * scale), 3, 40))
    inside = ((start > half + 1) & (start < np.array(rough.size_px) - half - 2)).all(axis=1)
    points, start = points[inside], start[inside]
    if not len(points):
        return points, start
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 0.002)
    found = cv2.cornerSubPix(
        grey, np.ascontiguousarray(start, dtype=np.float32), (half, half), (-1, -1), stop
    )
    seen = np.asarray(found, dtype=float).reshape(-1, 2)
    kept = np.hypot(*(seen - start).T) < 0.7 * half
    kept &= _look_like_corners(grey, points, rough)
    return points[kept], seen[kept]


def _look_like_corners(grey: Grey, points: Floats, rough: Pose) -> NDArray[np.bool_]:
    """Return at which corners black and white lie as they are printed: nothing covers them."""
    step = 0.9
    around = points[:, None, :] + step * np.array([[-1, -1], [1, 1], [1, -1], [-1, 1]])
    values = sample_grey(grey, rough.project(around))
    # Corners of whole squares: rows and columns counted together say which diagonal is black.
    count = np.rint((points - [BOARD.left_mm, BOARD.top_mm]) / SQUARE_MM).sum(axis=1)
    contrast = values[:, 2:].min(axis=1) - values[:, :2].max(axis=1)
    other = values[:, :2].min(axis=1) - values[:, 2:].max(axis=1)
    contrast = np.where(count % 2 == 0, contrast, other)
    return np.asarray(contrast > 0.3 * np.median(contrast))


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The camera from the chessboard's corners, what they are off it, and what of that is smooth."""

    pose: Pose
    residual_mm: float
    bend_mm: float


def _fit_corners(
    points: Floats, seen: Floats, size: tuple[int, int], focal_hint_px: float | None, rough: Pose
) -> Fit:
    pose = fit_pose(points, seen, size, focal_hint_px=focal_hint_px, start=rough)
    off = np.hypot(*(pose.project(points) - seen).T)
    close = off < max(4 * float(np.median(off)), 0.1)
    if not close.all():
        # Left out once: those far off the others.
        points, seen = points[close], seen[close]
        pose = fit_pose(points, seen, size, focal_hint_px=focal_hint_px, start=pose)
    scale = measure_scale(pose, points)
    off_mm = (pose.project(points) - seen) / scale
    residual_mm, bend_mm = float(np.sqrt((off_mm**2).mean())), measure_bend(points, off_mm)
    if bend_mm > 0:
        # Neighbours are off together, so their number makes nothing surer: each counts as a tenth.
        sd_px = scale * float(np.hypot(residual_mm, bend_mm * np.sqrt(LIMITS.bent_alike)))
        pose = fit_pose(points, seen, size, focal_hint_px=focal_hint_px, start=pose, least_sd_px=sd_px)
    return Fit(pose, residual_mm, bend_mm)


def measure_bend(points: Floats, off_mm: Floats) -> float:
    """Return the root mean square, in mm, of what is smooth in the corners' residuals: no flat card's noise.

    The smooth part is the best cubic of both coordinates; what noise alone would put into it is taken off.
    """
    x, y = ((points - points.mean(axis=0)) / 90).T
    basis = np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], axis=1)
    smooth = basis @ np.linalg.lstsq(basis, off_mm, rcond=None)[0]
    rest = off_mm - smooth
    count = basis.shape[1]
    noise = (rest**2).sum() / max(rest.size - 2 * count, 1) * 2 * count
    return float(np.sqrt(max((smooth**2).sum() - noise, 0) / off_mm.size))


def _resample(grey: Grey, pose: Pose, residual_mm: float) -> FlatPicture:
    """Return the free field at the photo's own resolution, rounded up to a whole number of pixels per mm."""
    import cv2

    window = choose_window()
    largest = float(measure_scales(pose, list_field_corners())[:, 1].max())
    per_mm = min(int(np.ceil(largest)), LIMITS.most_pixels_per_mm)
    columns, rows = round(window.width_mm * per_mm), round(window.height_mm * per_mm)
    across, down = _map_window(pose, window, (columns, rows))
    flat = cv2.remap(grey, across, down, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
    lens_x, lens_y, height = pose.lens_mm
    return FlatPicture(
        grey=np.asarray(flat, dtype=np.uint8),
        pixels_per_mm=float(per_mm),
        scale_from="the measuring card",
        foot_column=float((lens_x - window.left_mm) * per_mm - 0.5),
        foot_row=float((lens_y - window.top_mm) * per_mm - 0.5),
        height_mm=float(height),
        sd_log_height=pose.sd_log_height,
        residual_mm=residual_mm,
        notes=(
            f"camera {height:.0f} mm above the card (± {height * pose.sd_log_height:.0f} mm),"
            f" tilted {pose.tilt_deg:.1f} degrees",
        ),
    )


def _map_window(
    pose: Pose, window: Box, size: tuple[int, int]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the photo's column and row for each pixel of the flat picture.

    Worked out for every eighth pixel: between those the map is straight to a thousandth of a pixel.
    """
    import cv2

    columns, rows = size
    wide, high = columns // EVERY + 3, rows // EVERY + 3
    x = window.left_mm + (np.arange(wide) - 0.5) * EVERY * window.width_mm / columns
    y = window.top_mm + (np.arange(high) - 0.5) * EVERY * window.height_mm / rows
    coarse = pose.project(np.stack(np.meshgrid(x, y), axis=-1)).astype(np.float32)
    fine = np.asarray(cv2.resize(coarse, (wide * EVERY, high * EVERY), interpolation=cv2.INTER_LINEAR))
    fine = fine[EVERY : EVERY + rows, EVERY : EVERY + columns]
    return np.ascontiguousarray(fine[..., 0]), np.ascontiguousarray(fine[..., 1])
