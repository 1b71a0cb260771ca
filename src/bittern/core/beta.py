"""How sure a share or a rate is, as an interval of its Beta distribution."""

from __future__ import annotations

import numpy as np

_STRIPS = 20_001
# With less than this, 19 in 20 of the chance lie nearer to the end than any float can say.
_NONE = 1e-6


def beta_interval(alpha: float, beta: float, mass: float = 0.9) -> tuple[float, float]:
    """Return the interval that holds ``mass`` of a Beta distribution, as much left out at either side.

    Parameters
    ----------
    alpha, beta
        Where one of them is 0, or as good as 0, all is at that end.

    Notes
    -----
    Sums the density over 20,000 strips, even in the logarithm of the odds; good to three digits.

    Examples
    --------
    >>> [round(x, 3) for x in beta_interval(1.0, 1.0)]
    [0.05, 0.95]
    """
    if alpha <= _NONE:
        return 0.0, 0.0
    if beta <= _NONE:
        return 1.0, 1.0
    reach = 40.0 / min(1.0, alpha, beta)
    odds = np.linspace(-reach, reach, _STRIPS)
    # With x = 1 / (1 + exp(-odds)) the density over odds is x^alpha (1 - x)^beta.
    log_density = -alpha * np.logaddexp(0.0, -odds) - beta * np.logaddexp(0.0, odds)
    # Where the density is sharp these strips are too coarse: look closer around its top.
    inside = np.flatnonzero(log_density > log_density.max() - 40.0)
    odds = np.linspace(odds[max(0, inside[0] - 1)], odds[min(_STRIPS - 1, inside[-1] + 1)], _STRIPS)
    log_density = -alpha * np.logaddexp(0.0, -odds) - beta * np.logaddexp(0.0, odds)
    density = np.exp(log_density - log_density.max())
    below = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    ends = np.interp([(1 - mass) / 2 * below[-1], (1 + mass) / 2 * below[-1]], below, odds)
    low, high = np.exp(-np.logaddexp(0.0, -ends)).tolist()
    return float(low), float(high)
