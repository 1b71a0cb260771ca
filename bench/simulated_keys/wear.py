"""How a key wears: several laws, drawn by the seed, so that no reading can be fitted to one of them.

All take off height only, most from high spots; they differ in how the loss grows with the height.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LAWS = ("linear", "power", "threshold", "polish")
ODD_LAWS = ("patchy",)
"""Asked for by name only: wear that also differs from place to place, whatever the height."""
MOST_LOSS_STEPS = 0.85
"""What the shallowest root may lose at the most, in depth steps."""


@dataclass(frozen=True, slots=True)
class Wear:
    """One law of wear with its numbers.

    Attributes
    ----------
    law
        ``linear``: loss in proportion to the height above the deepest root. ``power``: to a power of it.
        ``threshold``: little below a height, much above it. ``polish``: what stands out of its
        surroundings goes first. ``patchy``: linear, times a field that wanders along the blade.
    least
        Share of the loss that every place has, whatever its height.
    shape
        The power, the threshold's place, the width in mm of the surroundings, or the field's seed.
    lean
        By how much more the flanks facing the tip lose, as a share.
    edge_share
        Loss of the second edge beside the first, both edges being cut.
    back_share
        Loss of an uncut back edge beside the mean loss at the roots.
    round_mm
        Radius of the worn corners.
    tip_mm
        What the tip has lost.
    """

    law: str
    least: float
    shape: float
    lean: float
    edge_share: float
    back_share: float
    round_mm: float
    tip_mm: float


def draw_wear(wear_steps: float, rng: np.random.Generator, law: str | None = None) -> Wear:
    """Draw a law and its numbers for a key that has lost ``wear_steps`` depth steps at its roots."""
    law = law or str(rng.choice(LAWS))
    low, high = {
        "linear": (1.0, 1.0),
        "power": (0.6, 2.5),
        "threshold": (0.3, 0.7),
        "polish": (0.6, 1.6),
        "patchy": (0.0, 1e6),
    }[law]
    grown = min(1.0, wear_steps / 0.5)
    return Wear(
        law=law,
        least=float(rng.uniform(0.1, 0.4)),
        shape=float(rng.uniform(low, high)),
        lean=float(rng.uniform(0.0, 0.5)),
        edge_share=float(rng.uniform(0.85, 1.15)),
        back_share=float(rng.uniform(0.0, 0.15)) if rng.random() < 0.5 else 0.0,
        round_mm=float(0.05 + grown * rng.uniform(0.02, 0.25)),
        tip_mm=float(grown * rng.uniform(0.0, 0.06)),
    )


def weigh_places(
    wear: Wear, heights_mm: Floats, step_mm: float, deep_mm: float, shallow_mm: float
) -> tuple[Floats, Floats]:
    """Return how strongly each place of an edge wears, and by how much more for facing the tip.

    Parameters
    ----------
    heights_mm
        Shape (n,), every ``step_mm`` along the blade toward the tip, as the factory cut them.
    deep_mm, shallow_mm
        The standard's deepest and shallowest root.

    Returns
    -------
    tuple of arrays of shape (n,)
        The law's weight, about 1 at the shallowest root, and a factor about 1.
    """
    high = (heights_mm - deep_mm) / (shallow_mm - deep_mm)
    above = np.clip(high, 0.0, None)
    if wear.law in ("linear", "patchy"):
        grown = above
    elif wear.law == "power":
        grown = above**wear.shape
    elif wear.law == "threshold":
        grown = 1 / (1 + np.exp(-(high - wear.shape) / 0.12)) + 0.3 * np.clip(high - 1, 0, None)
    else:
        around = smooth(heights_mm, wear.shape / step_mm)
        stands_out = np.clip(heights_mm - around, 0, None) / (shallow_mm - deep_mm)
        grown = 0.5 * above + 1.5 * stands_out
    rise = np.gradient(smooth(heights_mm, 0.08 / step_mm), step_mm)
    lean = np.where(rise < 0, wear.lean, 0.3 * wear.lean)
    return wear.least + (1 - wear.least) * grown, 1 - lean * np.clip(rise, -1, 1)


def draw_patches(wear: Wear, x_mm: Floats) -> Floats:
    """Return the factor by which wear differs along the blade: 1 everywhere but under ``patchy``.

    Its logarithm is a sum of waves of 4 mm and more, with a standard deviation of 0.3.
    """
    if wear.law != "patchy":
        return np.ones_like(x_mm)
    rng = np.random.default_rng(int(wear.shape))
    waves = rng.uniform(1 / 30, 1 / 4, 12)
    phases = rng.uniform(0, 2 * np.pi, 12)
    sizes = rng.normal(size=12)
    log = (sizes * np.cos(2 * np.pi * x_mm[:, None] * waves + phases)).sum(axis=1)
    patches: Floats = np.exp(0.3 * log / np.sqrt(6))
    return patches


def limit_contrast(weights: list[Floats], wear_steps: float) -> float:
    """Return the share of evenness that keeps the most worn root within its limit.

    Weights are those at the roots; a share ``e`` makes them ``(1 - e) * weight / mean + e``.
    """
    joined = np.concatenate(weights)
    worst = float(joined.max() / joined.mean())
    allowed = MOST_LOSS_STEPS / max(wear_steps, 1e-9)
    return 0.0 if worst <= allowed else min(1.0, (worst - allowed) / (worst - 1.0))


def smooth(values: Floats, sd_places: float) -> Floats:
    """Return ``values`` under a Gaussian window; the ends go on as they are."""
    reach = max(1, int(np.ceil(4 * sd_places)))
    window = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sd_places) ** 2)
    padded = np.pad(values, reach, mode="edge")
    return np.convolve(padded, window / window.sum(), mode="valid")
