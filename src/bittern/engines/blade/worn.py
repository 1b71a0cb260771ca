"""The worn blade: what heights a bitting shows after years in a pocket, in many versions at once.

The ideal outline loses height downward only. The loss at a point is

    step * amount * (low + (1 - low) * u ** power) * (1 + facing * [faces the tip] + uncut * [uncut edge])

with ``u`` the point's height from the deepest (0) to the shallowest root (1) of the standard. Ridges are
rounded besides, and the back edge of a ``single`` blade may have lost some height, which lowers all the rest.
Amounts of this form are common practice, not a law; what they do not explain is left to the scatter of
:func:`scatter`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard

Floats = NDArray[np.float64]

# Columns of the array of nuisances, shape (versions, NUISANCES).
(
    SHIFT, SCALE, OFFSET, TILT, BIAS, AMOUNT, LOW, LOG_POWER, FACING, UNCUT, ROUNDING, BACK, LOG_HEIGHT,
) = range(13)  # fmt: skip
NUISANCES: Final = 13

# A ridge's rounding is felt where the next surface is less than this above, in mm.
_RIDGE_MM = 0.4
_MOST_U = 1.6
_LEAST_U = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Family:
    """The numbers of a standard that the model needs; places sorted along the blade.

    ``order`` gives, for each place along the blade, its index in the bitting. ``toward_tip`` is the sign of
    the direction of x that goes to the tip.
    """

    places_mm: Floats
    order: NDArray[np.intp]
    depths_mm: Floats
    top_mm: float
    half_flat_mm: float
    rise: float
    step_mm: float
    range_mm: float
    toward_tip: int


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Heights with what is needed to move them: each of shape (versions, samples).

    ``slope`` is the ideal outline's; ``columns`` holds the derivatives of the height for the nuisances that
    act on the surface itself (x, amount, low, log power, facing, uncut, rounding).
    """

    height_mm: Floats
    slope: Floats
    loss_mm: Floats
    near_ridge: Floats
    on_root: NDArray[np.bool_]
    columns: dict[int, Floats]


def get_family(standard: BladeStandard) -> Family:
    """Return a standard's numbers as arrays."""
    places = np.asarray(standard.positions_mm, dtype=np.float64)
    order = np.argsort(places)
    depths = np.asarray(standard.depths_mm, dtype=np.float64)
    spread = float(abs(depths[0] - depths[-1]))
    step = spread / max(len(depths) - 1, 1) or standard.width_mm / 10
    return Family(
        places_mm=places[order],
        order=order,
        depths_mm=depths,
        top_mm=get_edge_height_mm(standard),
        half_flat_mm=standard.flat_mm / 2,
        rise=1 / math.tan(math.radians(standard.angle_deg) / 2),
        step_mm=step,
        range_mm=max(spread, step),
        toward_tip=1 if standard.datum == "shoulder" else -1,
    )


def wear_surface(family: Family, theta: Floats, depths_mm: Floats, x_mm: Floats) -> Surface:
    """Return the worn height at every place.

    Parameters
    ----------
    family
        Numbers of the standard.
    theta
        Shape (versions, NUISANCES).
    depths_mm
        Shape (versions, cuts): root heights in the order of the places along the blade.
    x_mm
        Shape (versions, samples): places along the blade from the datum.

    Notes
    -----
    Derivatives are exact except that a sample is taken to stay on its flank or flat.
    """
    ideal, slope, gap, on_root = _shape(family, depths_mm, x_mm)
    step = family.step_mm
    deepest = family.depths_mm.min()
    u = np.clip((ideal - deepest) / family.range_mm, _LEAST_U, _MOST_U)
    amount, low = theta[:, AMOUNT, None], theta[:, LOW, None]
    power = np.exp(theta[:, LOG_POWER, None])
    raised = u**power
    form = low + (1 - low) * raised
    faces_tip = slope * family.toward_tip < 0
    uncut = ideal >= family.top_mm - 1e-9
    side = 1 + theta[:, FACING, None] * faces_tip + theta[:, UNCUT, None] * uncut
    loss = step * amount * form * side
    near = np.square(np.clip(1 - gap / _RIDGE_MM, 0, None))
    bends = (u > _LEAST_U) & (u < _MOST_U)
    # How the loss itself changes on the way up a flank.
    along = slope * (1 - step * amount * side * (1 - low) * power * raised / u / family.range_mm * bends)
    return Surface(
        height_mm=ideal - loss - theta[:, ROUNDING, None] * near,
        slope=slope,
        loss_mm=loss,
        near_ridge=near,
        on_root=on_root,
        columns={
            SHIFT: along,
            AMOUNT: -step * form * side,
            LOW: -step * amount * (1 - raised) * side,
            LOG_POWER: -step * amount * (1 - low) * raised * np.log(u) * power * side,
            FACING: -step * amount * form * faces_tip,
            UNCUT: -step * amount * form * uncut,
            ROUNDING: -near,
        },
    )


def _shape(
    family: Family, depths_mm: Floats, x_mm: Floats
) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
    """Return height, slope and the gap to the next surface above of the ideal outline, and the roots."""
    beside = x_mm[:, :, None] - family.places_mm
    away = np.abs(beside) - family.half_flat_mm
    heights = depths_mm[:, None, :] + family.rise * np.maximum(away, 0)
    at = heights.argmin(axis=2)[:, :, None]
    lowest = np.take_along_axis(heights, at, 2)[:, :, 0]
    on_flat = np.take_along_axis(away, at, 2)[:, :, 0] <= 0
    sign = np.sign(np.take_along_axis(beside, at, 2)[:, :, 0])
    np.put_along_axis(heights, at, np.inf, 2)
    second = np.minimum(heights.min(axis=2), family.top_mm)
    capped = lowest >= family.top_mm
    ideal = np.where(capped, family.top_mm, lowest)
    gap = np.where(capped, lowest - family.top_mm, second - lowest)
    slope = np.where(capped | on_flat, 0.0, family.rise * sign)
    return ideal, slope, gap, on_flat & ~capped


def scatter(family: Family, surface: Surface, tolerance_mm: float) -> Floats:
    """Return the standard deviation in mm of what the model leaves unexplained, shape (versions, samples).

    Notes
    -----
    Roots are held by the factory's tolerance, taken as two standard deviations, and wear flatly; flanks and
    ridges wear in ways of their own. The shares are judgement, set on simulated keys whose wear follows
    other laws than this one.
    """
    loss = np.abs(surface.loss_mm)
    root = (tolerance_mm / 2) ** 2 + 0.008**2 + np.square(0.10 * loss)
    flank = 0.03**2 + np.square(0.22 * loss)
    variance = np.where(surface.on_root, root, flank) + np.square(0.10 * surface.near_ridge)
    return np.asarray(np.sqrt(variance), dtype=np.float64)
