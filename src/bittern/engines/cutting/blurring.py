"""What a picture's blur does to the outline of a finished key: roots are filled a little, ridges lowered.

Notes
-----
An edge is seen where the blurred picture crosses the middle of its levels. On a straight stretch that is the
edge itself; beside a corner it is not. In a column the level at height ``h`` is the mean, over the blur's
window along the blade, of the normal integral of how far the outline there stands above ``h``; the height at
which it is a half is found by Newton's method.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade import worn
from bittern.engines.blade.evidence import Block
from bittern.engines.blade.fitting import FREEDOM, get_beliefs, predict
from bittern.engines.blade.picture.edges import normal_integral
from bittern.engines.blade.weighed import Weighed

Floats = NDArray[np.float64]

BLURS_PX: Final = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0)
USUAL_BLUR_PX: Final = (1.0, 0.5)
"""Blur of an ordinary picture, mean and standard deviation (common practice)."""
_FINE_MM: Final = 0.02
_BEYOND_MM: Final = 1.0
_WINDOW: Final = np.linspace(-3.5, 3.5, 29)
_ROUNDS: Final = 5
_BELIEVED: Final = [worn.SCALE, worn.TILT, worn.BIAS, worn.LOG_HEIGHT]


@dataclass(frozen=True, slots=True, eq=False)
class Blurred:
    """The picture seen as blurred by one amount.

    Attributes
    ----------
    p
        Probability of this blur.
    lifts_mm
        For each block, by how much its samples are seen further out.
    left_mm
        For each block, what its samples lie further out than is seen of the predicted outline.
    move
        Shape (NUISANCES,): by how much the nuisances of the fit without blur have to be moved.
    """

    p: float
    lifts_mm: tuple[Floats, ...]
    left_mm: tuple[Floats, ...]
    move: Floats


def weigh_blurs(laid: Weighed) -> list[Blurred]:
    """Return what each amount of blur makes of the fit, with its probability.

    Notes
    -----
    One step of Newton's method from the fit without blur: the curvature is that fit's.
    """
    theta, covariance = laid.fits.theta[:1], laid.fits.covariance[0]
    found = predict(laid.standard, laid.family, laid.evidence, theta, laid.depths_mm[:1])
    blocks = laid.evidence.blocks
    slopes = np.concatenate([one.slopes[0] for one in found])
    weight = np.concatenate([block.weight for block in blocks])
    missing = np.concatenate([block.outward_mm for block in blocks])
    missing = missing - np.concatenate([one.value[0] for one in found])
    noise = np.square(np.concatenate([block.sd_mm for block in blocks])) * weight
    sd = np.sqrt(np.square(np.concatenate([one.sd[0] for one in found])) + noise)
    held = (FREEDOM + 1) / (FREEDOM + np.square(missing / sd)) * weight / np.square(sd)
    beliefs = get_beliefs(laid.standard, laid.family, laid.evidence)
    outlines = _draw_outlines(laid)
    ends = np.cumsum([len(block.s_mm) for block in blocks])[:-1]
    seen, logs = [], []
    for blur_px in BLURS_PX:
        lifts = tuple(
            lift_edge(*outline, block.s_mm, blur_px * laid.evidence.resolution_mm)
            for outline, block in zip(outlines, blocks, strict=True)
        )
        lift = np.concatenate(lifts)
        move = -covariance @ (slopes.T @ (held * lift))
        left = missing - lift - slopes @ move
        away = ((theta[0] + move - beliefs.mean) / beliefs.sd)[_BELIEVED]
        misfit = weight * (FREEDOM + 1) / 2 * np.log1p(np.square(left / sd) / FREEDOM)
        mean, spread = USUAL_BLUR_PX
        logs.append(-float(misfit.sum() + np.square(away).sum() / 2) - ((blur_px - mean) / spread) ** 2 / 2)
        seen.append((lifts, tuple(np.split(left, ends)), move))
    chances = np.exp(np.array(logs) - max(logs))
    chances /= chances.sum()
    return [Blurred(float(p), *parts) for p, parts in zip(chances, seen, strict=True)]


def _draw_outlines(laid: Weighed) -> list[tuple[Floats, Floats]]:
    """Return places and heights of the predicted outline at each block, finely, a little beyond its ends."""
    from dataclasses import replace

    blocks = []
    for block in laid.evidence.blocks:
        low, high = (float(block.s_mm[0]), float(block.s_mm[-1])) if len(block.s_mm) else (0.0, 1.0)
        s = np.arange(low - _BEYOND_MM, high + _BEYOND_MM, _FINE_MM)
        blocks.append(Block(block.edge, block.sign, s, np.zeros_like(s), np.ones_like(s), np.ones_like(s)))
    dense = replace(laid.evidence, blocks=tuple(blocks))
    found = predict(laid.standard, laid.family, dense, laid.fits.theta[:1], laid.depths_mm[:1])
    return [(block.s_mm, one.value[0]) for block, one in zip(blocks, found, strict=True)]


def lift_edge(s_mm: Floats, height_mm: Floats, at_mm: Floats, blur_mm: float) -> Floats:
    """Return by how much a blurred edge is seen above the sharp one.

    Parameters
    ----------
    s_mm, height_mm
        Shape (n,): the sharp edge, places growing.
    at_mm
        Shape (m,): places where it is seen.
    blur_mm
        Standard deviation of the blur.

    Examples
    --------
    A straight edge is seen where it is, however steep; a corner is filled:

    >>> x = np.linspace(-2, 2, 401)
    >>> bool(np.allclose(lift_edge(x, 0.7 * x, np.array([0.0, 0.5]), 0.1), 0.0, atol=1e-6))
    True
    >>> bool(lift_edge(x, np.abs(x), np.array([0.0]), 0.1)[0] > 0.05)
    True
    """
    sharp = np.interp(at_mm, s_mm, height_mm)
    if not blur_mm or not len(at_mm):
        return np.zeros_like(at_mm)
    around = np.interp(at_mm[:, None] + blur_mm * _WINDOW, s_mm, height_mm)
    share = np.exp(-np.square(_WINDOW) / 2)
    share /= share.sum()
    seen = around @ share
    for _ in range(_ROUNDS):
        z = (around - seen[:, None]) / blur_mm
        level = normal_integral(z) @ share
        slope = np.exp(-np.square(z) / 2) @ share / np.sqrt(2 * np.pi)
        seen = seen + np.clip((level - 0.5) / np.maximum(slope, 1e-3), -1.0, 1.0) * blur_mm
    return np.asarray(seen - sharp, dtype=np.float64)
