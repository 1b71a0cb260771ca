"""The bittings of one standard weighed by the evidence, and the evidence of no standard at all."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import Bitting, count_edges
from bittern.engines.blade.evidence import Evidence
from bittern.engines.blade.fitting import ROUNDS, Fits, fit_versions, get_beliefs, lose_at_roots
from bittern.engines.blade.remaining import count_remaining
from bittern.engines.blade.search import (
    Candidates,
    find_candidates,
    find_log_prior,
    lay_along,
    list_neighbours,
)
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.worn import Family, get_family

Floats = NDArray[np.float64]

NEGLIGIBLE: Final = 14.0
"""Candidates this far below the best in log evidence (a millionth) are not fitted to the end."""
MOST_CLIMBS: Final = 8
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

    def fit(some: Candidates, rounds: int) -> tuple[Fits, Floats]:
        depths = lay_along(family, some.rows)
        fits = fit_versions(standard, family, evidence, beliefs, some.theta, depths, rounds=rounds)
        return fits, fits.log_evidence + some.log_prior

    fits, log = fit(found, 3)
    if evidence.camera is not None or log.max() < weigh_none(evidence):
        found, log = _climb(standard, replace(found, theta=fits.theta), log, fit)
    else:
        found = replace(found, theta=fits.theta)
    keep = np.flatnonzero(log >= log.max() - NEGLIGIBLE)
    found = Candidates(found.rows[keep], found.theta[keep], found.log_prior[keep])
    fits, log = fit(found, ROUNDS)
    count = count_edges(standard) * len(standard.positions_mm)
    unknown = to_bitting_of_unknowns(standard, count)
    log = log - math.log(max(1, count_remaining(standard, unknown)))
    order = np.argsort(-log, kind="stable")
    kept = Fits(fits.theta[order], fits.log_evidence[order], fits.covariance[order])
    rows = found.rows[order]
    return Weighed(standard, family, evidence, rows, lay_along(family, rows), kept, log[order])


def _climb(
    standard: BladeStandard,
    found: Candidates,
    log: Floats,
    fit: Callable[[Candidates, int], tuple[Fits, Floats]],
) -> tuple[Candidates, Floats]:
    """Add the bittings one cut away from the best, as long as one of them is better yet.

    The search draws a thick blade back onto the ground only roughly, and what hides in a narrow cut can pass
    its best bitting by.
    """
    for _ in range(MOST_CLIMBS):
        best = int(log.argmax())
        rows = list_neighbours(standard, found.rows[best])
        known = {row.tobytes() for row in found.rows}
        rows = rows[[row.tobytes() not in known for row in rows]]
        if not len(rows):
            break
        near = Candidates(
            rows, np.repeat(found.theta[best : best + 1], len(rows), axis=0), find_log_prior(standard, rows)
        )
        fits, more = fit(near, 3)
        better = float(more.max()) > float(log[best])
        found = Candidates(
            np.concatenate((found.rows, rows)),
            np.concatenate((found.theta, fits.theta)),
            np.concatenate((found.log_prior, near.log_prior)),
        )
        log = np.concatenate((log, more))
        if not better:
            break
    return found, log


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
