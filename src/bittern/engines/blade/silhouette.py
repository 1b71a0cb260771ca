"""The measured outline of a whole key in millimetres: what the picture stages give and the decoder takes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Camera:
    """Where the camera stood over the blade, in the silhouette's frame.

    A point of the key's upper face, ``t`` above the ground, is seen on the ground at
    ``foot + (point - foot) * height / (height - t)``.

    Attributes
    ----------
    foot_s_mm, foot_h_mm
        The point of the ground straight below the lens.
    height_mm
        Lens above ground.
    sd_log_height
        Standard deviation of the height's logarithm: a photo straight from above says little about it.
    """

    foot_s_mm: float
    foot_h_mm: float
    height_mm: float
    sd_log_height: float


@dataclass(frozen=True, slots=True, eq=False)
class Silhouette:
    """A key's outline as two edges along its axis.

    The frame: the blade's tip points right. ``s`` is the distance from the tip plane (square to the axis
    through the outermost point) toward the bow, so it grows to the left; ``h`` is the height above the axis,
    upward. The axis runs along the blade, about the middle of its width.

    Attributes
    ----------
    s_mm
        Shape (n,): evenly spaced, from 0 at the tip to beyond the shoulder, into the bow.
    upper_mm, lower_mm
        Shape (n,): h of the two edges, lower about negative; NaN where no edge was found.
    upper_sd_mm, lower_sd_mm
        Shape (n,): standard deviation of these heights (measured vertically, so larger on a flank) from the
        picture's noise alone.
    shoulder_upper_mm, shoulder_lower_mm
        s of the plane where the outline leaves the blade toward the bow; NaN where there is none.
    shoulder_sd_mm, tip_sd_mm
        Standard deviations of these planes' places.
    resolution_mm
        Size of a pixel.
    to_picture
        Shape (2, 3): from (s_mm, h_mm) to (column, row) of the flat picture, (0, 0) the middle of its upper
        left pixel. The determinant's sign tells nothing: pictures are never mirrored.
    camera
        None for a scan, where nothing stands between the face and the glass.
    notes
        What was done or noticed, in words (dust left out, a turn of 4.2 degrees).
    """

    s_mm: Floats
    upper_mm: Floats
    lower_mm: Floats
    upper_sd_mm: Floats
    lower_sd_mm: Floats
    shoulder_upper_mm: float
    shoulder_lower_mm: float
    shoulder_sd_mm: float
    tip_sd_mm: float
    resolution_mm: float
    to_picture: Floats
    camera: Camera | None = None
    notes: tuple[str, ...] = ()


def turn_over(silhouette: Silhouette) -> Silhouette:
    """Return the outline of the same key with its other face up: mirrored about its axis."""
    return replace(
        silhouette,
        upper_mm=-silhouette.lower_mm,
        lower_mm=-silhouette.upper_mm,
        upper_sd_mm=silhouette.lower_sd_mm,
        lower_sd_mm=silhouette.upper_sd_mm,
        shoulder_upper_mm=silhouette.shoulder_lower_mm,
        shoulder_lower_mm=silhouette.shoulder_upper_mm,
        to_picture=silhouette.to_picture * np.array([1.0, -1.0, 1.0]),
        camera=replace(silhouette.camera, foot_h_mm=-silhouette.camera.foot_h_mm)
        if silhouette.camera
        else None,
    )
