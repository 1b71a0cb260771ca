"""A finished key's target laid over its outline, whatever all its cuts have in common."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade import worn
from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.evidence import Block, find_centre, lay_flat
from bittern.engines.blade.fitting import Beliefs, Prediction, fit_versions, get_beliefs, predict
from bittern.engines.blade.known import SHIFT_SD_MM, lay_over
from bittern.engines.blade.reporting import place_samples
from bittern.engines.blade.silhouette import Silhouette, turn_over
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.weighed import Weighed

Floats = NDArray[np.float64]

BLANK_SD_MM: Final = 0.05
"""By how much a blank's width differs from the standard's (judgement)."""
HELD: Final = (worn.BIAS, worn.LOG_HEIGHT)
"""Not taken from the outline: cuts that are too deep look like a picture whose edges are drawn too thin, or
like one from further away."""
_NONE: Final = (worn.AMOUNT, worn.LOW, worn.LOG_POWER, worn.FACING, worn.UNCUT)
_TIGHT: Final = 1e-4
_ROUNDS: Final = 4
_ROOT_SHARE: Final = 0.8
"""The part of a flat that its height is taken from: its ends are rounded."""
_LEAST_REACH_MM: Final = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class Root:
    """One root of one edge: what is missing there between outline and prediction, in mm.

    ``cut`` is its number as the bitting is written, ``place`` its number along the blade, ``block`` and
    ``near`` say where its samples are, ``spread_mm`` how far the fit takes roots to scatter; ``gradient``
    holds the derivatives of its height for the nuisances.
    """

    cut: int
    place: int
    block: int
    near: NDArray[np.bool_]
    target_mm: float
    height_mm: float
    spread_mm: float
    gradient: Floats
    own_mm2: float


def lay_finished(
    silhouette: Silhouette, standard: BladeStandard, bitting: Bitting
) -> tuple[Silhouette, Weighed]:
    """Return the outline with the face up that fits, and the target laid over it.

    The heights of the result's ``depths_mm`` are the target's and what all cuts have in common.

    Raises
    ------
    UnknownCutError
        A cut is not known.

    Notes
    -----
    All cuts off alike, or ever more along the blade, would pull the line from which heights count when only
    the target is offered. What the roots have in common (medians of all slopes and of what is left; Theil
    1950, Sen 1968) is therefore given to the depths and the fit repeated, from two starts; the better one
    counts.
    """
    laid = _lay(silhouette, standard, bitting)
    if standard.sides != "split":
        return silhouette, laid
    # Which face is up is not known, and the target tells: the way that fits better is the way it lies.
    turned = turn_over(silhouette)
    other = _lay(turned, standard, bitting)
    return (turned, other) if other.log_evidence[0] > laid.log_evidence[0] else (silhouette, laid)


def _lay(silhouette: Silhouette, standard: BladeStandard, bitting: Bitting) -> Weighed:
    first = lay_over(silhouette, standard, bitting)
    family, evidence = first.family, first.evidence
    beliefs = _believe(first)
    flat = lay_flat(evidence, standard.thickness_mm)
    centre, tilt = find_centre(standard, flat)
    plain = first.fits.theta.copy()
    plain[:, worn.OFFSET], plain[:, worn.TILT] = centre, tilt
    plain[:, [worn.BACK, *HELD]] = 0.0
    found = []
    for start in (first.fits.theta, plain):
        laid = replace(first, fits=replace(first.fits, theta=start))
        for _ in range(_ROUNDS):
            fits = fit_versions(standard, family, evidence, beliefs, laid.fits.theta, laid.depths_mm)
            laid = replace(laid, fits=fits, log_evidence=fits.log_evidence)
            common = find_common(laid)
            if float(np.abs(common).max()) < 0.001:
                break
            laid = replace(laid, depths_mm=laid.depths_mm + common)
        found.append(laid)
    return max(found, key=lambda one: float(one.log_evidence[0]))


def _believe(laid: Weighed) -> Beliefs:
    """Return the beliefs about a key that was just cut: not worn, perhaps clamped wrongly."""
    usual = get_beliefs(laid.standard, laid.family, laid.evidence)
    mean, sd, least, most = (part.copy() for part in (usual.mean, usual.sd, usual.least, usual.most))
    for number in (*_NONE, *HELD):
        mean[number], sd[number], least[number], most[number] = 0.0, _TIGHT, -_TIGHT, _TIGHT
    mean[worn.ROUNDING] = 0.0
    sd[worn.SHIFT] = SHIFT_SD_MM
    sd[worn.BACK], least[worn.BACK], most[worn.BACK] = BLANK_SD_MM, -1.0, 1.0
    return Beliefs(mean, sd, least, most)


def find_common(laid: Weighed) -> Floats:
    """Return what all roots have in common beside the laid depths, for each place along the blade, in mm."""
    roots = list_roots(laid)
    places = laid.family.places_mm
    if not roots:
        return np.zeros(len(places))
    at = np.array([root.place for root in roots])
    off = np.array([root.height_mm - root.target_mm for root in roots])
    seen = np.unique(at)
    mean = np.array([off[at == place].mean() for place in seen])
    slope = 0.0
    if len(seen) >= 3:
        one, other = np.triu_indices(len(seen), 1)
        slope = float(np.median((mean[other] - mean[one]) / (places[seen][other] - places[seen][one])))
    level = float(np.median(mean - slope * places[seen]))
    return np.asarray(level + slope * places, dtype=np.float64)


def list_roots(laid: Weighed) -> list[Root]:
    """Return the roots that were seen, as the fit has them; ``target_mm`` is the laid depth."""
    predicted = predict(laid.standard, laid.family, laid.evidence, laid.fits.theta[:1], laid.depths_mm[:1])
    rows = []
    for number, (block, found) in enumerate(zip(laid.evidence.blocks, predicted, strict=True)):
        if block.edge is not None:
            rows += _list_block(laid, number, block, found)
    return sorted(rows, key=lambda row: row.cut)


def _list_block(laid: Weighed, at: int, block: Block, found: Prediction) -> list[Root]:
    value, slopes, sd = found.value[0], found.slopes[0], found.sd[0]
    edge = block.edge or 0
    family, theta = laid.family, laid.fits.theta[0]
    x = place_samples(laid, block)
    count = len(family.places_mm)
    rows = []
    for number, place in enumerate(family.places_mm):
        near = np.abs(x - place) <= max(_ROOT_SHARE * family.half_flat_mm, _LEAST_REACH_MM)
        if not near.any():
            continue
        target = float(laid.depths_mm[0, edge, number])
        missing = float((block.outward_mm - value)[near].mean()) * (1 + float(theta[worn.SCALE]))
        gradient = -slopes[near].mean(axis=0)
        # The prediction lies lower by this and what is missing is more: the height does not change.
        gradient[worn.BACK] = 0.0
        own = float(np.square(block.sd_mm[near]).mean()) / int(near.sum())
        # Nothing is cut above the blank.
        height = min(target, family.top_mm) - float(theta[worn.BACK]) + missing
        cut = edge * count + int(family.order[number])
        rows.append(Root(cut, number, at, near, target, height, float(sd[near].mean()), gradient, own))
    return rows
