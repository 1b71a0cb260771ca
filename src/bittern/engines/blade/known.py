"""A blade of known bitting laid over its silhouette: for measuring what was cut, not for reading it."""

from __future__ import annotations

from typing import Final

import numpy as np

from bittern.engines.blade import worn
from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.errors import UnknownCutError
from bittern.engines.blade.evidence import Evidence, find_centre, find_cut_edge, gather, lay_flat
from bittern.engines.blade.fitting import Beliefs, fit_versions, get_beliefs
from bittern.engines.blade.search import lay_along
from bittern.engines.blade.silhouette import Silhouette
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.weighed import Weighed
from bittern.engines.blade.worn import Family, get_family

SHIFT_SD_MM: Final = 0.3
"""How far all cuts may lie from their places: a key that was not pushed to its stop."""
DEPTH_SD_MM: Final = 0.3
"""How much too deep or too shallow all cuts may be: another blank than the standard's, a cutter set wrong."""
_HELD: Final = 1e-4


def lay_over(silhouette: Silhouette, standard: BladeStandard, bitting: Bitting) -> Weighed:
    """Return the known bitting fitted to the silhouette: place, scale, reference line, no wear.

    All cuts may be off together, along the blade and in depth, so that the reference line is that of the
    edges which were not cut; single cuts that are off pull little.

    Raises
    ------
    UnknownCutError
        A cut is not known.
    """
    if not bitting.complete:
        raise UnknownCutError("an unknown cut", "every cut known", where="bitting")
    family = get_family(standard)
    evidence = gather(silhouette, standard, cut_edge=find_cut_edge(silhouette))
    beliefs = _get_beliefs(standard, family, evidence)
    flat = lay_flat(evidence, standard.thickness_mm)
    centre, tilt = find_centre(standard, flat)
    rows = np.array([[cut for edge in bitting.edges for cut in edge]], dtype=np.int8)
    depths = lay_along(family, rows)
    shifts = np.array([-0.4, -0.2, 0.0, 0.2, 0.4])
    theta = np.tile(beliefs.mean, (len(shifts), 1))
    theta[:, worn.SHIFT], theta[:, worn.OFFSET], theta[:, worn.TILT] = shifts, centre, tilt
    fits = fit_versions(
        standard, family, evidence, beliefs, theta, np.repeat(depths, len(shifts), axis=0), rounds=12
    )
    best = int(fits.log_evidence.argmax())
    chosen = type(fits)(
        fits.theta[best : best + 1], fits.log_evidence[best : best + 1], fits.covariance[best : best + 1]
    )
    return Weighed(standard, family, evidence, rows, depths, chosen, chosen.log_evidence)


def _get_beliefs(standard: BladeStandard, family: Family, evidence: Evidence) -> Beliefs:
    """Return the beliefs about a key that was just cut: not worn, but perhaps clamped wrongly."""
    usual = get_beliefs(standard, family, evidence)
    mean, sd = usual.mean.copy(), usual.sd.copy()
    least, most = usual.least.copy(), usual.most.copy()
    for number in (worn.AMOUNT, worn.LOW, worn.LOG_POWER, worn.FACING, worn.UNCUT):
        mean[number], sd[number], least[number], most[number] = 0.0, _HELD, 0.0, _HELD
    mean[worn.ROUNDING] = 0.0
    sd[worn.SHIFT] = SHIFT_SD_MM
    sd[worn.BACK], least[worn.BACK], most[worn.BACK] = DEPTH_SD_MM, -1.0, 1.0
    return Beliefs(mean, sd, least, most)
