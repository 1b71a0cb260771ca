"""A picture of a key read: scale, outline, bitting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bittern.core.errors import InputError
from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.decoding import decode_silhouette, may_be, name_misfit
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.picture.card_fit import flatten_photo
from bittern.engines.blade.picture.flat import MM_PER_INCH, FlatPicture
from bittern.engines.blade.picture.outline import Stages, find_silhouette, find_stages
from bittern.engines.blade.silhouette import Silhouette
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.conformity import USUAL_RISK
from bittern.engines.cutting.inspection import Inspection, inspect_key
from bittern.formats.images import Pixels, decode_picture

LEAST_DPI = 50.0
MOST_DPI = 2400.0


@dataclass(frozen=True, slots=True, eq=False)
class PictureReading:
    """What a picture says, with what is needed to show it and to weigh it again."""

    measurement: Measurement
    flat: FlatPicture
    silhouette: Silhouette
    stages: Stages | None = None


def read_blade_picture(
    raw: bytes,
    standards: Sequence[BladeStandard],
    *,
    dpi: float | None = None,
    heights: Sequence[Reading] = (),
    where: str = "picture",
) -> PictureReading:
    """Return the bitting of the key in a picture.

    Parameters
    ----------
    raw
        A JPEG, PNG, WebP or BMP file.
    standards
        One, or those that compete.
    dpi
        Resolution of a flatbed scan. None: the picture is a photo of a key on the measuring card.
    heights
        Heights of single cuts by caliper; they are added to what the picture says.

    Raises
    ------
    InputError
        No picture, too large, damaged; a dpi that no scanner has.
    CardError
        The measuring card is not seen well enough.
    PictureError
        No key that can be measured, or none of about the standards' size.
    """
    check_dpi(dpi)
    flat = flatten(decode_picture(raw, where), dpi)
    stages = find_stages(flat)
    silhouette = stages.silhouette
    return PictureReading(decode_silhouette(silhouette, standards, heights), flat, silhouette, stages)


@dataclass(frozen=True, slots=True, eq=False)
class PictureInspection:
    """What a picture says of a finished key."""

    inspection: Inspection
    flat: FlatPicture
    silhouette: Silhouette


def inspect_blade_picture(
    raw: bytes,
    standard: BladeStandard,
    bitting: Bitting,
    *,
    dpi: float | None = None,
    risk: float = USUAL_RISK,
    heights: Sequence[Reading] = (),
    where: str = "picture",
) -> PictureInspection:
    """Return whether the finished key in a picture has the heights it should have.

    ``heights`` are of single cuts by caliper; they are weighed in with what the picture says.

    Raises as :func:`read_blade_picture`, and ValueError for a risk that is none.
    """
    check_dpi(dpi)
    flat = flatten(decode_picture(raw, where), dpi)
    silhouette = find_silhouette(flat)
    if standard.kind == "edge" and not may_be(standard, silhouette):
        # At a wrong scale every key would fail, and nobody would know why.
        raise name_misfit(silhouette, (standard,))
    found = inspect_key(silhouette, standard, bitting, risk=risk, readings=heights)
    return PictureInspection(found, flat, silhouette)


def check_dpi(dpi: float | None) -> None:
    """Refuse a resolution that no scan has; raises InputError."""
    if dpi is not None and not LEAST_DPI <= dpi <= MOST_DPI:
        raise InputError(f"{dpi:g} dpi", f"{LEAST_DPI:g} to {MOST_DPI:g} dpi", where="dpi")


def flatten(pixels: Pixels, dpi: float | None) -> FlatPicture:
    """Return the picture with one scale everywhere: by its dpi, or by the measuring card in it."""
    grey = to_grey(pixels)
    if dpi is None:
        return flatten_photo(grey)
    return FlatPicture(grey, dpi / MM_PER_INCH, f"{dpi:g} dpi")


def to_grey(pixels: Pixels) -> Pixels:
    """Return the luminance of a picture (ITU-R BT.601 weights), 8 bits."""
    import cv2

    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
