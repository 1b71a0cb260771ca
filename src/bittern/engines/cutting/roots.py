"""Heights of the roots of a finished key, with a budget of what each may be off by."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade import worn
from bittern.engines.blade.evidence import Block
from bittern.engines.blade.fitting import get_beliefs, predict
from bittern.engines.blade.reporting import place_samples
from bittern.engines.blade.weighed import Weighed

Floats = NDArray[np.float64]

PARTS: Final = ("pixel", "line", "scale", "edge", "card", "surface")
"""What a height's doubt is made of; see :class:`Roots`."""
SURFACE_SD_MM: Final = 0.003
"""Roots are not perfectly flat and the outline finder not perfectly straight (judgement)."""
_ROOT_SHARE: Final = 0.8
"""The part of a flat that its height is taken from: its ends are rounded."""
_LEAST_REACH_MM: Final = 0.15
_BELIEVED: Final = {"scale": worn.SCALE, "edge": worn.BIAS, "card": worn.LOG_HEIGHT}


@dataclass(frozen=True, slots=True, eq=False)
class Roots:
    """The roots that were seen, one entry for each edge that a cut has.

    Attributes
    ----------
    cut
        Shape (n,): number of the cut as the bitting is written, edge by edge; twice where a ``mirror`` blade
        shows both its edges, the upper one in the picture first.
    target_mm, height_mm
        Shape (n,).
    parts_mm2
        Shape (n, 6): variance by its source, in the order of ``PARTS``. ``pixel``: noise of the root's own
        samples. ``line``: where the line lies from which heights count. ``scale``: of the picture.
        ``edge``: by how much everything looks too wide or too narrow. ``card``: where the camera stood over
        the card, which moves the face that is nearer to it. ``surface``: flatness of the root.
    covariance_mm2
        Shape (n, n): what is off at one root is mostly off at the others too.
    """

    cut: NDArray[np.intp]
    target_mm: Floats
    height_mm: Floats
    parts_mm2: Floats
    covariance_mm2: Floats

    @property
    def off_mm(self) -> Floats:
        """Heights less their targets."""
        return self.height_mm - self.target_mm

    @property
    def sd_mm(self) -> Floats:
        """Standard deviation of each height."""
        return np.sqrt(np.diag(self.covariance_mm2))


def measure_heights(laid: Weighed) -> Roots:
    """Return the heights of the roots of a known bitting that was laid over its silhouette.

    Notes
    -----
    A root's height is its target's and what is missing there between the outline and the prediction, which
    holds the blade's thickness as the camera sees it. With ``g`` the height's derivatives for the nuisances
    and ``S`` their covariance the variance is ``g S g``; as ``1 / S`` is a sum of what the samples and each
    belief tell, a belief of standard deviation ``d`` about one nuisance takes part with
    ``(S g)^2 / d^2`` (the law of propagation, JCGM 100:2008, 5.1.2, applied to the belief as one more
    reading), and the parts add up to the whole.
    """
    chosen = laid.fits.theta[:1]
    predicted = predict(laid.standard, laid.family, laid.evidence, chosen, laid.depths_mm[:1])
    rows = []
    for block, found in zip(laid.evidence.blocks, predicted, strict=True):
        if block.edge is not None:
            rows += _measure_block(laid, block, found.value[0], found.slopes[0])
    rows.sort(key=lambda row: row[0])
    if not rows:
        nothing = np.zeros(0)
        return Roots(
            np.zeros(0, dtype=np.intp), nothing, nothing, np.zeros((0, len(PARTS))), np.zeros((0, 0))
        )
    gradients = np.array([row[3] for row in rows])
    own = np.array([row[4] for row in rows])
    return Roots(
        cut=np.array([row[0] for row in rows], dtype=np.intp),
        target_mm=np.array([row[1] for row in rows]),
        height_mm=np.array([row[2] for row in rows]),
        parts_mm2=_share_out(laid, gradients, own),
        covariance_mm2=gradients @ laid.fits.covariance[0] @ gradients.T + np.diag(own + SURFACE_SD_MM**2),
    )


def _measure_block(
    laid: Weighed, block: Block, value: Floats, slopes: Floats
) -> list[tuple[int, float, float, Floats, float]]:
    """Return cut, target, height, derivatives and own variance of each root of one edge."""
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
        cut = edge * count + int(family.order[number])
        rows.append((cut, target, target - float(theta[worn.BACK]) + missing, gradient, own))
    return rows


def _share_out(laid: Weighed, gradients: Floats, own: Floats) -> Floats:
    """Return each root's variance by source, shape (roots, PARTS)."""
    spread = gradients @ laid.fits.covariance[0]
    beliefs = get_beliefs(laid.standard, laid.family, laid.evidence)
    parts = dict.fromkeys(PARTS, np.zeros(len(gradients)))
    parts["pixel"] = own
    parts["surface"] = np.full(len(gradients), SURFACE_SD_MM**2)
    for name, number in _BELIEVED.items():
        parts[name] = np.square(spread[:, number] / beliefs.sd[number])
    if laid.evidence.camera is None:
        parts["card"] = np.zeros(len(gradients))
    told = parts["scale"] + parts["edge"] + parts["card"]
    parts["line"] = np.maximum((spread * gradients).sum(axis=1) - told, 0.0)
    return np.stack([parts[name] for name in PARTS], axis=1)


def mean_budget_mm(roots: Roots) -> dict[str, float]:
    """Return the parts as standard deviations in mm, in the mean over the roots."""
    if not len(roots.cut):
        return dict.fromkeys(PARTS, math.nan)
    return {
        name: float(np.sqrt(part)) for name, part in zip(PARTS, roots.parts_mm2.mean(axis=0), strict=True)
    }
