"""The camera over the measuring card: where it stood and how its lens bends, from one photo's corners.

Model: a pinhole with square pixels, two radial terms and a principal point near the picture's middle (Zhang
2000; Brown 1971). From one photo of a plane the focal length shows in its foreshortening only, so a photo
straight from above cannot tell a long lens far away from a short one nearby. What the corners leave open is
therefore filled in by what ordinary cameras have, as normal priors, and the standard deviation of the height
says how much of it that was.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LOG_FOCAL = -0.39
"""Logarithm of focal length by the picture's diagonal: 73 degrees. Telephones' main cameras have 65 to 84."""
SD_LOG_FOCAL = 0.13
SD_HINT = 0.04
"""Of a focal length from the file: whole millimetres, and lenses move forward to focus near."""
SD_CENTRE = 0.0016
"""Of the principal point by the diagonal: 8 pixels at 12 megapixels, what mounting and stabilising leave."""
SD_K1, SD_K2 = 0.15, 0.15
LEAST_SD_PX = 0.02
"""Corners are never better than this, whatever the residuals of a few of them say."""

PARAMETERS = 11
"""Turn, shift, then the lens: log of focal length, two radial terms, principal point."""

ENOUGH = 1e-7
"""Share of the sum of squares below which a further step is not worth it."""


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """A camera fitted to a plane.

    Attributes
    ----------
    turn
        Shape (3, 3): from the plane's axes (x, y, away from the viewer) to the camera's.
    shift
        Shape (3,): the plane's origin in the camera's axes, in mm.
    lens
        Shape (5,): log of focal length by the diagonal, k1, k2, principal point off the middle by the
        diagonal.
    covariance
        Shape (11, 11): of a small further turn about the camera's axes, the shift and the lens.
    size_px
        Columns and rows of the photo.
    origin_mm
        The point of the plane that the shift leads to.
    sd_px
        Standard deviation of a corner's coordinate about the fit.
    """

    turn: Floats
    shift: Floats
    lens: Floats
    covariance: Floats
    size_px: tuple[int, int]
    origin_mm: tuple[float, float]
    sd_px: float

    def project(self, points_mm: Floats) -> Floats:
        """Return where points of the plane, shape (..., 2), are seen: columns and rows, same shape."""
        # Written out for each axis: pictures of millions of points come this way.
        x, y = points_mm[..., 0] - self.origin_mm[0], points_mm[..., 1] - self.origin_mm[1]
        turn, shift = self.turn, self.shift
        depth = turn[2, 0] * x + turn[2, 1] * y + shift[2]
        across = (turn[0, 0] * x + turn[0, 1] * y + shift[0]) / depth
        down = (turn[1, 0] * x + turn[1, 1] * y + shift[1]) / depth
        square = across**2 + down**2
        focal, k1, k2, *centre = self.lens
        diagonal = _diagonal(self.size_px)
        bend = np.exp(focal) * diagonal * (1 + square * (k1 + square * k2))
        middle = _middle(self.size_px) + np.array(centre) * diagonal
        return np.stack([across * bend + middle[0], down * bend + middle[1]], axis=-1)

    @property
    def lens_mm(self) -> Floats:
        """Return the lens over the plane: x, y and height."""
        x, y, z = -self.turn.T @ self.shift
        # The plane's third axis points away from the camera.
        return np.array([x + self.origin_mm[0], y + self.origin_mm[1], -z])

    @property
    def tilt_deg(self) -> float:
        """Return the angle between the camera's axis and the plane's normal."""
        return float(np.degrees(np.arccos(np.clip(self.turn[2, 2], -1, 1))))

    @property
    def sd_log_height(self) -> float:
        """Return the standard deviation of the height's logarithm."""
        slope = np.zeros(PARAMETERS)
        slope[:3] = -np.cross(np.eye(3), self.shift) @ self.turn[:, 2]
        slope[3:6] = self.turn[:, 2]
        slope /= self.lens_mm[2]
        return float(np.sqrt(slope @ self.covariance @ slope))


def fit_pose(
    points_mm: Floats,
    seen_px: Floats,
    size_px: tuple[int, int],
    *,
    focal_hint_px: float | None = None,
    start: Pose | None = None,
    least_sd_px: float = LEAST_SD_PX,
) -> Pose:
    """Return the camera that explains best where points of a plane are seen.

    Parameters
    ----------
    points_mm, seen_px
        Shape (n, 2), n of at least 8: on the plane, and column and row in the photo.
    size_px
        Columns and rows of the photo, uncropped.
    focal_hint_px
        Focal length in pixels, if the file tells it.
    start
        A fit nearby.
    least_sd_px
        What a corner is at least taken to be off by.

    Notes
    -----
    Levenberg-Marquardt on corners and priors together; the corners' standard deviation is taken from the
    residuals of a first pass.
    """
    prior, sd_prior = _make_prior(size_px, focal_hint_px)
    origin = points_mm.mean(axis=0)
    local = points_mm - origin
    if start is None:
        homography = fit_homography(local, seen_px - _middle(size_px))
        widths = [np.array([off, 0, 0, 0, 0]) for off in (0.0, -0.2, 0.2)]
        starts = [_start(homography, prior + off, size_px) for off in widths]
    else:
        moved = start.turn[:, :2] @ (origin - start.origin_mm)
        starts = [replace(start, shift=start.shift + moved, origin_mm=(0.0, 0.0))]
    sd_px = 0.5
    for _ in range(3):
        starts = [replace(pose, sd_px=sd_px) for pose in starts]
        fits = [_minimise(one, local, seen_px, prior, sd_prior) for one in starts]
        pose = min(fits, key=lambda fit: fit[1])[0]
        starts = [pose]
        # Eight of the parameters are held by the corners; on the others the priors have their say.
        free = max(2 * len(local) - 8, 1)
        square = ((pose.project(local) - seen_px) ** 2).sum()
        sd_px = max(float(np.sqrt(square / free)), least_sd_px)
    return replace(pose, origin_mm=(float(origin[0]), float(origin[1])))


def fit_homography(points: Floats, seen: Floats) -> Floats:
    """Return the 3 x 3 map of a plane that takes ``points`` to ``seen``, both (n, 2), by least squares.

    The direct linear transform on normalised points (Hartley and Zisserman, Multiple View Geometry, 4.4).
    """
    inner, outer = _normaliser(points), _normaliser(seen)
    a = points * inner[0, 0] + inner[:2, 2]
    b = seen * outer[0, 0] + outer[:2, 2]
    one, none = np.ones(len(a)), np.zeros((len(a), 3))
    flat = np.column_stack([a, one])
    rows = np.vstack([np.hstack([flat, none, -flat * b[:, :1]]), np.hstack([none, flat, -flat * b[:, 1:]])])
    _, _, right = np.linalg.svd(rows, full_matrices=False)
    found: Floats = np.linalg.inv(outer) @ right[-1].reshape(3, 3) @ inner
    return found


def turn_by(vector: Floats) -> Floats:
    """Return the rotation by ``vector``: its direction the axis, its length the angle (Rodrigues 1840)."""
    angle = float(np.sqrt(vector @ vector))
    x, y, z = vector
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    # sin(a)/a and (1 - cos(a))/a**2, whole at 0.
    whole: Floats = np.eye(3) + np.sinc(angle / np.pi) * cross
    whole += np.sinc(angle / (2 * np.pi)) ** 2 / 2 * cross @ cross
    return whole


def _make_prior(size_px: tuple[int, int], hint_px: float | None) -> tuple[Floats, Floats]:
    focal, sd_focal = LOG_FOCAL, SD_LOG_FOCAL
    if hint_px is not None:
        focal, sd_focal = float(np.log(hint_px / _diagonal(size_px))), SD_HINT
    return np.array([focal, 0, 0, 0, 0]), np.array([sd_focal, SD_K1, SD_K2, SD_CENTRE, SD_CENTRE])


def _start(homography: Floats, lens: Floats, size_px: tuple[int, int]) -> Pose:
    """Return a pose that has the homography's first two columns as nearly as a rotation can."""
    focal = np.exp(lens[0]) * _diagonal(size_px)
    columns = np.diag([1 / focal, 1 / focal, 1.0]) @ homography
    columns *= np.sign(columns[2, 2]) * 2 / (np.linalg.norm(columns[:, 0]) + np.linalg.norm(columns[:, 1]))
    first, second = columns[:, 0], columns[:, 1]
    left, _, right = np.linalg.svd(np.column_stack([first, second, np.cross(first, second)]))
    turn = left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right
    none = np.zeros((PARAMETERS, PARAMETERS))
    return Pose(turn, columns[:, 2], lens, none, size_px, (0.0, 0.0), 1.0)


def _minimise(pose: Pose, local: Floats, seen: Floats, prior: Floats, sd_prior: Floats) -> tuple[Pose, float]:
    """Return the pose with the least sum of squares, with its covariance, and that sum."""

    def weigh(at: Pose) -> Floats:
        corners = (at.project(local) - seen).ravel() / at.sd_px
        return np.concatenate([corners, (at.lens - prior) / sd_prior])

    rest = weigh(pose)
    cost, damping = float(rest @ rest), 1e-3
    for _ in range(60):
        slopes = np.vstack([_differentiate(pose, local) / pose.sd_px, np.zeros((5, PARAMETERS))])
        slopes[-5:, 6:] = np.diag(1 / sd_prior)
        curvature, gradient = slopes.T @ slopes, slopes.T @ rest
        gain = 0.0
        while damping < 1e9:
            damped = curvature + damping * np.diag(np.diag(curvature))
            step = np.asarray(np.linalg.solve(damped, -gradient), dtype=float)
            moved = _move(pose, step)
            tried = weigh(moved)
            if (after := float(tried @ tried)) < cost:
                gain, pose, rest, cost = cost - after, moved, tried, after
                damping = max(damping / 10, 1e-9)
                break
            damping *= 10
        if gain < ENOUGH * (1 + cost):
            break
    return replace(pose, covariance=np.linalg.inv(curvature)), cost


def _move(pose: Pose, step: Floats) -> Pose:
    return replace(
        pose, turn=turn_by(step[:3]) @ pose.turn, shift=pose.shift + step[3:6], lens=pose.lens + step[6:]
    )


def _differentiate(pose: Pose, local: Floats) -> Floats:
    """Return how columns and rows move with the parameters, shape (2 n, 11)."""
    turned = local @ pose.turn[:, :2].T
    across, down, depth = (turned + pose.shift).T
    across, down = across / depth, down / depth
    a, b, c = turned.T
    none, one = np.zeros(len(local)), np.ones(len(local))
    # The point's way in the camera's axes: for turns about each, then for shifts along each.
    right = np.stack([none, c, -b, one, none, none])
    below = np.stack([-c, none, a, none, one, none])
    ahead = np.stack([b, -a, none, none, none, one])
    right, below = (right - across * ahead) / depth, (below - down * ahead) / depth
    focal, k1, k2 = pose.lens[:3]
    diagonal = _diagonal(pose.size_px)
    scale = np.exp(focal) * diagonal
    square = across**2 + down**2
    bend = 1 + square * (k1 + square * k2)
    growth = (k1 + 2 * k2 * square) * 2 * (across * right + down * below)
    slopes = np.zeros((len(local), 2, PARAMETERS))
    for axis, (flat, way) in enumerate(((across, right), (down, below))):
        slopes[:, axis, :6] = (scale * (bend * way + flat * growth)).T
        slopes[:, axis, 6] = scale * bend * flat
        slopes[:, axis, 7] = scale * square * flat
        slopes[:, axis, 8] = scale * square**2 * flat
        slopes[:, axis, 9 + axis] = diagonal
    return slopes.reshape(-1, PARAMETERS)


def _diagonal(size_px: tuple[int, int]) -> float:
    return float(np.hypot(*size_px))


def _middle(size_px: tuple[int, int]) -> Floats:
    return (np.array(size_px, dtype=float) - 1) / 2


def _normaliser(points: Floats) -> Floats:
    middle = points.mean(axis=0)
    scale = np.sqrt(2) / np.sqrt(((points - middle) ** 2).sum(axis=1).mean())
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1]])
