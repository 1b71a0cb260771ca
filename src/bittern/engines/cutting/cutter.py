"""A cutter as a pack describes it."""

from __future__ import annotations

from dataclasses import dataclass

CUTTER_KINDS = ("wheel", "endmill")
MATERIALS = ("hss", "carbide")


@dataclass(frozen=True, slots=True)
class Cutter:
    """A V-form wheel or an end mill; lengths in millimetres.

    ``flat_mm`` and ``angle_deg`` (included) belong to wheels and are None for end mills.
    """

    id: str
    kind: str
    diameter_mm: float
    teeth: int
    material: str
    flat_mm: float | None = None
    angle_deg: float | None = None
