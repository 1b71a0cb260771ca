"""How a key comes to lie in a picture, and its silhouette there in exact geometry."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from bittern.engines.blade.silhouette import Camera, Silhouette
from simulated_keys.key import SimulatedKey, cross_columns

Floats = NDArray[np.float64]

MM_PER_INCH = 25.4
BEYOND_SHOULDER_MM = 4.0


@dataclass(frozen=True, slots=True)
class Lie:
    """What stands between the key and the measured outline.

    Attributes
    ----------
    scale
        True millimetres are seen as ``scale`` times as many.
    bias_mm
        By how much every edge is seen further out.
    turned_over
        Seen from its other face: mirrored about the blade's axis.
    tilt_rad
        Of the axis that was found, against the blade's.
    offset_mm
        Of that axis, across.
    tip_error_mm, shoulder_error_mm
        Of the planes that were found.
    """

    scale: float
    bias_mm: float
    turned_over: bool
    tilt_rad: float
    offset_mm: float
    tip_error_mm: float
    shoulder_error_mm: float


@dataclass(frozen=True, slots=True)
class Sharpness:
    """Blur of the picture in pixels, noise of a pixel and height of the step at the edge, in grey levels."""

    blur_px: float
    noise: float
    step: float

    def get_sd_px(self) -> float:
        """Return the Cramer-Rao bound of a straight edge's place from one column of pixels.

        ``(noise / step) sqrt(2 sqrt(pi) blur)``: derived from the Fisher information of a step blurred by a
        Gaussian, recomputed.
        """
        return float(self.noise / self.step * np.sqrt(2 * np.sqrt(np.pi) * self.blur_px))


def draw_sharpness(rng: np.random.Generator) -> Sharpness:
    """Draw blur, noise and contrast of an ordinary scan."""
    return Sharpness(
        blur_px=float(rng.uniform(0.5, 1.5)),
        noise=float(rng.uniform(1.0, 6.0)),
        step=float(rng.uniform(60.0, 160.0)),
    )


def draw_lie(rng: np.random.Generator, *, resolution_mm: float) -> Lie:
    """Draw how the outline of a scan is off: scale by 0.4 % at most, planes by a tenth of a pixel."""
    return Lie(
        scale=1 + float(rng.uniform(-0.004, 0.004)),
        bias_mm=float(np.clip(rng.normal(0, 0.2), -0.5, 0.5)) * resolution_mm,
        turned_over=bool(rng.random() < 0.5),
        tilt_rad=float(rng.normal(0, np.radians(0.03))),
        offset_mm=float(rng.normal(0, 0.05)),
        tip_error_mm=float(rng.normal(0, 0.15)) * resolution_mm,
        shoulder_error_mm=float(rng.normal(0, 0.15)) * resolution_mm,
    )


def raise_outline(outline: Polygon, thickness_mm: float, camera: Camera) -> Polygon:
    """Return what a camera sees of a body with upright walls: all its sections, each drawn from the lens.

    Parameters
    ----------
    outline
        The lower face, on the ground, in a frame where s is -u of the camera's.
    """
    factor = camera.height_mm / (camera.height_mm - thickness_mm)
    foot = (-camera.foot_s_mm, camera.foot_h_mm)
    low = outline.simplify(0.001)
    high = shapely.affinity.scale(low, factor, factor, origin=(*foot, 0.0))
    parts = [low, high]
    for ring in (low.exterior, *low.interiors):
        lower = np.asarray(ring.coords)
        upper = np.asarray(foot) + (lower - foot) * factor
        quads = np.stack([lower[:-1], lower[1:], upper[1:], upper[:-1]], axis=1)
        walls = shapely.polygons(quads)
        parts.extend(walls[shapely.is_valid(walls)])
    return shapely.union_all(parts)


def make_silhouette(
    key: SimulatedKey,
    dpi: float,
    rng: np.random.Generator,
    *,
    lie: Lie | None = None,
    sharpness: Sharpness | None = None,
    camera: Camera | None = None,
    missing: float = 0.02,
) -> Silhouette:
    """Return the key's silhouette as a perfect finder would see it in a scan, with noise by the bound.

    Parameters
    ----------
    dpi
        One column a pixel.
    lie, sharpness
        None draws them.
    camera
        In the silhouette's frame, of a photo; None for a scan.
    missing
        Share of the columns where dust hides an edge, in runs of about ten.
    """
    resolution = MM_PER_INCH / dpi
    lie = lie or draw_lie(rng, resolution_mm=resolution)
    sharpness = sharpness or draw_sharpness(rng)
    over = None if camera is None else _move_camera(key, lie, camera)
    seen = place_outline(key, lie, over)
    tip = seen.bounds[2]
    length = tip - _place_shoulder(key, lie, over)
    s = np.arange(0.0, length + BEYOND_SHOULDER_MM, resolution)
    # Columns to the right of the tip keep the blur's window whole.
    guard = int(np.ceil(4 * sharpness.blur_px))
    u = tip + lie.tip_error_mm - np.concatenate([-resolution * np.arange(guard, 0, -1), s])
    upper, lower = cross_columns(seen, u)
    found = []
    for edge in (upper, -lower):
        blurred = blur_edge(edge, sharpness.blur_px, resolution)[guard:]
        slope = np.abs(np.gradient(blurred, resolution))
        sd = resolution * sharpness.get_sd_px() * (1 + slope**2) ** 0.25
        blurred = blurred + rng.normal(size=sd.shape) * sd
        # No column is read across a wall that stands upright, at the tip or the shoulder.
        blurred[(slope > 8.0) | ~np.isfinite(sd)] = np.nan
        blurred[_draw_missing(len(s), missing, rng)] = np.nan
        found.append((blurred, np.where(np.isfinite(sd), sd, np.nan)))
    steps = key.bow.steps_mm[::-1] if lie.turned_over else key.bow.steps_mm
    shoulder = length + lie.shoulder_error_mm
    plane_sd = 0.15 * resolution
    return Silhouette(
        s_mm=s,
        upper_mm=found[0][0],
        lower_mm=-found[1][0],
        upper_sd_mm=found[0][1],
        lower_sd_mm=found[1][1],
        shoulder_upper_mm=shoulder if steps[0] else np.nan,
        shoulder_lower_mm=shoulder if steps[1] else np.nan,
        shoulder_sd_mm=plane_sd,
        tip_sd_mm=plane_sd,
        resolution_mm=resolution,
        to_picture=np.array([[-1 / resolution, 0.0, 2000.0], [0.0, -1 / resolution, 500.0]]),
        camera=camera,
    )


def _move_camera(key: SimulatedKey, lie: Lie, camera: Camera) -> Camera:
    """Return the camera in the key's frame, whose tip is the lower face's and whose axis is the blade's."""
    tip = key.outline.bounds[2]
    factor = camera.height_mm / (camera.height_mm - key.standard.thickness_mm)
    # Seen from behind, the upper face's tip stands out; the foot is given from where the tip is seen.
    foot = tip - camera.foot_s_mm / (factor if camera.foot_s_mm > 0 else 1.0)
    return replace(camera, foot_s_mm=-foot, foot_h_mm=camera.foot_h_mm + lie.offset_mm)


def _place_shoulder(key: SimulatedKey, lie: Lie, camera: Camera | None) -> float:
    """Return the shoulder's plane as it is seen, along the axis that was found."""
    place = key.shoulder_u_mm
    if camera is not None:
        factor = camera.height_mm / (camera.height_mm - key.standard.thickness_mm)
        place = max(place, -camera.foot_s_mm + (place + camera.foot_s_mm) * factor)
    return (place + lie.bias_mm) * lie.scale


def place_outline(key: SimulatedKey, lie: Lie, camera: Camera | None) -> Polygon:
    """Return the outline as it is seen, in the frame of the axis that was found."""
    seen = key.outline
    if lie.turned_over:
        seen = shapely.affinity.scale(seen, 1, -1, origin=(0, 0))
    if camera is not None:
        seen = raise_outline(seen, key.standard.thickness_mm, camera)
    if lie.bias_mm:
        seen = seen.buffer(lie.bias_mm, join_style="mitre")
    seen = shapely.affinity.scale(seen, lie.scale, lie.scale, origin=(0, 0))
    seen = shapely.affinity.rotate(seen, -lie.tilt_rad, origin=(0, 0), use_radians=True)
    return shapely.affinity.translate(seen, yoff=-lie.offset_mm)


def blur_edge(heights_mm: Floats, blur_px: float, resolution_mm: float) -> Floats:
    """Return where a picture blurred by a Gaussian crosses the middle between its two levels.

    The level in a column is the mean over the window of the share of each neighbour's column that lies below
    the edge; a few steps of Newton's method find the height where it is a half.
    """
    sd = blur_px * resolution_mm
    reach = int(np.ceil(3.5 * blur_px))
    window = np.exp(-0.5 * (np.arange(-reach, reach + 1) / blur_px) ** 2)
    window /= window.sum()
    padded = np.pad(heights_mm, reach, constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    # Beyond the tip there is nothing: the blade's edge lies infinitely low.
    around = np.where(np.isfinite(around), around, -1e3)
    found = np.where(np.isfinite(heights_mm), heights_mm, np.nan)
    for _ in range(8):
        z = (around - found[:, None]) / sd
        above = _cover(z) @ window - 0.5
        density = np.exp(-0.5 * np.clip(z, -30, 30) ** 2) @ window / (np.sqrt(2 * np.pi) * sd)
        found = found + np.clip(above / np.maximum(density, 0.05 / sd), -sd, sd)
    return found


def _cover(z: Floats) -> Floats:
    """Return the normal distribution function, to 1e-7.

    Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.17: from memory, recomputed.
    """
    t = 1 / (1 + 0.2316419 * np.abs(z))
    tail = np.exp(-0.5 * np.clip(z, -30, 30) ** 2) / np.sqrt(2 * np.pi)
    tail = (
        tail
        * t
        * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    )
    covered: Floats = np.where(z >= 0, 1 - tail, tail)
    return covered


def _draw_missing(count: int, share: float, rng: np.random.Generator) -> NDArray[np.bool_]:
    hidden = np.zeros(count, dtype=bool)
    for start in np.flatnonzero(rng.random(count) < share / 10):
        hidden[start : start + int(rng.integers(4, 17))] = True
    return hidden
