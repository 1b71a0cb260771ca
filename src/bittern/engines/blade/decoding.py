"""From a silhouette or single heights to the bitting the factory cut, and how sure it is.

Bittings worth a look come from the depth lattice over a grid of nuisances (:mod:`.search`); each is fitted
with shift, scale, tilt, bias and wear of its own and these are integrated out (:mod:`.fitting`). What is
stated is the share of the total evidence: over the bittings of every standard asked about, and over "none of
these", an outline of any heights whatever.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.errors import PictureError
from bittern.engines.blade.evidence import find_cut_edge, gather
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.reporting import report
from bittern.engines.blade.silhouette import Silhouette
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.weighed import weigh_standard
from bittern.engines.blade.worn import get_family

MOST_LENGTH_OFF_MM: Final = 1.5
"""A blade longer or shorter than its standard by more than this is of another one."""
MOST_WIDTH_OVER_MM: Final = 0.5
"""And so is one wider by more than this."""


def may_be(standard: BladeStandard, silhouette: Silhouette) -> bool:
    """Return whether this may be a blade of a standard at a glance: an edge blade of about its size."""
    if standard.kind != "edge":
        return False
    found = [s for s in (silhouette.shoulder_upper_mm, silhouette.shoulder_lower_mm) if math.isfinite(s)]
    if found and min(abs(place - standard.length_mm) for place in found) > MOST_LENGTH_OFF_MM:
        return False
    end = min(found, default=standard.length_mm)
    inside = (silhouette.s_mm > 2.0) & (silhouette.s_mm < end - 0.5)
    wide = (silhouette.upper_mm - silhouette.lower_mm)[inside]
    wide = wide[np.isfinite(wide)]
    if not len(wide):
        return False
    most = float(np.percentile(wide, 98))
    camera = silhouette.camera
    if camera is not None:
        # The nearer face is seen further out on one side.
        most -= standard.thickness_mm * (abs(camera.foot_h_mm) + most / 2) / camera.height_mm
    # A key cut deep all along may nowhere have its full width; none is wider than its blank.
    narrowest = standard.width_mm - 3 * get_family(standard).range_mm
    return narrowest < most < standard.width_mm + MOST_WIDTH_OVER_MM


def decode_silhouette(
    silhouette: Silhouette, standards: Sequence[BladeStandard], readings: Sequence[Reading] = ()
) -> Measurement:
    """Return the bitting that the factory cut, of the standard that explains the outline best.

    Parameters
    ----------
    silhouette
        The outline in mm.
    standards
        One, or several that compete; track blades, and blades of quite another size, take no part.
    readings
        Single heights by caliper, of cuts that were measured again.

    Returns
    -------
    Measurement
        ``probability`` is of standard and bitting together. On a split blade edge A is the one that is up
        when x grows to the right, as the key lies in the picture; ``assumed`` says so.

    Raises
    ------
    PictureError
        None of the standards is of an edge blade of about this size.
    """
    possible = [standard for standard in standards if may_be(standard, silhouette)]
    if not possible:
        raise name_misfit(silhouette, standards)
    cut_edge = find_cut_edge(silhouette)
    weighed = [
        weigh_standard(standard, gather(silhouette, standard, readings, cut_edge=cut_edge))
        for standard in possible
    ]
    return report(silhouette, standards, weighed)


def name_misfit(silhouette: Silhouette, standards: Sequence[BladeStandard]) -> PictureError:
    """Return the error for a blade that is of none of the standards' size."""
    edges = [standard for standard in standards if standard.kind == "edge"]
    if not edges:
        names = ", ".join(standard.id for standard in standards)
        return PictureError(
            f"a track blade ({names})",
            "an edge blade; a groove is read by its offsets",
            hint="measure the groove's offsets and enter them",
        )
    found = [s for s in (silhouette.shoulder_upper_mm, silhouette.shoulder_lower_mm) if math.isfinite(s)]
    long = f"a blade {min(found):.1f} mm long" if found else "a blade"
    size = ", ".join(f"{one.id} {one.length_mm:g} mm long and {one.width_mm:g} mm wide" for one in edges[:3])
    wide = np.nanmax(
        (silhouette.upper_mm - silhouette.lower_mm)[silhouette.s_mm < min(found, default=20.0) - 0.5]
    )
    return PictureError(
        f"{long} and {wide:.1f} mm wide",
        f"one of about the standard's size: {size}",
        hint="check the standard and the scale (dpi) of the picture",
    )
