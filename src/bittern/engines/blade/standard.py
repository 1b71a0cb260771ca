"""A blade standard: a key family's spacing, depths, cutter form and rules, as data."""

from __future__ import annotations

from dataclasses import dataclass

BLADE_KINDS = ("edge", "track")
DATUMS = ("shoulder", "tip")
SIDES = ("single", "mirror", "split")


@dataclass(frozen=True, slots=True)
class BladeStandard:
    """Geometry and rules of one family of blades; lengths in millimetres, angles in degrees.

    ``depths_mm`` are heights left at the root (edge blades: above the back edge for ``single``, above the
    centre line for ``mirror`` and ``split``; shallowest first) or signed offsets of the groove's centre line
    (track). ``macs`` is the largest step between neighbours in depth numbers. ``max_run`` and
    ``min_distinct`` are None where the family has no such rule. ``groove_width_mm`` and ``groove_depth_mm``
    are None for edge blades.
    """

    id: str
    title: str
    kind: str
    datum: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    positions_mm: tuple[float, ...]
    depths_mm: tuple[float, ...]
    labels: tuple[str, ...]
    flat_mm: float
    angle_deg: float
    tolerance_mm: float
    macs: int
    sides: str = "single"
    max_run: int | None = None
    min_distinct: int | None = None
    groove_width_mm: float | None = None
    groove_depth_mm: float | None = None
