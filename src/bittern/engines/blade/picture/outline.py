"""The measured outline of a whole key in a flat picture."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.errors import PictureError
from bittern.engines.blade.picture.axis import (
    MOST_TURN,
    Axis,
    Profile,
    find_coarse_axis,
    find_points,
    list_turns,
    measure_profile,
    refine_axis,
)
from bittern.engines.blade.picture.edges import Crossings, find_crossings
from bittern.engines.blade.picture.flat import FlatPicture
from bittern.engines.blade.picture.segmentation import Body, find_body
from bittern.engines.blade.picture.shoulder import (
    MOST_ASKEW,
    Plane,
    find_shoulders,
    find_squareness,
    find_tip,
    find_turn,
    find_walls,
)
from bittern.engines.blade.silhouette import Camera, Silhouette

Floats = NDArray[np.float64]

BEYOND_MM = 4.0
"""How far the outline is followed into the bow."""
LARGEST_STEP_MM = 0.05
REACH_MM = 0.6
"""How far the true edge may lie from the coarse one."""
BLURRED_MM = 0.25
"""Standard deviation of the blur at which a cut 1 mm wide has lost its flat."""
SD_FLATS = 0.002
"""Slope: roots off by 0.02 mm turn the middle line of eight cuts by a twentieth of a degree, wear by more."""
LEAST_SEEN = 0.6
LARGEST_SD_MM = 0.04
"""Half of what a caliper does; beyond, contrast is too low."""


@dataclass(frozen=True, slots=True, eq=False)
class Stages:
    """All that was found on the way, for drawing."""

    body: Body
    coarse_axis: Axis
    axis: Axis
    profile: Profile
    rests_on: str
    tip: Plane
    shoulders: tuple[Plane, Plane]
    silhouette: Silhouette


@dataclass(frozen=True, slots=True, eq=False)
class Aligned:
    """An axis, the blur, what its direction rests on, and the edges along it (gaps filled)."""

    axis: Axis
    blur_px: float
    rests_on: str
    s_mm: Floats
    upper_mm: Floats
    lower_mm: Floats


def find_silhouette(flat: FlatPicture) -> Silhouette:
    """Return the outline of the one key in a picture, in millimetres.

    Parameters
    ----------
    flat
        A scan, or a photo with perspective and lens removed.

    Returns
    -------
    Silhouette
        Two edges from the tip to a few millimetres into the bow.

    Raises
    ------
    PictureError
        No key, more than one, no blade, cut off, blurred, too small, or too faint.
    """
    return find_stages(flat).silhouette


def find_stages(flat: FlatPicture) -> Stages:
    """Return the outline and every stage before it.

    Raises
    ------
    PictureError
        As for ``find_silhouette``.
    """
    body = find_body(flat)
    coarse, profile = find_coarse_axis(body, flat.pixels_per_mm)
    found = _align(flat, coarse, profile)
    axis, profile, tip = _start_at_tip(flat, body, found.axis)
    if found.rests_on == "the flats":
        found, axis, profile, tip = _square_up(flat, body, found, axis, profile, tip)
    blur, rests_on = found.blur_px, found.rests_on
    shoulders = find_shoulders(flat.grey, axis, profile)
    askew = find_squareness(shoulders)
    if askew is not None and not rests_on.endswith("edge"):
        # Cuts and wear turn the middle line and the flats as much as a shoulder is out of square.
        slope, sd = askew
        share = SD_FLATS**2 / (SD_FLATS**2 + sd**2)
        axis, profile, tip = _start_at_tip(flat, body, axis.turned(share * slope, 0.0))
        shoulders = find_shoulders(flat.grey, axis, profile)
        rests_on += " and the shoulder"
    silhouette = _measure(flat, axis, profile, tip, shoulders, blur)
    return Stages(body, coarse, axis, profile, rests_on, tip, shoulders, silhouette)


def _square_up(
    flat: FlatPicture, body: Body, found: Aligned, axis: Axis, profile: Profile, tip: Plane
) -> tuple[Aligned, Axis, Profile, Plane]:
    """Return the direction in which the shoulder is square too, or else what is given.

    Levels of cuts on either edge may line up askew by chance.
    """
    walls = find_walls(flat.grey, axis, profile)
    if find_squareness(walls) is not None:
        return found, axis, profile, tip
    across = find_turn(walls)
    turns = list_turns(found.s_mm, found.upper_mm, found.lower_mm)
    for turn in turns if across is None else [across, *turns]:
        try:
            turned, turned_profile, _ = _start_at_tip(flat, body, axis.turned(turn, 0.0))
            other = _align(flat, turned, turned_profile, MOST_ASKEW)
            other_axis, other_profile, other_tip = _start_at_tip(flat, body, other.axis)
        except PictureError:
            # Far askew the edges are not followed.
            continue
        if find_squareness(find_walls(flat.grey, other_axis, other_profile)) is not None:
            return other, other_axis, other_profile, other_tip
    return found, axis, profile, tip


def _start_at_tip(flat: FlatPicture, body: Body, axis: Axis) -> tuple[Axis, Profile, Plane]:
    """Return the axis with s = 0 in the tip's plane, the profile along it, and the plane.

    Raises
    ------
    PictureError
        No tip is seen.
    """
    points, rim = find_points(body, flat.pixels_per_mm)
    least = float((-(points - [axis.column, axis.row]) @ axis.tipward).min()) / axis.per_mm
    axis = axis.moved(least - rim)
    tip = find_tip(flat.grey, axis, measure_profile(axis, points, rim))
    if math.isnan(tip.s_mm):
        raise PictureError("a key without a clear tip", "a tip with empty ground before it")
    axis = axis.moved(tip.s_mm)
    return axis, _shift(measure_profile(axis.moved(-1.0), points, rim), -1.0), tip


def _shift(profile: Profile, by_mm: float) -> Profile:
    """Return the profile with s counted from elsewhere, and only what lies at s > 0."""
    s = profile.s_mm + by_mm
    keep = s > 0
    return Profile(s[keep], profile.upper_mm[keep], profile.lower_mm[keep], profile.blade_mm + by_mm)


def _align(flat: FlatPicture, axis: Axis, profile: Profile, widest: float = MOST_TURN) -> Aligned:
    """Return the axis by the measured edges of the blade, in two rounds of a turn up to ``widest``."""
    # Every other pixel of a fine scan will do for a direction.
    s = np.arange(1.8, profile.blade_mm - 1.0, min(max(2 / flat.pixels_per_mm, 0.05), 0.09))
    upper, lower = np.interp(s, profile.s_mm, profile.upper_mm), np.interp(s, profile.s_mm, profile.lower_mm)
    rests_on, blur = "", None
    for _ in range(2):
        above = _cross(flat, axis, s, upper, blur=blur)
        below = _cross(flat, axis, s, lower, side=-1.0, blur=blur)
        blur = (above.blur_px + below.blur_px) / 2
        _check_edges(flat, above, below)
        upper, lower = _heights(flat, upper, above), _heights(flat, lower, below, side=-1.0)
        sd = float(np.nanmedian(above.sd_px) + np.nanmedian(below.sd_px)) / 2 / flat.pixels_per_mm
        slope, height, rests_on = refine_axis(s, upper, lower, sd, widest)
        axis = axis.turned(slope, height)
        upper, lower = (_filled(s, edge) - slope * s - height for edge in (upper, lower))
    return Aligned(axis, blur or 1.0, rests_on, s, upper, lower)


def _filled(s: Floats, edge: Floats) -> Floats:
    seen = np.isfinite(edge)
    return np.interp(s, s[seen], edge[seen])


def _cross(
    flat: FlatPicture, axis: Axis, s: Floats, edge: Floats, *, side: float = 1.0, blur: float | None = None
) -> Crossings:
    return find_crossings(
        flat.grey,
        axis.place(s, edge),
        side * axis.up,
        reach_px=REACH_MM * flat.pixels_per_mm,
        pitch_px=float(s[1] - s[0]) * flat.pixels_per_mm,
        blur_px=blur,
    )


def _heights(flat: FlatPicture, edge: Floats, found: Crossings, side: float = 1.0) -> Floats:
    return edge + side * found.offset_px / flat.pixels_per_mm


def _check_edges(flat: FlatPicture, above: Crossings, below: Crossings) -> None:
    """Refuse edges that say too little.

    Raises
    ------
    PictureError
        Blurred, faint, or not followed over most of the blade.
    """
    blur = max(above.blur_px, below.blur_px) / flat.pixels_per_mm
    if blur > BLURRED_MM:
        raise PictureError(
            f"blurred edges ({blur:.2f} mm)",
            f"edges sharp to {BLURRED_MM} mm",
            hint="clean the glass, lay the key flat, focus on it and take the picture again",
        )
    seen = min(float(np.isfinite(found.offset_px).mean()) for found in (above, below))
    if seen < LEAST_SEEN:
        raise PictureError(
            f"a blade whose edge is seen over {100 * seen:.0f} % of its length only",
            f"at least {100 * LEAST_SEEN:.0f} %",
            hint="brush the key and the ground clean, light it evenly and take the picture again",
        )
    sd = max(float(np.nanmedian(found.sd_px)) for found in (above, below)) / flat.pixels_per_mm
    if sd > LARGEST_SD_MM:
        raise PictureError(
            f"edges uncertain by {sd:.2f} mm",
            f"at most {LARGEST_SD_MM} mm",
            hint="put the key on a lighter or darker ground, or scan at 600 dpi",
        )


def _measure(
    flat: FlatPicture,
    axis: Axis,
    profile: Profile,
    tip: Plane,
    shoulders: tuple[Plane, Plane],
    blur_px: float,
) -> Silhouette:
    per_mm = flat.pixels_per_mm
    walls = [plane.s_mm for plane in shoulders if not math.isnan(plane.s_mm)]
    if not walls:
        raise PictureError(
            "a key without a shoulder",
            "a blade that meets the bow in a step",
            hint="show the whole key, blade and bow",
        )
    end = min(max(walls) + BEYOND_MM, float(profile.s_mm[-1]) - 1.0)
    s = np.arange(0, end, min(1 / per_mm, LARGEST_STEP_MM))
    edges = {}
    for side, coarse, wall in (
        (1.0, profile.upper_mm, shoulders[0].s_mm),
        (-1.0, profile.lower_mm, shoulders[1].s_mm),
    ):
        start = np.interp(s, profile.s_mm, coarse)
        found = _cross(flat, axis, s, start, side=side, blur=blur_px)
        height = _heights(flat, start, found, side)
        # Across the wall of the shoulder a height means nothing.
        height[np.abs(s - wall) < 3 * found.blur_px / per_mm] = np.nan
        sd = np.where(np.isfinite(height), found.sd_px / per_mm, np.nan)
        edges[side] = (height, sd, found)
    dropped = sum(found.dropped for _, _, found in edges.values())
    sds = [plane.sd_mm for plane in shoulders if not math.isnan(plane.sd_mm)]
    silhouette = Silhouette(
        s_mm=s,
        upper_mm=edges[1.0][0],
        lower_mm=edges[-1.0][0],
        upper_sd_mm=edges[1.0][1],
        lower_sd_mm=edges[-1.0][1],
        shoulder_upper_mm=shoulders[0].s_mm,
        shoulder_lower_mm=shoulders[1].s_mm,
        shoulder_sd_mm=max(sds),
        tip_sd_mm=tip.sd_mm,
        resolution_mm=1 / per_mm,
        to_picture=axis.to_picture(),
        notes=_notes(axis, dropped, 2 * len(s)),
    )
    return replace(silhouette, camera=_find_camera(flat, axis))


def _notes(axis: Axis, dropped: int, lines: int) -> tuple[str, ...]:
    turn = math.degrees(math.atan2(axis.tip_row, axis.tip_column))
    way = "right" if abs(turn) <= 90 else "left"
    off = turn if way == "right" else (turn - math.copysign(180, turn))
    notes = [f"the tip points {way}, turned by {off:.1f} degrees"]
    if dropped > 0.01 * lines:
        notes.append(f"dust or marks left out on {100 * dropped / lines:.0f} % of the edge")
    return tuple(notes)


def _find_camera(flat: FlatPicture, axis: Axis) -> Camera | None:
    if flat.foot_column is None or flat.foot_row is None or flat.height_mm is None:
        return None
    away = np.array([flat.foot_column - axis.column, flat.foot_row - axis.row]) / axis.per_mm
    return Camera(
        float(-(away @ axis.tipward)), float(away @ axis.up), flat.height_mm, flat.sd_log_height or 0.0
    )
