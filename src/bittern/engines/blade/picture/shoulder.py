"""The two planes that lengths are counted from: the tip and the shoulder."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.picture.axis import RUN_IN_MM, Axis, Profile, find_step
from bittern.engines.blade.picture.edges import Crossings, find_crossings

Floats = NDArray[np.float64]

REACH_MM = 0.5
MOST_ASKEW = 0.006
"""A third of a degree: a shoulder less square than that says nothing about the axis."""
MOST_TURNED = 0.08
"""Steps further apart than this slope are no one shoulder."""
SD_SQUARE = 0.0009
"""A twentieth of a degree: how square shoulders are made is not published; so well do flats agree."""
SD_WALL_SLOPE = 0.004
SAME_MM = 0.4
"""The two sides of a shoulder lie in one plane to this."""


@dataclass(frozen=True, slots=True)
class Plane:
    """A plane square to the axis: its s and that one's standard deviation, in millimetres.

    ``h_mm`` is the height at which it was measured.
    """

    s_mm: float
    sd_mm: float
    h_mm: float = 0.0


NO_PLANE = Plane(math.nan, math.nan)


def find_tip(grey: NDArray[np.uint8], axis: Axis, profile: Profile) -> Plane:
    """Return the plane through the outermost point of the tip.

    Notes
    -----
    The tip's edge is measured along lines parallel to the axis. A straight end gives its level. Otherwise a
    line is laid through the edge on either side of the outermost point; blur takes a sharp corner back by a
    known part of its own size, the rest of the gap between corner and edge is rounding.
    """
    pixel = 1 / axis.per_mm
    inner = int(np.searchsorted(profile.s_mm, 1.0))
    low, high = float(profile.lower_mm[inner]), float(profile.upper_mm[inner])
    h = np.arange(low + 2 * pixel, high - pixel, pixel)
    within = (profile.lower_mm[None, :] <= h[:, None]) & (profile.upper_mm[None, :] >= h[:, None])
    s = profile.s_mm[np.argmax(within, axis=1)]
    found = find_crossings(
        grey, axis.place(s, h), axis.tipward, reach_px=REACH_MM * axis.per_mm, pitch_px=1.0
    )
    edge = s - found.offset_px * pixel
    seen = np.isfinite(edge)
    if seen.sum() < 8:
        return NO_PLANE
    return _outermost(h[seen], edge[seen], found.sd_px[seen] * pixel, found.blur_px * pixel)


def _outermost(h: Floats, edge: Floats, sd: Floats, blur_mm: float) -> Plane:
    count = max(3, min(len(h), round(0.25 / (h[1] - h[0])))) if len(h) > 3 else 1
    smooth = np.convolve(np.pad(edge, count // 2, mode="edge"), np.ones(count) / count, mode="valid")[
        : len(h)
    ]
    first = int(np.argmin(smooth))
    level = smooth[first]
    straight = np.abs(edge - level) < 0.03 + 2 * sd
    # A ragged end may have no place near its own smoothed level.
    if straight.mean() > 0.25 and float(np.ptp(h[straight])) > 1.2:
        return _straight_end(h[straight], edge[straight], sd[straight])
    return _corner(h, edge, sd, h[first], blur_mm)


def _straight_end(h: Floats, edge: Floats, sd: Floats) -> Plane:
    half = float(h.max() - h.min()) / 2
    x = (h - (h.max() + h.min()) / 2) / half
    curve = np.polyfit(x, edge, 2)
    spread = max(float(np.std(edge - np.polyval(curve, x))), float(np.median(sd)))
    noise = spread / math.sqrt(len(h))
    if curve[0] > 6 * noise:
        apex = float(np.clip(-curve[1] / (2 * curve[0]), -1, 1))
        return Plane(float(np.polyval(curve, apex)), 2 * noise)
    line = np.polyfit(x, edge, 1)
    # An end square to the axis within a degree is taken as square: its mean is the plane.
    s = float(line[1]) if abs(line[0]) < 0.015 * half else float(line[1] - abs(line[0]))
    return Plane(s, noise)


def _corner(h: Floats, edge: Floats, sd: Floats, apex: float, blur_mm: float) -> Plane:
    near, far = 1.6 * blur_mm, 1.6 * blur_mm + 0.5
    lines = []
    for side in (-1, 1):
        away = side * (h - apex)
        chosen = (away > near) & (away < far)
        if chosen.sum() >= 5:
            lines.append(np.polyfit(h[chosen] - apex, edge[chosen], 1))
    close = np.abs(h - apex) < max(near, 0.1)
    top = float(np.min(_parabola(h[close] - apex, edge[close]))) if close.sum() >= 5 else float(edge.min())
    noise = float(np.median(sd)) / math.sqrt(max(3, close.sum()) / 3)
    if len(lines) < 2:
        return Plane(top, max(noise, 0.3 * blur_mm))
    (a, b), (c, d) = lines
    opening = math.pi - abs(math.atan(c) - math.atan(a))
    if c - a < 0.15:
        return Plane(min(top, float((b + d) / 2)), noise)
    cross = b + a * (d - b) / (a - c)
    gap = max(0.0, top - cross)
    sharp = corner_retreat(opening) * blur_mm
    rounding = math.sqrt(max(0.0, gap * gap - sharp * sharp))
    return Plane(float(cross + rounding), math.hypot(noise, 0.25 * min(rounding, sharp)))


def _parabola(x: Floats, y: Floats) -> Floats:
    curve = np.polyfit(x, y, 2)
    return np.asarray(np.polyval(curve, np.linspace(x.min(), x.max(), 41)))


def corner_retreat(opening: float) -> float:
    """Return how far a blurred corner's half-way level lies behind the corner, in units of the blur.

    The share of a round normal distribution that falls into a wedge of ``opening`` radians whose apex lies
    ``d`` ahead is one half at this ``d``; a right angle gives ``Phi(d / sqrt 2) ** 2 = 1/2``, so 0.7707.
    Interpolated in a table of numerical integrals.
    """
    degrees = [30, 45, 60, 75, 90, 105, 120, 135, 150, 165, 180]
    retreat = [2.5972, 1.7134, 1.2480, 0.9633, 0.7707, 0.6098, 0.4677, 0.3395, 0.2200, 0.1088, 0.0]
    return float(np.interp(math.degrees(opening), degrees, retreat))


def find_shoulders(grey: NDArray[np.uint8], axis: Axis, profile: Profile) -> tuple[Plane, Plane]:
    """Return the planes where the upper and the lower edge leave the blade toward the bow.

    An edge that has no step of its own has no plane. If neither has one, the place where the outline is half
    way out to the bow stands in.
    """
    upper, lower = find_walls(grey, axis, profile)
    if math.isnan(upper.s_mm) and math.isnan(lower.s_mm):
        return _find_slope(profile, profile.upper_mm), _find_slope(profile, -profile.lower_mm)
    # A step further into the bow than the first is the bow's own beginning.
    first = np.nanmin([upper.s_mm, lower.s_mm])
    kept = [plane if plane.s_mm < first + SAME_MM else NO_PLANE for plane in (upper, lower)]
    return kept[0], kept[1]


def find_walls(grey: NDArray[np.uint8], axis: Axis, profile: Profile) -> tuple[Plane, Plane]:
    """Return the steps of the upper and the lower edge, in one plane or not."""
    return (
        _find_wall(grey, axis, profile.s_mm, profile.upper_mm, 1.0),
        _find_wall(grey, axis, profile.s_mm, -profile.lower_mm, -1.0),
    )


def find_turn(walls: tuple[Plane, Plane]) -> float | None:
    """Return the slope of the line square to two steps that are further out of square than shoulders are."""
    slope = _find_slope_between(walls)
    return slope if slope is not None and MOST_ASKEW <= abs(slope) < MOST_TURNED else None


def _find_slope_between(walls: tuple[Plane, Plane]) -> float | None:
    upper, lower = walls
    if math.isnan(upper.s_mm) or math.isnan(lower.s_mm) or upper.h_mm - lower.h_mm < 4.0:
        return None
    return -(upper.s_mm - lower.s_mm) / (upper.h_mm - lower.h_mm)


def find_squareness(shoulders: tuple[Plane, Plane]) -> tuple[float, float] | None:
    """Return the slope of the line square to both steps of the shoulder, and its standard deviation."""
    slope = _find_slope_between(shoulders)
    if slope is None or abs(slope) >= MOST_ASKEW:
        return None
    upper, lower = shoulders
    sd = math.hypot(upper.sd_mm, lower.sd_mm) / (upper.h_mm - lower.h_mm)
    return slope, math.hypot(sd, SD_SQUARE)


def _find_wall(grey: NDArray[np.uint8], axis: Axis, s: Floats, height: Floats, side: float) -> Plane:
    place = find_step(s, height)
    if place is None:
        return NO_PLANE
    step = s[1] - s[0]
    ahead = round(0.35 / step)
    bottom, top = float(height[place - ahead]), float(height[min(place + ahead, len(s) - 1)])
    margin = 0.25 * (top - bottom)
    h = np.arange(bottom + margin, top - margin, 1 / axis.per_mm)
    start = np.full(len(h), s[place])
    found = find_crossings(
        grey, axis.place(start, side * h), axis.tipward, reach_px=REACH_MM * axis.per_mm, pitch_px=1.0
    )
    wall = start - found.offset_px / axis.per_mm
    plane = _settle(h - (bottom + top) / 2, wall, found, axis.per_mm)
    return replace(plane, h_mm=side * (bottom + top) / 2)


def _settle(h: Floats, wall: Floats, found: Crossings, per_mm: float) -> Plane:
    """Return the wall's place at half its rise, by a robust line through it."""
    seen = np.isfinite(wall)
    if seen.sum() < 4:
        return NO_PLANE
    h, wall, sd = h[seen], wall[seen], found.sd_px[seen] / per_mm
    line = np.array([0.0, float(np.median(wall))])
    weight = np.ones(len(h))
    for _ in range(8):
        basis = np.stack([h, np.ones(len(h))], axis=1)
        normal = (basis * weight[:, None]).T @ basis
        # Dirt on a few lines of the wall would turn it.
        normal[0, 0] += (max(float(np.median(sd)), 0.003) / SD_WALL_SLOPE) ** 2
        line = np.linalg.solve(normal, basis.T @ (weight * wall))
        rest = wall - basis @ line
        scale = max(1.4826 * float(np.median(np.abs(rest))), float(np.median(sd)))
        weight = np.clip(1 - (rest / (4.685 * scale)) ** 2, 0, None) ** 2
    return Plane(float(line[1]), scale / math.sqrt(max(1.0, float(weight.sum()))))


def _find_slope(profile: Profile, height: Floats) -> Plane:
    s = profile.s_mm
    blade = (s > RUN_IN_MM) & (s < profile.blade_mm - 2.0)
    if blade.sum() < 20:
        return NO_PLANE
    base = float(np.percentile(height[blade], 95))
    out = np.flatnonzero((height > base + 1.0) & (s > profile.blade_mm - 6.0))
    if not out.size:
        return NO_PLANE
    rise = np.gradient(height, s)
    first = int(out[0])
    flat = np.flatnonzero(rise[first:] < 0.5)
    top = float(height[first + int(flat[0])]) if flat.size else float(height[first])
    level = (base + top) / 2
    below = np.flatnonzero(height[: first + 1 + (int(flat[0]) if flat.size else 0)] < level)
    if not below.size:
        return NO_PLANE
    i = int(below[-1])
    share = (level - height[i]) / max(height[i + 1] - height[i], 1e-9)
    return Plane(float(s[i] + share * (s[i + 1] - s[i])), 0.1)
