"""Heights of the roots of a finished key, with a budget of what each may be off by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade import worn
from bittern.engines.blade.fitting import get_beliefs, predict
from bittern.engines.blade.weighed import Weighed
from bittern.engines.cutting.blurring import Blurred
from bittern.engines.cutting.laying import HELD, Root, list_roots

Floats = NDArray[np.float64]

PARTS: Final = ("pixel", "line", "scale", "edge", "card", "surface")
"""What a height's doubt is made of; see :class:`Roots`."""
LEAST_SUPPORT: Final = 5
SCATTER_LIMITS: Final = (0.5, 5.0)
"""Of so few roots the scatter is known to a third only."""
SURFACE_SD_MM: Final = 0.003
"""Roots are not perfectly flat and the outline finder not perfectly straight (judgement)."""
EDGE_SD_PX: Final = 0.12
"""A scanner's or a camera's edges lie off by about a tenth of a pixel, all the same way (common practice),"""
EDGE_SD_MM: Final = 0.001
"""and by this, whatever the pixel: an edge of metal is not perfectly sharp (judgement)."""
WALL_SD_PX: Final = 0.15
"""By how much a wall that is lit otherwise than the face moves an edge in a photo (on simulated photos)."""


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
        ``edge``: by how much everything looks too wide or too narrow, and how blurred it is. ``card``:
        where the camera stood over the card, which moves the face that is nearer to it. ``surface``:
        flatness of the root.
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


def measure_heights(laid: Weighed, blurs: Sequence[Blurred]) -> Roots:
    """Return the heights of the roots of a known bitting that was laid over its silhouette.

    Notes
    -----
    A root's height is its target's and what is missing there between the outline and the prediction, which
    holds the blade's thickness as the camera sees it and the picture's blur, averaged over what the blur may
    be. With ``g`` the height's derivatives for the nuisances and ``S`` their covariance the variance is
    ``g S g``; as ``1 / S`` is a sum of what the samples and each belief tell, a belief of standard deviation
    ``d`` about one nuisance takes part with ``(S g)^2 / d^2`` (the law of propagation, JCGM 100:2008, 5.1.2,
    applied to the belief as one more reading), and the parts add up to the whole.

    What is held (:data:`.laying.HELD`) brings in its own doubt with all that the samples tie to it.
    """
    rows = list_roots(laid)
    if not rows:
        none = np.zeros(0)
        return Roots(none.astype(np.intp), none, none, np.zeros((0, len(PARTS))), np.zeros((0, 0)))
    gradients = np.array([row.gradient for row in rows])
    own = np.array([row.own_mm2 for row in rows])
    covariance = laid.fits.covariance[0]
    # With what is held comes along what the samples tie to it.
    held = list(HELD)
    along = covariance[:, held] @ np.linalg.inv(covariance[np.ix_(held, held)])
    freed = covariance - along @ covariance[held, :]
    edge, card = ((gradients @ along)[:, one] for one in range(len(held)))
    heights, chances = [], []
    for blurred in blurs:
        lift = np.array([float(blurred.lifts_mm[row.block][row.near].mean()) for row in rows])
        heights.append(gradients @ blurred.move - lift)
        chances.append(blurred.p)
    moved, p = np.array(heights), np.array(chances)
    mean = p @ moved
    apart = (moved - mean) * np.sqrt(p)[:, None]
    by_edge = np.outer(edge, edge) * _get_edge_sd_mm(laid) ** 2 + apart.T @ apart + _see_walls(laid, rows)
    by_card = np.outer(card, card) * _get_height_sd(laid) ** 2
    scale = (gradients @ freed)[:, worn.SCALE] / _get_scale_sd(laid)
    by_scale = np.outer(scale, scale)
    by_line = (gradients @ freed @ gradients.T - by_scale) * _find_scatter(laid, rows, blurs) ** 2
    surface = np.full(len(rows), SURFACE_SD_MM**2)
    numbers = np.array([row.cut for row in rows], dtype=np.intp)
    return Roots(
        cut=numbers,
        target_mm=np.asarray(laid.standard.depths_mm)[laid.rows[0, numbers]],
        height_mm=np.array([row.height_mm for row in rows]) + mean,
        parts_mm2=np.stack(
            (own, np.diag(by_line), np.diag(by_scale), np.diag(by_edge), np.diag(by_card), surface), axis=1
        ),
        covariance_mm2=by_line + by_scale + by_edge + by_card + np.diag(own + surface),
    )


def _find_scatter(laid: Weighed, rows: Sequence[Root], blurs: Sequence[Blurred]) -> float:
    """Return how many times what the fit supposes the line's own support scatters.

    A back edge is straighter, or cuts scatter more, than supposed: what the line rests on tells it itself
    (the ratio of R. T. Birge, Phys. Rev. 40, 207, 1932, from medians, so that one wrong cut counts little).
    """
    if laid.standard.sides == "single":
        likeliest = max(blurs, key=lambda one: one.p)
        predicted = predict(
            laid.standard, laid.family, laid.evidence, laid.fits.theta[:1], laid.depths_mm[:1]
        )
        away = np.concatenate(
            [
                left / found.sd[0]
                for block, left, found in zip(laid.evidence.blocks, likeliest.left_mm, predicted, strict=True)
                if block.edge is None
            ]
        )
    else:
        away = np.array([(row.height_mm - row.target_mm) / row.spread_mm for row in rows])
    if len(away) < LEAST_SUPPORT:
        return 1.0
    return float(np.clip(1.4826 * np.median(np.abs(away)), *SCATTER_LIMITS))


def _get_edge_sd_mm(laid: Weighed) -> float:
    return math.hypot(EDGE_SD_PX * laid.evidence.resolution_mm, EDGE_SD_MM)


def _get_height_sd(laid: Weighed) -> float:
    """Return the standard deviation of the logarithm of the camera's height; 0 for a scan."""
    return laid.evidence.camera.sd_log_height if laid.evidence.camera else 0.0


def _get_scale_sd(laid: Weighed) -> float:
    return float(get_beliefs(laid.standard, laid.family, laid.evidence).sd[worn.SCALE])


def _see_walls(laid: Weighed, rows: Sequence[Root]) -> Floats:
    """Return the covariance that an edge's own bias brings in, the same for all roots of that edge.

    Between the faces of a thick blade a photo shows its wall, which is lit otherwise than the face.
    """
    if laid.evidence.camera is None:
        return np.zeros((len(rows), len(rows)))
    block = np.array([row.block for row in rows])
    same = block[:, None] == block
    return np.asarray(same * (WALL_SD_PX * laid.evidence.resolution_mm) ** 2, dtype=np.float64)


def mean_budget_mm(roots: Roots) -> dict[str, float]:
    """Return the parts as standard deviations in mm, in the mean over the roots."""
    if not len(roots.cut):
        return dict.fromkeys(PARTS, math.nan)
    return {
        name: float(np.sqrt(part)) for name, part in zip(PARTS, roots.parts_mm2.mean(axis=0), strict=True)
    }
