"""Is a cutter sound, and can it make a family's blades?"""

from __future__ import annotations

import math

from bittern.core.errors import Fault, shorten
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import CUTTER_KINDS, MATERIALS, Cutter

# Absorbs the rounding of binary fractions; far below what a cutter can be ground to.
ROUNDING = 1e-9


def find_cutter_faults(cutter: Cutter) -> list[Fault]:
    """Return everything that makes ``cutter`` unusable; ``where`` is the key in its file.

    Examples
    --------
    >>> find_cutter_faults(Cutter("mill-2", "endmill", 2.0, 2, "carbide"))
    []
    >>> [str(fault) for fault in find_cutter_faults(Cutter("mill-0", "endmill", 0.0, 2, "carbide"))]
    ['diameter: found 0, expected a length above 0 mm']
    """
    faults = []
    if cutter.kind not in CUTTER_KINDS:
        faults.append(Fault("kind", shorten(cutter.kind), " or ".join(CUTTER_KINDS)))
    if cutter.material not in MATERIALS:
        faults.append(Fault("material", shorten(cutter.material), " or ".join(MATERIALS)))
    if not (math.isfinite(cutter.diameter_mm) and cutter.diameter_mm > 0):
        faults.append(Fault("diameter", f"{cutter.diameter_mm:g}", "a length above 0 mm"))
    if cutter.teeth < 1:
        faults.append(Fault("teeth", f"{cutter.teeth}", "1 or more"))
    forms = (("flat", cutter.flat_mm), ("angle", cutter.angle_deg))
    if cutter.kind == "endmill":
        faults += [
            Fault(key, f"{value:g}", "nothing: an end mill has neither flat nor angle")
            for key, value in forms
            if value is not None
        ]
    elif cutter.kind == "wheel":
        faults += _find_wheel_faults(cutter)
    return faults


def fits_standard(cutter: Cutter, standard: BladeStandard) -> list[str]:
    """Return the reasons why ``cutter`` cannot make blades of ``standard``; none when it can.

    Parameters
    ----------
    cutter, standard
        Both sound.

    Notes
    -----
    A wheel reaches the outline when its form fits into every cut: its included angle and its flat are at most
    the cut's; narrower ones are moved along the cut. It must also reach the deepest root before its middle
    touches the edge.

    An end mill whose axis is normal to the face reaches a root only if a circle of its radius ``r``, lying
    between the two flanks, touches the flat: ``flat >= 2 r tan(phi / 2)`` with ``phi = 90 - angle / 2``
    degrees, the turn from flat to flank. What it leaves in the two corners is told by
    :func:`get_corner_rest_mm`. In a track it must not be wider than the groove.
    """
    if cutter.kind == "wheel":
        return _fit_wheel(cutter, standard)
    if standard.kind == "track":
        width = standard.groove_width_mm or 0.0
        if cutter.diameter_mm > width + ROUNDING:
            return [f"its diameter {cutter.diameter_mm:g} mm is wider than the groove, {width:g} mm"]
        return []
    widest = 2 * _get_largest_radius_mm(standard)
    if cutter.diameter_mm > widest + ROUNDING:
        return [
            f"its diameter {cutter.diameter_mm:g} mm is too wide to reach the root's flat of"
            f" {standard.flat_mm:g} mm between flanks of {standard.angle_deg:g} degrees, at most"
            f" {widest:.3g} mm"
        ]
    return []


def list_remarks(cutter: Cutter, standard: BladeStandard) -> list[str]:
    """Return what somebody should know who cuts ``standard`` with a ``cutter`` that fits it."""
    if fits_standard(cutter, standard):
        return []
    if cutter.kind == "endmill" and standard.kind == "edge":
        rest = get_corner_rest_mm(cutter, standard)
        return [f"its radius leaves {rest:.3f} mm of metal in the two corners of each root"] if rest else []
    if cutter.kind == "endmill":
        width = standard.groove_width_mm or 0.0
        if cutter.diameter_mm < width - ROUNDING:
            return [f"the groove of {width:g} mm needs more than one pass"]
        return []
    narrow_flat = (cutter.flat_mm or 0.0) < standard.flat_mm - ROUNDING
    narrow_angle = (cutter.angle_deg or 0.0) < standard.angle_deg - ROUNDING
    return ["narrower than the cut: it has to be moved along each cut"] if narrow_flat or narrow_angle else []


def get_corner_rest_mm(cutter: Cutter, standard: BladeStandard) -> float:
    """Return how much metal in mm, measured along h, an end mill leaves at the ends of each root's flat.

    Notes
    -----
    The circle touches flat and flank at the tangent length ``t = r tan(phi / 2)`` from their corner; above
    the corner it stands ``r - sqrt(r**2 - t**2)`` high. Plane geometry.

    Examples
    --------
    >>> from bittern.engines.blade.standard import BladeStandard
    >>> wren = BladeStandard(
    ...     id="wren", title="Wren", kind="edge", datum="shoulder", length_mm=10.0, width_mm=8.0,
    ...     thickness_mm=2.0, positions_mm=(5.0,), depths_mm=(7.0, 6.0), labels=("1", "2"), flat_mm=1.0,
    ...     angle_deg=90.0, tolerance_mm=0.05, macs=1)
    >>> round(get_corner_rest_mm(Cutter("mill-2", "endmill", 2.0, 2, "carbide"), wren), 4)
    0.0898
    """
    radius = cutter.diameter_mm / 2
    tangent = radius * math.tan(_get_turn_rad(standard) / 2)
    return radius - math.sqrt(radius**2 - tangent**2)


def _get_turn_rad(standard: BladeStandard) -> float:
    return math.radians(90 - standard.angle_deg / 2)


def _get_largest_radius_mm(standard: BladeStandard) -> float:
    return standard.flat_mm / (2 * math.tan(_get_turn_rad(standard) / 2))


def _find_wheel_faults(cutter: Cutter) -> list[Fault]:
    faults = []
    flat, angle = cutter.flat_mm, cutter.angle_deg
    if flat is None or not (math.isfinite(flat) and flat >= 0):
        faults.append(Fault("flat", "nothing" if flat is None else f"{flat:g}", "0 mm or more"))
    if angle is None or not 0 < angle < 180:
        faults.append(
            Fault("angle", "nothing" if angle is None else f"{angle:g}", "an angle between 0 and 180 degrees")
        )
    return faults


def _fit_wheel(cutter: Cutter, standard: BladeStandard) -> list[str]:
    if standard.kind == "track":
        return ["a wheel cuts across the blade and cannot mill a groove into its face"]
    reasons = []
    flat, angle = cutter.flat_mm or 0.0, cutter.angle_deg or 0.0
    if angle > standard.angle_deg + ROUNDING:
        reasons.append(f"its angle {angle:g} degrees is wider than the cut's {standard.angle_deg:g}")
    if flat > standard.flat_mm + ROUNDING:
        reasons.append(f"its flat {flat:g} mm is wider than the cut's {standard.flat_mm:g} mm")
    deepest = get_edge_height_mm(standard) - min(standard.depths_mm)
    if cutter.diameter_mm / 2 <= deepest:
        reasons.append(f"its radius {cutter.diameter_mm / 2:g} mm does not reach {deepest:g} mm deep")
    return reasons
