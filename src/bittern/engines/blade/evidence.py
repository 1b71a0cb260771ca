"""What a silhouette and single readings say about one standard: samples with their places and weights."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.silhouette import Camera, Silhouette
from bittern.engines.blade.standard import BladeStandard

Floats = NDArray[np.float64]

TIP_MM: Final = 2.0
"""The last stretch at the tip may run in and says nothing about the bitting (formats.md)."""
SHOULDER_MM: Final = 0.5
"""Beside the shoulder a fillet or the blur of its step reaches into the blade."""
THIN_MM: Final = 0.1
"""Samples closer than this are averaged: what the model leaves unexplained does not change so fast."""
ALIKE_MM: Final = 0.7
"""Over this length what the model leaves unexplained is alike: it counts as one observation."""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Samples of one edge.

    ``outward_mm`` counts away from the axis on both edges; ``edge`` says which bitting it shows (None: the
    straight back edge); ``sign`` is 1 above the axis, -1 below. ``weight`` is each sample's share of an
    observation.
    """

    edge: int | None
    sign: int
    s_mm: Floats
    outward_mm: Floats
    sd_mm: Floats
    weight: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """All that was seen of one blade.

    ``shoulder_mm`` is the observed distance from the tip plane; where none was seen it is the standard's
    length and ``shoulder_seen`` False. ``readings`` are single heights by caliper.
    """

    blocks: tuple[Block, ...]
    shoulder_mm: float
    shoulder_seen: bool
    place_sd_mm: float
    resolution_mm: float
    camera: Camera | None
    readings: tuple[Reading, ...]


def gather(
    silhouette: Silhouette, standard: BladeStandard, readings: Sequence[Reading] = (), *, cut_edge: int = 1
) -> Evidence:
    """Return the evidence about ``standard``; ``cut_edge`` is the side (1 upper, -1 lower) of a single edge.

    The samples are the same for every standard that competes, so that their evidences can be compared.
    """
    shoulder = _choose_shoulder(silhouette, standard, cut_edge)
    seen = math.isfinite(shoulder)
    if not seen:
        shoulder = standard.length_mm
    inside = (silhouette.s_mm >= TIP_MM) & (silhouette.s_mm <= shoulder - SHOULDER_MM)
    blocks = []
    for sign, heights, sds in (
        (1, silhouette.upper_mm, silhouette.upper_sd_mm),
        (-1, silhouette.lower_mm, silhouette.lower_sd_mm),
    ):
        if standard.sides == "single":
            edge = 0 if sign == cut_edge else None
        else:
            edge = 0 if standard.sides == "mirror" or sign == upper_sign(standard) else 1
        keep = inside & np.isfinite(heights)
        blocks.append(_thin(edge, sign, silhouette.s_mm[keep], sign * heights[keep], sds[keep]))
    place_sd = silhouette.shoulder_sd_mm if standard.datum == "shoulder" else silhouette.tip_sd_mm
    return Evidence(
        blocks=tuple(blocks),
        shoulder_mm=shoulder,
        shoulder_seen=seen,
        place_sd_mm=math.hypot(place_sd, 0.03) if seen or standard.datum == "tip" else 0.5,
        resolution_mm=silhouette.resolution_mm,
        camera=silhouette.camera,
        readings=tuple(readings),
    )


def lay_flat(evidence: Evidence, thickness_mm: float) -> Evidence:
    """Return the evidence with the blade's thickness taken out, roughly: for a search, not for a fit.

    Where the nearer face stands out (the edge looks away from the camera's foot) its outline is drawn back
    onto the ground; else the outline is that of the face on the ground already.
    """
    camera = evidence.camera
    if camera is None:
        return evidence
    grow = camera.height_mm / (camera.height_mm - thickness_mm)
    foot_s = camera.foot_s_mm
    tip = max(0.0, foot_s * (1 - 1 / grow))
    shoulder = evidence.shoulder_mm
    if foot_s > shoulder:
        shoulder = foot_s + (shoulder - foot_s) / grow
    blocks = []
    for block in evidence.blocks:
        foot = block.sign * camera.foot_h_mm
        stands_out = block.outward_mm > foot
        drawn = foot + (block.outward_mm - foot) / grow
        s = np.where(stands_out, foot_s + (block.s_mm - foot_s) / grow, block.s_mm) - tip
        outward = np.where(stands_out, drawn, block.outward_mm)
        blocks.append(replace(block, s_mm=s, outward_mm=outward))
    return replace(evidence, blocks=tuple(blocks), shoulder_mm=shoulder - tip, camera=None)


def upper_sign(standard: BladeStandard) -> int:
    """Return the side, with the tip to the right, of the edge that is up when x grows to the right (A)."""
    return 1 if standard.datum == "shoulder" else -1


def find_cut_edge(silhouette: Silhouette) -> int:
    """Return the side of a ``single`` blade's cuts: 1 above, -1 below; the other edge is straight."""
    found = [s for s in (silhouette.shoulder_upper_mm, silhouette.shoulder_lower_mm) if math.isfinite(s)]
    far = min(found) if found else float(silhouette.s_mm[-1])
    inside = (silhouette.s_mm >= TIP_MM) & (silhouette.s_mm <= far - SHOULDER_MM)
    return (
        1
        if _roughness(silhouette, silhouette.upper_mm, inside)
        >= _roughness(silhouette, silhouette.lower_mm, inside)
        else -1
    )


def _roughness(silhouette: Silhouette, heights: Floats, inside: NDArray[np.bool_]) -> float:
    keep = inside & np.isfinite(heights)
    if keep.sum() < 3:
        return 0.0
    line = np.polynomial.Polynomial.fit(silhouette.s_mm[keep], heights[keep], 1)
    return float(np.median(np.abs(heights[keep] - line(silhouette.s_mm[keep]))))


def find_centre(standard: BladeStandard, evidence: Evidence) -> tuple[float, float]:
    """Return where the reference line lies at the blade's middle, and its tilt, against the axis."""
    middle = evidence.shoulder_mm / 2
    upper, lower = evidence.blocks
    if standard.sides == "single":
        back = upper if upper.edge is None else lower
        return _fit_line(back.s_mm - middle, back.sign * back.outward_mm)
    if standard.sides == "mirror":
        places = np.concatenate((upper.s_mm, lower.s_mm))
        other = np.interp(lower.s_mm, upper.s_mm, upper.outward_mm)
        half = np.interp(upper.s_mm, lower.s_mm, lower.outward_mm)
        centre = np.concatenate(((upper.outward_mm - half) / 2, (other - lower.outward_mm) / 2))
        return _fit_line(places - middle, centre)
    return float(np.median(upper.outward_mm) - np.median(lower.outward_mm)) / 2, 0.0


def _fit_line(places: Floats, heights: Floats) -> tuple[float, float]:
    if len(places) < 3:
        return 0.0, 0.0
    keep = np.ones(len(places), dtype=bool)
    slope = level = 0.0
    for _ in range(4):
        slope, level = np.polyfit(places[keep], heights[keep], 1)
        off = np.abs(heights - level - slope * places)
        keep = off <= max(3 * float(np.median(off)), 0.005)
    return float(level), float(slope)


def _choose_shoulder(silhouette: Silhouette, standard: BladeStandard, cut_edge: int) -> float:
    upper, lower = silhouette.shoulder_upper_mm, silhouette.shoulder_lower_mm
    if standard.sides == "single":
        first, second = (upper, lower) if cut_edge == 1 else (lower, upper)
        return first if math.isfinite(first) else second
    found = [place for place in (upper, lower) if math.isfinite(place)]
    if len(found) == 2 and abs(upper - lower) < 0.3:
        return (upper + lower) / 2
    # Where they disagree the one nearer to the tip is the blade's end: beyond it the key is wider anyhow.
    return min(found) if found else math.nan


def _thin(edge: int | None, sign: int, s: Floats, outward: Floats, sd: Floats) -> Block:
    """Average neighbours and give each mean its share of an observation."""
    if not len(s):
        return Block(edge, sign, s, outward, sd, s.copy())
    cells = np.floor(s / THIN_MM).astype(np.intp)
    cells -= cells[0]
    count = np.bincount(cells)
    full = count > 0
    count = count[full]

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(cells, values)[full] / count, dtype=np.float64)

    sd_of_mean = np.sqrt(mean(np.square(sd)) / count)
    return Block(edge, sign, mean(s), mean(outward), sd_of_mean, np.full(len(count), THIN_MM / ALIKE_MM))
