"""The card's markers in a photo, whichever way it is turned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.errors import CardError
from bittern.engines.blade.picture.board import build_charuco, locate_markers
from bittern.engines.blade.picture.card_limits import LEAST_SIDE_PX, LIMITS, WHOLE, refuse_unreadable

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Markers that agree on one plane, and quadrangles that are none.

    Attributes
    ----------
    places_mm, places_px
        Shape (n, 4, 2): corners on the card and in the photo.
    others_px
        Shape (m,): lengths of the sides of quadrangles without a marker in them.
    """

    places_mm: Floats
    places_px: Floats
    others_px: Floats


def find_markers(grey: Grey) -> Seen:
    """Return the card's markers, searched on a smaller copy and, if need be, on a larger one."""
    import cv2

    if min(grey.shape) < LEAST_SIDE_PX:
        raise CardError(f"a picture of {grey.shape[1]} by {grey.shape[0]} pixels", WHOLE)
    copy, seen = grey, None
    for side in (LIMITS.search_px, 2 * LIMITS.search_px):
        if seen is None or max(grey.shape) > side / 2:
            copy = _shrink(grey, max(grey.shape) / side)
            seen = _detect(copy, grey.shape)
            if len(seen.places_mm) >= LIMITS.least_markers:
                return seen
    assert seen is not None
    if (
        len(_detect(np.asarray(cv2.flip(copy, 1), dtype=np.uint8), grey.shape).places_mm)
        >= LIMITS.least_markers
    ):
        raise CardError(
            "a mirrored measuring card", "the photo as it was seen", hint="switch off the camera's mirroring"
        )
    refuse_unreadable(seen.others_px)
    count = len(seen.places_mm)
    hint = f"{count} of {len(locate_markers())} markers seen; a scan needs its dpi instead"
    raise CardError("no measuring card", WHOLE, hint=hint)


def _shrink(grey: Grey, by: float) -> Grey:
    import cv2

    if by <= 1.0:
        return grey
    size = (round(grey.shape[1] / by), round(grey.shape[0] / by))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _detect(copy: Grey, shape: tuple[int, ...]) -> Seen:
    """Return what a reduced copy of a photo of ``shape`` shows, in the photo's own pixels."""
    import cv2

    known = locate_markers()
    settings = cv2.aruco.DetectorParameters()
    # Narrower windows than a square's side find nothing but noise.
    settings.adaptiveThreshWinSizeMin = 13
    detector = cv2.aruco.ArucoDetector(build_charuco().getDictionary(), settings)
    corners, numbers, others = detector.detectMarkers(copy)
    found = [] if numbers is None else [int(number) for number in np.array(numbers).ravel()]
    pairs = [(known[n], c.reshape(4, 2)) for n, c in zip(found, corners, strict=True) if n in known]
    step = np.array(shape[::-1]) / np.array(copy.shape[::-1])
    places = np.array([place for place, _ in pairs]).reshape(-1, 4, 2)
    pixels = (np.array([one for _, one in pairs], dtype=float).reshape(-1, 4, 2) + 0.5) * step - 0.5
    agreed = _agree(places, pixels, shape)
    sides = [np.sqrt(cv2.contourArea(np.asarray(one, dtype=np.float32))) * step.mean() for one in others]
    return Seen(places[agreed], pixels[agreed], np.array(sides))


def _agree(places_mm: Floats, places_px: Floats, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Return which markers lie on one plane seen from its front: what chance reads does not."""
    import cv2

    if len(places_mm) < LIMITS.least_markers:
        return np.zeros(len(places_mm), dtype=bool)
    # Lenses bend by about a hundredth of the picture; chance markers are off by more.
    allowed = 0.015 * max(shape)
    _, mask = cv2.findHomography(places_mm.reshape(-1, 2), places_px.reshape(-1, 2), cv2.RANSAC, allowed)
    if mask is None:
        return np.zeros(len(places_mm), dtype=bool)
    return np.asarray(np.asarray(mask).reshape(-1, 4).all(axis=1))
