"""Whether a measured length is within its limits, given how well it was measured (JCGM 106:2012)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.picture.edges import normal_integral

Floats = NDArray[np.float64]
Verdict = Literal["pass", "fail", "undecided"]

USUAL_RISK: Final = 0.05
"""Share of wrong verdicts that a shop accepts beforehand (JCGM 106 speaks of 5 %)."""
OWN_SHARE: Final = 0.05
"""Least share of a length's variance that is taken to be its own: a twentieth, which no verdict feels."""


def get_p_conform(deviation_mm: float, sd_mm: float, limit_mm: float) -> float:
    """Return the probability that the true deviation lies within plus and minus ``limit_mm``.

    Raises
    ------
    ValueError
        A standard deviation or a limit that is not above 0.

    Notes
    -----
    JCGM 106:2012, 7.4: a normal law about the measured value, nothing known beforehand.

    Examples
    --------
    Two standard deviations below one of the limits, and far from the other:

    >>> round(get_p_conform(1.2, 0.4, 2.0), 4)
    0.9772
    """
    if not (sd_mm > 0 and limit_mm > 0):
        raise ValueError(f"found sd {sd_mm} mm and limit {limit_mm} mm, expected both above 0")

    def below(value: float) -> float:
        return (1 + math.erf(value / sd_mm / math.sqrt(2))) / 2

    return below(limit_mm - deviation_mm) - below(-limit_mm - deviation_mm)


def get_guard_band_mm(sd_mm: float, risk: float) -> float:
    """Return by how much the acceptance limit lies inside the tolerance limit.

    Notes
    -----
    JCGM 106:2012, 8.3.2 (and ISO 14253-1): ``w = z u`` with ``z`` the normal law's quantile at ``1 - risk``.
    """
    from statistics import NormalDist

    return NormalDist().inv_cdf(1 - risk) * sd_mm


def judge(p_conform: float, risk: float) -> Verdict:
    """Return the guard-banded verdict: pass and fail only where wrong at most ``risk`` of the time."""
    if p_conform >= 1 - risk:
        return "pass"
    return "fail" if p_conform <= risk else "undecided"


@dataclass(frozen=True, slots=True)
class Risks:
    """Chances over all pieces made: accepted though wrong, and rejected though right."""

    false_accept: float
    false_reject: float


def get_risks(process_sd_mm: float, sd_mm: float, limit_mm: float, accept_mm: float) -> Risks:
    """Return how often a piece is judged wrongly that is accepted when it measures within ``accept_mm``.

    Parameters
    ----------
    process_sd_mm
        Standard deviation of what is made, about the target.
    sd_mm
        Standard deviation of a measurement.
    limit_mm, accept_mm
        A piece conforms within plus and minus the first; it is accepted within plus and minus the second.

    Notes
    -----
    JCGM 106:2012, 9: the joint normal law of true and measured value, integrated over the true value by the
    trapezoid rule, which is exact to many digits for such integrands.

    Examples
    --------
    Deaver (1994): process 4, measurement 1, limits 8 give .0080 and .0149.

    >>> risks = get_risks(4, 1, 8, 8)
    >>> round(risks.false_accept, 6), round(risks.false_reject, 6)
    (0.008006, 0.014851)
    """

    def integrate(low: float, high: float, *, inside: bool) -> float:
        true = np.linspace(low, high, 20_001)
        made = np.exp(-np.square(true / process_sd_mm) / 2) / (process_sd_mm * math.sqrt(2 * math.pi))
        accepted = np.array([get_p_conform(float(value), sd_mm, accept_mm) for value in true])
        return float(np.trapezoid(made * (accepted if inside else 1 - accepted), true))

    far = limit_mm + 12 * max(process_sd_mm, sd_mm)
    return Risks(2 * integrate(limit_mm, far, inside=True), integrate(-limit_mm, limit_mm, inside=False))


def get_p_all_conform(off_mm: Floats, covariance_mm2: Floats, limit_mm: float) -> float:
    """Return the probability that all true deviations lie within plus and minus ``limit_mm``.

    Parameters
    ----------
    off_mm
        Shape (n,): measured deviations.
    covariance_mm2
        Shape (n, n): of what they are off by, together.

    Notes
    -----
    JCGM 106:2012, 7.4, for several lengths at once. What they have in common is kept as the two greatest
    principal parts of their covariance (the picture's scale and its edges) and integrated over a grid of the
    normal law by the trapezoid rule; the rest counts as each length's own, which keeps every variance.

    Examples
    --------
    One length conforms with 0.9772. Two that are wrong together are hardly less likely to (the part of their
    own that each is taken to have makes the difference); two by themselves are:

    >>> import numpy as np
    >>> together = np.full((2, 2), 0.16)
    >>> round(get_p_all_conform(np.array([1.2, 1.2]), together, 2.0), 4)
    0.9705
    >>> round(get_p_all_conform(np.array([1.2, 1.2]), np.diag([0.16, 0.16]), 2.0), 4)
    0.955
    """
    if not len(off_mm):
        return 1.0
    variance, direction = np.linalg.eigh(covariance_mm2)
    common = direction[:, -2:] * np.sqrt(np.maximum(variance[-2:], 0.0))
    total = np.diag(covariance_mm2)
    shared = np.square(common).sum(axis=1)
    # Something of each length's own keeps the integrand smooth on the grid.
    most = (1 - OWN_SHARE) * total
    common *= np.sqrt(np.minimum(1.0, most / np.maximum(shared, 1e-300)))[:, None]
    own = np.sqrt(total - np.minimum(shared, most))[:, None, None]
    nodes = np.linspace(-5, 5, 81)
    bell = np.exp(-np.square(nodes) / 2)
    grid = np.stack(np.meshgrid(nodes, nodes, indexing="ij"))[: common.shape[1]]
    centre = np.asarray(off_mm)[:, None, None] + np.tensordot(common, grid, axes=1)
    inside = normal_integral((limit_mm - centre) / own) - normal_integral((-limit_mm - centre) / own)
    weight = np.outer(bell, bell)
    return float((inside.prod(axis=0) * weight).sum() / weight.sum())
