"""A measured outline in the bench: cut out of its picture, held against the caliper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from bittern.engines.blade.bitting import UNKNOWN, name_cut
from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.standard import BladeStandard

if TYPE_CHECKING:
    from bittern.work.blade_picture import PictureReading

MARGIN_MM = 4.5
BOW_MM = 4.5
MOST_PIXELS_PER_MM = 40.0
APART_SD = 4.0
"""Beyond four standard deviations and the tolerance two measurements are of different things."""
MOST_LOSS_STEPS = 0.85
"""What wear may take from a root, in depth steps (the model of the reading)."""


def find_disagreements(
    standard: BladeStandard, found: Measurement, heights: Sequence[Reading]
) -> tuple[str, ...]:
    """Return a sentence for each cut whose depth, as read, is none that the caliper's height can come from.

    Dirt in a cut looks like steel: weighed together, a clear picture would win over the caliper unnoticed.
    """
    depths = dict(zip(standard.labels, standard.depths_mm, strict=True))
    step_mm = abs(standard.depths_mm[-1] - standard.depths_mm[0]) / max(1, len(depths) - 1)
    said = []
    for one in heights:
        label = found.cuts[one.cut].label
        if label == UNKNOWN:
            continue
        slack_mm = APART_SD * one.sd_mm + standard.tolerance_mm
        lowest_mm = depths[label] - slack_mm - (MOST_LOSS_STEPS * step_mm if standard.kind == "edge" else 0.0)
        if not lowest_mm <= one.height_mm <= depths[label] + slack_mm:
            name = name_cut(standard, *divmod(one.cut, len(standard.positions_mm)))
            said.append(
                f"at cut {name} the caliper reads {one.height_mm:.2f} mm, and the picture says depth {label},"
                f" {depths[label]:.2f} mm: brush the cut clean, measure it again, or take a new picture"
            )
    return tuple(said)


def cut_out(found: PictureReading) -> tuple[bytes, tuple[int, int], np.ndarray]:
    """Return the blade and a little around it as JPEG, its size, and the map from (s, h) to its pixels.

    The tip points right, as in the silhouette. The rest of the picture is nobody's business.
    """
    import cv2

    from bittern.formats.images import encode_picture

    outline = found.silhouette
    heights = np.concatenate([outline.upper_mm, outline.lower_mm])
    shoulders = [outline.shoulder_upper_mm, outline.shoulder_lower_mm]
    shoulders = [one for one in shoulders if np.isfinite(one)]
    far = min(float(outline.s_mm[-1]), (max(shoulders) + BOW_MM) if shoulders else float("inf"))
    blade = heights[np.isfinite(heights) & np.tile(outline.s_mm <= far - BOW_MM, 2)]
    top, bottom = (float(blade.max()), float(blade.min())) if blade.size else (5.0, -5.0)
    top, bottom, near = top + MARGIN_MM, bottom - MARGIN_MM, -MARGIN_MM / 2
    scale = min(found.flat.pixels_per_mm, MOST_PIXELS_PER_MM)
    width, height = max(8, round((far - near) * scale)), max(8, round((top - bottom) * scale))
    frame = np.array([[-scale, 0.0, far * scale], [0.0, -scale, top * scale]])
    back = np.linalg.inv(np.vstack([frame, [0.0, 0.0, 1.0]]))
    seen = cv2.warpAffine(
        found.flat.grey,
        outline.to_picture @ back,
        (width, height),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return encode_picture(np.asarray(seen, dtype=np.uint8), quality=85), (width, height), frame
