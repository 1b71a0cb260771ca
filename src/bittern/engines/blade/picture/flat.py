"""A picture of a key in which a millimetre is the same number of pixels everywhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True, eq=False)
class FlatPicture:
    """A scan as it is, or a photo of the measuring card with perspective and lens removed.

    Attributes
    ----------
    grey
        Shape (rows, columns), 8 bits.
    pixels_per_mm
        Along rows and columns.
    scale_from
        What gave the scale, in words: "600 dpi from the file", "the measuring card".
    foot_column, foot_row, height_mm, sd_log_height
        Where the lens stood: the point of the ground straight below it in pixels of ``grey`` (it may lie
        outside), its height above the ground and the standard deviation of that height's logarithm. All None
        for a scan.
    residual_mm
        Root mean square of the card's corners about the fit; None for a scan.
    notes
        What was done or noticed, in words.
    """

    grey: NDArray[np.uint8]
    pixels_per_mm: float
    scale_from: str
    foot_column: float | None = None
    foot_row: float | None = None
    height_mm: float | None = None
    sd_log_height: float | None = None
    residual_mm: float | None = None
    notes: tuple[str, ...] = ()
