"""Where a photo of the measuring card is refused, and the words for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.errors import CardError
from bittern.engines.blade.picture.board import BOARD, SQUARE_MM, locate_corners
from bittern.engines.blade.picture.camera import Pose
from bittern.engines.blade.picture.card_view import list_field_corners, measure_scales, name_sides

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limits:
    """Where a photo of the card is refused, and what the search goes by.

    Attributes
    ----------
    search_px
        Long side of the copy on which markers are searched: their modules have three pixels where the card
        fills a third of it.
    least_markers
        Fewer of them are chance or useless.
    least_pixels_per_mm
        Below, a tenth of a pixel is more than a hundredth of a millimetre times two.
    most_blur_mm
        Standard deviation of the blur; more than that rounds the roots of cuts away.
    most_bend_mm
        Of the smooth part of the corners' residuals: at the limit the middle of the card stands off by 1 to
        2 mm, and lengths in the field are off by up to a fifth of a per cent.
    bent_alike
        So many corners are off alike where the card is bent: 228 coordinates by the 20 terms of a cubic.
    least_share
        Of a side's corners: with fewer the field is not held on that side.
    most_tilt_deg, least_height_mm
        Past these the thickness of a key shifts its outline by more than a depth step; a margin is left for
        hands.
    most_pixels_per_mm
        Of the flat picture.
    """

    search_px: int = 1600
    least_markers: int = 6
    least_pixels_per_mm: float = 5.0
    most_blur_mm: float = 0.3
    most_bend_mm: float = 0.03
    bent_alike: float = 11.0
    least_share: float = 0.6
    most_tilt_deg: float = 16.0
    least_height_mm: float = 180.0
    most_pixels_per_mm: int = 48


LIMITS = Limits()

LEAST_SIDE_PX = 32
LEAST_SQUARES, LEAST_SQUARE_PX = 20, 8.0
_SHARPER = "hold still, let the camera focus on the card, use more light"
WHOLE = "the whole measuring card, sharp and evenly lit"


def refuse_unreadable(sides_px: Floats) -> None:
    """Say of many squares of one size without a marker to be read that they are too blurred or too small."""
    if not len(sides_px):
        return
    usual = float(np.median(sides_px))
    alike = int((np.abs(np.log(sides_px / usual)) < 0.25).sum())
    if usual < LEAST_SQUARE_PX or alike < max(LEAST_SQUARES, len(sides_px) / 2):
        return
    refuse_scale(usual / SQUARE_MM)
    found = "a blurred photo: squares like the measuring card's, but none of its markers can be read"
    raise CardError(found, WHOLE, hint=_SHARPER)


def refuse_cut(pose: Pose) -> None:
    left, right, top, bottom = BOARD.left_mm, BOARD.right_mm, BOARD.top_mm, BOARD.bottom_mm
    corners = pose.project(np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))
    columns, rows = pose.size_px
    x, y = corners.T
    over = {
        "left": (x < 0).any(),
        "right": (x > columns - 1).any(),
        "upper": (y < 0).any(),
        "lower": (y > rows - 1).any(),
    }
    if sides := [name for name, is_over in over.items() if is_over]:
        raise CardError(
            f"a measuring card cut off at the photo's {' and '.join(sides)} edge",
            "the whole card in the picture",
            hint="hold the camera further away, and do not crop the photo",
        )


def refuse_covered(points: Floats) -> None:
    all_sides, seen_sides = name_sides(locate_corners()), name_sides(points)
    for name, side in all_sides.items():
        share = seen_sides[name].sum() / side.sum()
        if share < LIMITS.least_share:
            raise CardError(
                f"a measuring card of whose {name} side {share:.0%} of the corners are seen",
                f"at least {LIMITS.least_share:.0%} on every side",
                hint="take away what lies on the squares; no glare and no hard shadow on them",
            )


def refuse_small(pose: Pose) -> None:
    refuse_scale(float(measure_scales(pose, list_field_corners())[:, 0].min()))


def refuse_scale(pixels_per_mm: float) -> None:
    if pixels_per_mm < LIMITS.least_pixels_per_mm:
        # Rounded down: 4.97 is not 5.
        raise CardError(
            f"a measuring card with {np.floor(10 * pixels_per_mm) / 10:.1f} pixels to the millimetre",
            f"at least {LIMITS.least_pixels_per_mm:.0f}",
            hint="let the card fill the picture, or use a camera of more pixels",
        )


def refuse_blurred(blur_mm: float) -> None:
    if not blur_mm <= LIMITS.most_blur_mm:
        raise CardError(
            f"a blurred photo: the squares' edges are {2.56 * blur_mm:.2f} mm wide"
            if np.isfinite(blur_mm)
            else "squares without edges",
            f"at most {2.56 * LIMITS.most_blur_mm:.2f} mm from a tenth to nine tenths",
            hint=_SHARPER,
        )


def refuse_bent(bend_mm: float) -> None:
    if bend_mm > LIMITS.most_bend_mm:
        raise CardError(
            f"a bent measuring card: its corners are {bend_mm:.3f} mm off a plane's",
            f"at most {LIMITS.most_bend_mm:.3f} mm",
            hint="press the card flat or glue it on something stiff",
        )


def refuse_pose(pose: Pose) -> None:
    if pose.tilt_deg > LIMITS.most_tilt_deg:
        raise CardError(
            f"a camera tilted by {pose.tilt_deg:.0f} degrees",
            f"at most {LIMITS.most_tilt_deg:.0f} degrees",
            hint="hold it straight above: seen from the side, the key's thickness hides its outline",
        )
    # Only what is surely too near: straight from above the height is known to a tenth at best.
    height = float(pose.lens_mm[2])
    if height * np.exp(2 * pose.sd_log_height) < LIMITS.least_height_mm:
        raise CardError(
            f"a camera {height:.0f} mm above the card",
            "200 mm or more",
            hint="hold it higher: so near, the key's thickness shifts its outline",
        )
