"""Spindle speed and feed by the handbook formulas, from cutter and blade material."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from bittern.engines.cutting.clearances import Depths
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.machine import Machine

BLADE_MATERIALS: Final = ("brass", "nickel-silver", "steel")

# Cutting speed in m/min by cutter and blade material. Brass with high-speed steel: the lower part of 150 to
# 450 feet a minute (46 to 137 m/min) and carbide up to twice (docslib 5103932). Steel with high-speed steel:
# the 25 m/min of the worked example at phantom.eu. The others are common practice: half of brass for nickel
# silver, twice high-speed steel for carbide.
SPEEDS_M_MIN: Final = {
    ("hss", "brass"): 60.0,
    ("carbide", "brass"): 120.0,
    ("hss", "nickel-silver"): 30.0,
    ("carbide", "nickel-silver"): 60.0,
    ("hss", "steel"): 25.0,
    ("carbide", "steel"): 50.0,
}
# Feed for each tooth, common practice: a hundredth of a small mill's diameter, at most this for any cutter in
# brass, less in what is harder to cut.
LARGEST_FEED_PER_TOOTH_MM: Final = 0.01
SHARE_OF_DIAMETER: Final = 0.01
SHARES: Final = {"brass": 1.0, "nickel-silver": 0.7, "steel": 0.5}
# A plunge loads the whole flat at once, and the last pass shall leave a fine face: common practice.
PLUNGE_SHARE: Final = 0.5
FINISH_SHARE: Final = 0.7


# Depth of one roughing pass, common practice. A wheel: mm along h. A mill: shares of its diameter, along its
# axis and sideways.
WHEEL_DEPTHS_MM: Final = {"brass": 1.5, "nickel-silver": 1.0, "steel": 0.6}
MILL_DEPTHS: Final = {"brass": 1.0, "nickel-silver": 0.7, "steel": 0.4}
MILL_SIDE: Final = 0.5


@dataclass(frozen=True, slots=True)
class Feeds:
    """Spindle speed in 1/min, feeds in mm/min, and what was assumed or limited."""

    speed_rpm: float
    rough_mm_min: float
    plunge_mm_min: float
    finish_mm_min: float
    remarks: tuple[str, ...] = ()


def get_speed_rpm(cutting_speed_m_min: float, diameter_mm: float) -> float:
    """Return the spindle speed, ``n = 1000 v / (pi D)`` in 1/min.

    Examples
    --------
    A worked example printed at phantom.eu, 25 m/min and 12 mm: 663 1/min.

    >>> round(get_speed_rpm(25.0, 12.0))
    663
    """
    return 1000 * cutting_speed_m_min / (math.pi * diameter_mm)


def get_feed_mm_min(feed_per_tooth_mm: float, teeth: int, speed_rpm: float) -> float:
    """Return the feed, ``vf = fz z n`` in mm/min.

    Examples
    --------
    The same page: 0.065 mm a tooth, two teeth, 663 1/min: 86 mm/min.

    >>> round(get_feed_mm_min(0.065, 2, 663.0))
    86
    """
    return feed_per_tooth_mm * teeth * speed_rpm


def choose_feeds(
    cutter: Cutter,
    material: str,
    machine: Machine,
    *,
    speed_rpm: float | None = None,
    feed_mm_min: float | None = None,
) -> Feeds:
    """Return speed and feeds for cutting ``material``; a speed or feed that was given is kept.

    Parameters
    ----------
    cutter, machine
        Both sound.
    material
        One of ``BLADE_MATERIALS``.
    speed_rpm, feed_mm_min
        Chosen by a person; limited by the machine only.

    Notes
    -----
    ``n = 1000 v / (pi D)`` and ``vf = fz z n`` (Somta user guide, p. 116; worked examples at phantom.eu).
    The cutting speeds are advice: see ``SPEEDS_M_MIN``. A feed that was given is the roughing feed.
    """
    remarks = []
    speed = speed_rpm or get_speed_rpm(SPEEDS_M_MIN[cutter.material, material], cutter.diameter_mm)
    limited = min(max(speed, machine.slowest_rpm), machine.fastest_rpm)
    if limited != speed:
        remarks.append(f"the spindle's limit gives {limited:.0f} instead of {speed:.0f} turns a minute")
    # Whole turns are what the program says, and the feed follows from what it says.
    speed = float(max(1, round(limited)))
    tooth = min(LARGEST_FEED_PER_TOOTH_MM, SHARE_OF_DIAMETER * cutter.diameter_mm) * SHARES[material]
    feed = feed_mm_min or get_feed_mm_min(tooth, cutter.teeth, speed)
    if feed > machine.feed_mm_min:
        remarks.append(
            f"the machine's limit gives a feed of {machine.feed_mm_min:g} instead of {feed:.0f} mm/min"
        )
        feed = machine.feed_mm_min
    return Feeds(speed, feed, feed * PLUNGE_SHARE, feed * FINISH_SHARE, tuple(remarks))


def choose_depths(cutter: Cutter, material: str, *, pass_mm: float | None = None) -> Depths:
    """Return the depths of roughing passes in ``material``; a depth of a pass that was given is kept.

    Examples
    --------
    >>> choose_depths(Cutter("mill-2", "endmill", 2.0, 2, "carbide"), "nickel-silver").pass_mm
    1.4
    """
    if cutter.kind == "wheel":
        depth = pass_mm or WHEEL_DEPTHS_MM[material]
        return Depths(depth, depth)
    return Depths(pass_mm or MILL_DEPTHS[material] * cutter.diameter_mm, MILL_SIDE * cutter.diameter_mm)
