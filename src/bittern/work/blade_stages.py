"""How the outline of a key was found, step by step, as lines over its picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from bittern.engines.blade.picture.axis import Axis
    from bittern.engines.blade.picture.outline import Stages
    from bittern.engines.blade.picture.segmentation import Body

Floats = NDArray[np.float64]

BEYOND_MM = 3.0
PLANE_MM = 7.0


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """One step: its title, and lines of shape (n, 2) in pixels of the flat picture; NaN breaks one."""

    title: str
    lines: tuple[Floats, ...]


def trace_stages(stages: Stages) -> tuple[Stage, ...]:
    """Return the steps in their order, from the key told from the ground to its tip and shoulder."""
    outline = stages.silhouette
    ones = np.ones_like(outline.s_mm)
    edges = tuple(
        (outline.to_picture @ np.vstack([outline.s_mm, height, ones])).T
        for height in (outline.upper_mm, outline.lower_mm)
    )
    planes = [_cross(stages.axis, stages.tip.s_mm, -PLANE_MM, PLANE_MM)]
    planes += [
        _cross(stages.axis, plane.s_mm, low, high)
        for plane, low, high in zip(stages.shoulders, (0.0, -PLANE_MM), (PLANE_MM, 0.0), strict=True)
        if np.isfinite(plane.s_mm)
    ]
    far = stages.profile.blade_mm + BEYOND_MM
    return (
        Stage("The key told from the ground", _trace_body(stages.body)),
        Stage("The axis of the blade, first by its shape", (_run_along(stages.coarse_axis, far),)),
        Stage(f"The axis by {stages.rests_on}", (_run_along(stages.axis, far),)),
        Stage("Both edges, where the grey changes", edges),
        Stage("The planes of tip and shoulder", tuple(planes)),
    )


def _trace_body(body: Body) -> tuple[Floats, ...]:
    import cv2

    part = body.part
    contours, _ = cv2.findContours(body.mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    lines = []
    for contour in contours:
        points = cv2.approxPolyDP(contour, 0.5, closed=True)[:, 0, :].astype(np.float64)
        closed = np.vstack([points, points[:1]])
        # From the middle of a coarse pixel to the middle of the picture's pixels under it.
        lines.append((closed + 0.5) * part.factor - 0.5 + [part.column, part.row])
    return tuple(lines)


def _run_along(axis: Axis, far_mm: float) -> Floats:
    return axis.place(np.array([-BEYOND_MM, far_mm]), np.zeros(2))


def _cross(axis: Axis, s_mm: float, low_mm: float, high_mm: float) -> Floats:
    return axis.place(np.full(2, s_mm), np.array([low_mm, high_mm]))
