"""The bittings of one standard weighed by the evidence, and the evidence of no standard at all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import Bitting, count_edges
from bittern.engines.blade.evidence import Evidence
from bittern.engines.blade.fitting import Fits, fit_versions, get_beliefs, lose_at_roots
from bittern.engines.blade.remaining import count_remaining
from bittern.engines.blade.search import find_candidates, lay_along
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.worn import Family, get_family

Floats = NDArray[np.float64]

NEGLIGIBLE: Final = 14.0
"""Candidates this far below the best in log evidence (a millionth) are not fitted to the end."""
LOG_NONE: Final = 1.6
"""Log evidence of one observation where the blade is of no standard asked about: see :func:`weigh_none`."""


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """One standard with its candidates and their log evidence; ``rows`` as bittings are written."""

    standard: BladeStandard
    family: Family
    evidence: Evidence
    rows: NDArray[np.int8]
    depths_mm: Floats
    fits: Fits
    log_evidence: Floats


def weigh_standard(standard: BladeStandard, evidence: Evidence) -> Weighed:
    """Return the bittings of one standard that explain the evidence, with their log evidence."""
    family = get_family(standard)
    beliefs = get_beliefs(standard, family, evidence)
    found = find_candidates(standard, family, evidence, beliefs)
    depths = lay_along(family, found.rows)
    fits = fit_versions(standard, family, evidence, beliefs, found.theta, depths, rounds=3)
    log = fits.log_evidence + found.log_prior
    keep = np.flatnonzero(log >= log.max() - NEGLIGIBLE)
    fits = fit_versions(standard, family, evidence, beliefs, fits.theta[keep], depths[keep])
    count = count_edges(standard) * len(standard.positions_mm)
    unknown = to_bitting_of_unknowns(standard, count)
    allowed = max(1, count_remaining(standard, unknown))
    log = fits.log_evidence + found.log_prior[keep] - math.log(allowed)
    order = np.argsort(-log, kind="stable")
    kept = Fits(fits.theta[order], fits.log_evidence[order], fits.covariance[order])
    return Weighed(standard, family, evidence, found.rows[keep][order], depths[keep][order], kept, log[order])


def to_bitting_of_unknowns(standard: BladeStandard, count: int) -> Bitting:
    """Return the bitting of which nothing is known."""
    each = count // count_edges(standard)
    return Bitting(((None,) * each,) * count_edges(standard))


def weigh_none(evidence: Evidence) -> float:
    """Return the log evidence of a blade of none of the standards.

    Notes
    -----
    A family that nobody described is thought to explain its own blades as a described one explains those of
    others that it happens to resemble: each observation with :data:`LOG_NONE`, about what a scatter of
    0.11 mm gives under the likelihood of :mod:`.fitting`. Found on simulated keys: the right standard has
    2.0 to 3.4 an observation, another one of about the same size up to 1.9, nearly always below 1.3.
    """
    seen = sum(float(block.weight.sum()) for block in evidence.blocks)
    return LOG_NONE * (seen + len(evidence.readings))


def find_wear_mm(weighed: Weighed) -> tuple[float, float]:
    """Return the mean loss over the roots of the best fit, and its standard deviation, in mm."""
    lost, slopes = lose_at_roots(weighed.family, weighed.fits.theta[:1], weighed.depths_mm[:1])
    mean_slope = slopes[0].mean(axis=0)
    variance = float(mean_slope @ weighed.fits.covariance[0] @ mean_slope)
    step = weighed.family.step_mm
    return float(lost.mean()) * step, math.sqrt(max(variance, 0.0)) * step
