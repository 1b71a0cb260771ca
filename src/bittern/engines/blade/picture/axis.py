"""The key's axis: first by its body, then by the straight parts of the blade."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.errors import PictureError
from bittern.engines.blade.picture.segmentation import Body

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Axis:
    """A line along the blade, in the picture's pixels.

    Attributes
    ----------
    column, row
        The origin, where s = 0 and h = 0.
    tip_column, tip_row
        Unit vector that points out of the tip.
    per_mm
        Pixels a millimetre.
    """

    column: float
    row: float
    tip_column: float
    tip_row: float
    per_mm: float

    @property
    def up(self) -> Floats:
        """Return the unit vector of growing h: upward when the tip points right."""
        return np.array([self.tip_row, -self.tip_column])

    @property
    def tipward(self) -> Floats:
        """Return the unit vector out of the tip."""
        return np.array([self.tip_column, self.tip_row])

    def to_picture(self) -> Floats:
        """Return the affine map from (s_mm, h_mm) to (column, row), shape (2, 3)."""
        return np.column_stack([-self.per_mm * self.tipward, self.per_mm * self.up, [self.column, self.row]])

    def place(self, s_mm: Floats, h_mm: Floats) -> Floats:
        """Return (column, row) of points in the axis' frame, shape (n, 2)."""
        return np.stack([s_mm, h_mm], axis=1) @ self.to_picture()[:, :2].T + [self.column, self.row]

    def turned(self, slope: float, h_mm: float, s_mm: float = 0.0) -> Axis:
        """Return the axis that passes ``h_mm`` at ``s_mm`` and rises by ``slope`` toward the bow."""
        start = self.place(np.array([s_mm]), np.array([h_mm]))[0]
        along = -self.tipward + slope * self.up
        along /= np.hypot(*along)
        origin = start - s_mm * self.per_mm * along
        return Axis(float(origin[0]), float(origin[1]), float(-along[0]), float(-along[1]), self.per_mm)

    def moved(self, s_mm: float) -> Axis:
        """Return the axis with its origin moved by ``s_mm`` toward the bow."""
        origin = self.place(np.array([s_mm]), np.array([0.0]))[0]
        return Axis(float(origin[0]), float(origin[1]), self.tip_column, self.tip_row, self.per_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """The body's outermost points along an axis, on the coarse grid.

    Attributes
    ----------
    s_mm, upper_mm, lower_mm
        Shape (n,): evenly spaced from the tip.
    blade_mm
        s where the blade ends and the bow begins, to a millimetre or two.
    """

    s_mm: Floats
    upper_mm: Floats
    lower_mm: Floats
    blade_mm: float


PROFILE_STEP_MM = 0.1
LEAST_BLADE_MM = 10.0
"""Shorter than any blade with four cuts."""
RUN_IN_MM = 2.2
"""The tip may run in over 2 mm (the published outline); what stands there is no blade edge."""
LEAST_STEP_MM = 0.7
"""A shoulder stands out 1 mm at least; a fillet or a worn corner may take some of it."""
STEEP_MM = 0.2
"""Half the length over which the step must rise: slope 1.75, steeper than any flank of a cut."""
MOST_TURN = 0.012
"""Slope, 0.7 degrees: the coarse axis is better than that."""
WIDEST_TURN = 0.06
"""Slope, 3.4 degrees: so far may a blade with cuts of its own on either edge seem narrowest."""
MOST_TURNS = 8
BLADE_SHARE = 0.8
"""The blade is narrower than this share of the bow."""


def find_coarse_axis(body: Body, pixels_per_mm: float) -> tuple[Axis, Profile]:
    """Return the axis from the coarse body, and the body along it.

    Raises
    ------
    PictureError
        The body has no blade, a coin for one.
    """
    points, rim = find_points(body, pixels_per_mm)
    middle = points.mean(axis=0)
    _, vectors = np.linalg.eigh(np.cov((points - middle).T))
    axis = Axis(float(middle[0]), float(middle[1]), float(vectors[0, 1]), float(vectors[1, 1]), pixels_per_mm)
    for _ in range(3):
        axis = _point_at_tip(axis, points, rim, body)
        profile = measure_profile(axis, points, rim)
        keep = (profile.s_mm > 2.0) & (profile.s_mm < profile.blade_mm - 1.5)
        slope, height = _coarse_slope(profile.s_mm[keep], profile.upper_mm[keep], profile.lower_mm[keep])
        axis = axis.turned(slope, height)
    axis = _point_at_tip(axis, points, rim, body)
    return axis, measure_profile(axis, points, rim)


def find_points(body: Body, pixels_per_mm: float) -> tuple[Floats, float]:
    """Return the body's points in the picture's pixels, and half a coarse pixel in millimetres.

    That far beyond the outermost points lies the body's edge.
    """
    row, column = np.nonzero(body.mask)
    factor = body.part.factor
    points = np.stack([column, row], axis=1).astype(np.float64) * factor + (factor - 1) / 2
    points += [body.part.column, body.part.row]
    return points, factor / 2 / pixels_per_mm


def _point_at_tip(axis: Axis, points: Floats, rim: float, body: Body) -> Axis:
    """Return the axis with s = 0 at the tip and the tip at the blade's end."""
    ends = []
    for turn in (1.0, -1.0):
        trial = Axis(axis.column, axis.row, turn * axis.tip_column, turn * axis.tip_row, axis.per_mm)
        along = -((points - [trial.column, trial.row]) @ trial.tipward) / trial.per_mm
        trial = trial.moved(float(along.min()) - rim)
        ends.append((measure_profile(trial, points, rim).blade_mm, trial))
    blade, best = max(ends, key=lambda end: end[0])
    if blade < LEAST_BLADE_MM:
        _refuse_bladeless(body)
    return best


def measure_profile(axis: Axis, points: Floats, rim: float) -> Profile:
    """Return the outermost points across an axis, a tenth of a millimetre apart."""
    away = (points - [axis.column, axis.row]) / axis.per_mm
    s, h = -(away @ axis.tipward), away @ axis.up
    # A pixel has a width: else a column of pixels nearly square to the axis falls apart into two places, an
    # upper part and a lower one.
    places = [np.clip(((s + side * 0.6 * rim) / PROFILE_STEP_MM).astype(int), 0, None) for side in (-1, 1)]
    count = int(places[1].max()) + 1
    upper, lower = np.full(count, -np.inf), np.full(count, np.inf)
    for place in places:
        np.maximum.at(upper, place, h + rim)
        np.minimum.at(lower, place, h - rim)
    s_mm = np.asarray((np.arange(count) + 0.5) * PROFILE_STEP_MM, dtype=np.float64)
    seen = np.isfinite(upper)
    upper = np.asarray(np.interp(s_mm, s_mm[seen], upper[seen]), dtype=np.float64)
    lower = np.asarray(np.interp(s_mm, s_mm[seen], lower[seen]), dtype=np.float64)
    width = upper - lower
    wide = width > BLADE_SHARE * float(np.percentile(width, 97))
    blade = float(s_mm[int(np.argmax(wide))]) if wide.any() else 0.0
    for edge in (upper, -lower):
        step = find_step(s_mm, edge)
        if step is not None:
            blade = min(blade, float(s_mm[step]))
    return Profile(s_mm, upper, lower, blade)


def find_step(s: Floats, height: Floats) -> int | None:
    """Return the index of the first steep step that rises above all of the blade before it."""
    step = float(s[1] - s[0])
    half, ahead, start = round(STEEP_MM / step), round(0.4 / step), int(np.searchsorted(s, RUN_IN_MM))
    before = np.maximum.accumulate(np.where(np.arange(s.size) >= start, height, -np.inf))
    i = np.arange(start + 4 * ahead, s.size - ahead)
    steep = height[i + half] - height[i - half] >= LEAST_STEP_MM
    found = i[steep & (height[i + ahead] - before[i - ahead] >= 0.8 * LEAST_STEP_MM)]
    if not found.size:
        return None
    window = np.arange(found[0] - half, min(int(found[0]) + 2 * half, s.size - 1))
    weight = np.maximum(height[window + 1] - height[window - 1], 0)
    return round(float((window * weight).sum() / weight.sum()))


def _refuse_bladeless(body: Body) -> None:
    import cv2

    lines, _ = cv2.findContours(body.mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(lines, key=len)
    _, radius = cv2.minEnclosingCircle(outline)
    full = cv2.contourArea(outline) / (math.pi * radius**2)
    what = "something round without a blade" if full > 0.85 else "something without a blade"
    raise PictureError(
        f"{what}, {2 * radius / body.part.per_mm:.0f} mm across",
        "a whole key, blade and bow",
        hint="lay the key flat, alone, and take the picture again",
    )


def refine_axis(
    s_mm: Floats, upper_mm: Floats, lower_mm: Floats, sd_mm: float, widest: float
) -> tuple[float, float, str]:
    """Return slope up to ``widest``, height at s = 0 and what they rest on, from the blade's measured edges.

    The slope is that of the straightest of lower edge, upper edge and middle line; of a blade with its
    own cuts on either edge, that of the flats.
    """
    seen = np.isfinite(upper_mm) & np.isfinite(lower_mm)
    return _straightest(s_mm[seen], upper_mm[seen], lower_mm[seen], max(0.012, 3 * sd_mm), widest)


def _coarse_slope(s: Floats, upper: Floats, lower: Floats) -> tuple[float, float]:
    """Return slope and height at s = 0 of a straight edge or middle line, or else the narrowest direction."""
    slope, height, name = _straightest(s, upper, lower, 0.12, 0.06)
    return _narrowest(s, upper, lower) if name == "the flats" else (slope, height)


def _narrowest(s: Floats, upper: Floats, lower: Floats) -> tuple[float, float]:
    """Return slope and height at s = 0 of the direction in which the blade is narrowest."""
    trial = np.linspace(-0.12, 0.12, 241)
    rise = trial[:, None] * s
    tops = np.percentile(upper - rise, 97, axis=1)
    bottoms = np.percentile(lower - rise, 3, axis=1)
    best = int(np.argmin(tops - bottoms))
    return float(trial[best]), float(tops[best] + bottoms[best]) / 2


def _straightest(
    s: Floats, upper: Floats, lower: Floats, near_mm: float, widest: float
) -> tuple[float, float, str]:
    found = []
    for name, edge, least in (
        ("the lower edge", lower, 0.6),
        ("the upper edge", upper, 0.6),
        ("the middle line", (upper + lower) / 2, 0.8),
    ):
        slope, share = _fit_line(s, edge, near_mm, widest)
        found.append((share / least, slope, name))
    share, slope, name = max(found)
    if share < 1:
        slope, name = _flats_slope(s, upper, lower, widest), "the flats"
    level_upper = float(np.percentile(upper - slope * s, 95))
    level_lower = float(np.percentile(lower - slope * s, 5))
    return slope, (level_upper + level_lower) / 2, name


def _fit_line(s: Floats, edge: Floats, near_mm: float, widest: float) -> tuple[float, float]:
    """Return the slope of the line that most points lie on, and their share."""
    best, best_share = 0.0, -1.0
    middle = s - s.mean()
    # Every slope is tried first: least squares would be pulled by the cuts.
    thin = slice(None, None, max(1, s.size // 250))
    for slope in np.linspace(-widest, widest, 81):
        rest = np.sort(edge[thin] - slope * middle[thin])
        share = float((np.searchsorted(rest, rest + 2 * near_mm) - np.arange(rest.size)).max()) / rest.size
        if share > best_share:
            best, best_share = float(slope), share
    for gate in (2.5, 1.5, 1.0, 1.0):
        rest = edge - best * middle
        ordered = np.sort(rest)
        count = np.searchsorted(ordered, ordered + 2 * near_mm) - np.arange(ordered.size)
        start = int(np.argmax(count))
        level = float(np.median(ordered[start : start + int(count[start])]))
        chosen = np.abs(rest - level) < gate * max(near_mm, 0.012)
        if chosen.sum() < 10:
            break
        best = float(np.polyfit(middle[chosen], edge[chosen], 1)[0])
    return best, best_share


def _flats_slope(s: Floats, upper: Floats, lower: Floats, widest: float) -> float:
    """Return the slope at which the heights gather most sharply on a few levels."""
    trial = np.linspace(-widest, widest, 81)
    score = np.array([_gather(s, upper, slope) + _gather(s, lower, slope) for slope in trial])
    best = int(np.argmax(score))
    if 0 < best < trial.size - 1:
        curve = np.polyfit([-1, 0, 1], score[best - 1 : best + 2], 2)
        if curve[0] < 0:
            return float(trial[best] + (trial[1] - trial[0]) * np.clip(-curve[1] / (2 * curve[0]), -1, 1))
    return float(trial[best])


def list_turns(s_mm: Floats, upper_mm: Floats, lower_mm: Floats) -> list[float]:
    """Return slopes at which the heights gather on levels better than near by, the best first."""
    trial = np.linspace(-WIDEST_TURN, WIDEST_TURN, 241)
    score = np.array([_gather(s_mm, upper_mm, slope) + _gather(s_mm, lower_mm, slope) for slope in trial])
    found: list[float] = []
    for place in np.argsort(-score):
        if all(abs(trial[place] - other) > MOST_TURN / 2 for other in found):
            found.append(float(trial[place]))
        if len(found) == MOST_TURNS:
            break
    return found


def _gather(s: Floats, edge: Floats, slope: float) -> float:
    """Return the sum of squares of a smoothed histogram of heights (5 um bins)."""
    rest = edge - slope * (s - s.mean())
    bins = np.bincount(((rest - rest.min()) / 0.005).astype(int))
    smooth = np.convolve(bins, np.exp(-0.5 * (np.arange(-9, 10) / 3.0) ** 2))
    return float((smooth**2).sum())
