"""How long a visit to a step lasts: the right-triangular time, its moments and its shape on a grid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bittern.engines.pairing.sheet import Step

FloatArray = npt.NDArray[np.float64]


def mean_duration_s(step: Step) -> float:
    """Return the mean time of a visit in seconds, ``(2 typical + slowest) / 3``; an end takes none."""
    return 0.0 if step.kind == "end" else (2 * step.typical_s + step.slowest_s) / 3


def duration_variance_s2(step: Step) -> float:
    """Return the variance of the time of a visit in square seconds, ``(slowest - typical)^2 / 18``."""
    return 0.0 if step.kind == "end" else (step.slowest_s - step.typical_s) ** 2 / 18


def lattice_duration(typical_s: float, slowest_s: float, grid_s: float, count: int) -> FloatArray:
    """Return the chances that a visit lasts 0, 1, .. ``count - 1`` grid steps.

    Parameters
    ----------
    typical_s, slowest_s
        Ends of the right-triangular density, seconds, ``typical_s <= slowest_s``.
    grid_s
        Width of a grid step, seconds, above 0.
    count
        How many grid points are wanted.

    Returns
    -------
    array of shape (count,)
        Each time's chance is shared between its two neighbours on the grid so that the mean is kept exactly.
        What lies beyond the grid is left out.

    Notes
    -----
    The chance at point m is the second difference of ``H(t) = E[max(0, t - X)]`` at the points m - 1, m, m +
    1, which is the mean of the hat function there.

    Examples
    --------
    >>> lattice_duration(1.5, 1.5, 1.0, 4).tolist()
    [0.0, 0.5, 0.5, 0.0]
    """
    points_s = grid_s * np.arange(-1, count + 1, dtype=np.float64)
    past_s = _integrate_cdf(points_s, typical_s, slowest_s)
    return np.maximum(np.diff(past_s, 2) / grid_s, 0.0)


def _integrate_cdf(points_s: FloatArray, typical_s: float, slowest_s: float) -> FloatArray:
    """Return E[max(0, t - X)] at every point t."""
    span_s = slowest_s - typical_s
    if span_s <= 1e-12 * max(slowest_s, 1e-300):
        return np.maximum(points_s - typical_s, 0.0)
    share = np.clip((points_s - typical_s) / span_s, 0.0, 1.0)
    # Integral of 1 - (1 - u)^2 from 0 to u, written without the cancellation of cubes near u = 0.
    inside = span_s * share**2 * (1.0 - share / 3.0)
    return inside + np.maximum(points_s - slowest_s, 0.0)
