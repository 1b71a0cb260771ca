"""How long a visit to a step lasts: the right-triangular time, its moments and its shape on a grid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bittern.engines.pairing.sheet import Step

FloatArray = npt.NDArray[np.float64]

# Rows of one block on the grid: what is in memory at once stays small.
_BLOCK = 64


def mean_duration_s(step: Step) -> float:
    """Return the mean time of a visit in seconds, ``(2 typical + slowest) / 3``; an end takes none."""
    return 0.0 if step.kind == "end" else (2 * step.typical_s + step.slowest_s) / 3


def duration_variance_s2(step: Step) -> float:
    """Return the variance of the time of a visit in square seconds, ``(slowest - typical)^2 / 18``."""
    return 0.0 if step.kind == "end" else (step.slowest_s - step.typical_s) ** 2 / 18


def lattice_duration(
    typical_s: float, slowest_s: float, grid_s: float, count: int, *, keep_variance: bool = False
) -> FloatArray:
    """Return the chances that a visit lasts 0, 1, .. ``count - 1`` grid steps.

    Parameters
    ----------
    typical_s, slowest_s
        Ends of the right-triangular density, seconds, ``typical_s <= slowest_s``.
    grid_s
        Width of a grid step, seconds, above 0.
    count
        How many grid points are wanted.
    keep_variance
        Share each time among three grid points rather than two.

    Returns
    -------
    array of shape (count,)
        Each time's chance is shared between its two neighbours on the grid so that the mean is kept exactly,
        or among its three nearest so that the variance is kept too, by weights of which some are below zero.
        What lies beyond the grid is left out.

    Notes
    -----
    Local matching of the first one or two moments (Gerber, On the numerical evaluation of the distribution of
    aggregate claims, Insurance: Mathematics and Economics 1, 1982).

    Examples
    --------
    >>> lattice_duration(1.5, 1.5, 1.0, 4).tolist()
    [0.0, 0.5, 0.5, 0.0]
    >>> lattice_duration(1.5, 1.5, 1.0, 4, keep_variance=True).tolist()
    [0.0, 0.375, 0.75, -0.125]
    """
    ends_s = np.array([[typical_s, slowest_s]])
    result: FloatArray = lattice_durations(ends_s, grid_s, count, keep_variance=keep_variance)[0]
    return result


def lattice_durations(
    ends_s: FloatArray, grid_s: float, count: int, *, keep_variance: bool = False
) -> FloatArray:
    """Return :func:`lattice_duration` for each row (typical, slowest) of ``ends_s``, shape (n, count)."""
    whole = np.zeros((len(ends_s), count))
    share = _share_three if keep_variance else _share_two
    # Rows of like width together: each block is as wide as its widest.
    order = np.argsort(ends_s[:, 1] - ends_s[:, 0], kind="stable")
    for first in range(0, len(order), _BLOCK):
        rows = order[first : first + _BLOCK]
        points, chances = share(ends_s[rows], grid_s, count)
        inside = points < count
        lines = np.broadcast_to(rows[:, None], points.shape)
        whole[lines[inside], points[inside]] = chances[inside]
    return whole


def _share_two(ends_s: FloatArray, grid_s: float, count: int) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Return grid points and their chances, each row's mean kept: the mean of the hat function there.

    It is the second difference of ``H(t) = E[max(0, t - X)]`` over the grid.
    """
    first = np.floor(np.minimum(ends_s[:, 0] / grid_s, count)).astype(np.int64)
    last = np.ceil(np.minimum(ends_s[:, 1] / grid_s, count)).astype(np.int64)
    points = first[:, None] + np.arange(int((last - first).max()) + 1)
    edges_s = np.float64(grid_s) * (first[:, None] + np.arange(-1, points.shape[1] + 1.0))
    past_s = _integrate_cdf(edges_s, ends_s[:, :1], ends_s[:, 1:], grid_s)
    return points, np.maximum(np.diff(past_s, 2, axis=1) / grid_s, 0.0)


def _integrate_cdf(
    points_s: FloatArray, typical_s: FloatArray, slowest_s: FloatArray, grid_s: float
) -> FloatArray:
    """Return E[max(0, t - X)] at every point t."""
    span_s = slowest_s - typical_s
    constant = _is_constant(span_s, slowest_s, grid_s)
    share = np.clip((points_s - typical_s) / np.where(constant, 1.0, span_s), 0.0, 1.0)
    # Integral of 1 - (1 - u)^2 from 0 to u, written without the cancellation of cubes near u = 0.
    inside = span_s * share**2 * (1.0 - share / 3.0)
    spread = inside + np.maximum(points_s - slowest_s, 0.0)
    result: FloatArray = np.where(constant, np.maximum(points_s - typical_s, 0.0), spread)
    return result


def _share_three(ends_s: FloatArray, grid_s: float, count: int) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Return grid points and their weights, each row's mean and variance kept.

    A time within half a grid step of point m is shared among m - 1, m and m + 1; below the first point there
    is none, so that times near 0 are shared among 0, 1 and 2.
    """
    typical, slowest = ends_s[:, :1] / grid_s, ends_s[:, 1:] / grid_s
    span = slowest - typical
    constant = _is_constant(span, slowest, 1.0)
    first = np.maximum(np.rint(np.minimum(typical, count)).astype(np.int64), 1)
    last = np.maximum(np.rint(np.minimum(slowest, count + 1)).astype(np.int64), 1)
    cells = first + np.arange(int((last - first).max()) + 1)
    edges = np.concatenate([cells - 0.5, cells[:, -1:] + 0.5], axis=1)
    # What lies below the first cell's middle belongs to it in any case.
    edges[:, 0] = -np.inf
    share = np.clip((edges - typical) / np.where(constant, 1.0, span), 0.0, 1.0)
    share = np.where(constant, np.where(edges >= typical, 1.0, 0.0), share)
    parts = (
        np.diff(share * (2.0 - share), axis=1),
        np.diff(share**2 * (1.0 - 2.0 * share / 3.0), axis=1),
        np.diff(share**3 * (2.0 / 3.0 - share / 2.0), axis=1),
    )
    offset = typical - cells
    mean = offset * parts[0] + np.where(constant, 0.0, span) * parts[1]
    square = offset**2 * parts[0]
    square += np.where(constant, 0.0, 2.0 * offset * span * parts[1] + span**2 * parts[2])
    weights = np.zeros((len(ends_s), cells.shape[1] + 2))
    weights[:, :-2] += (square - mean) / 2.0
    weights[:, 1:-1] += parts[0] - square
    weights[:, 2:] += (square + mean) / 2.0
    return first - 1 + np.arange(weights.shape[1]), weights


def _is_constant(span: FloatArray, slowest: FloatArray, grid: float) -> npt.NDArray[np.bool_]:
    """Return which times are as good as constant: what is narrower is lost in the rounding."""
    result: npt.NDArray[np.bool_] = span <= np.maximum(1e-12 * slowest, 1e-9 * grid)
    return result
