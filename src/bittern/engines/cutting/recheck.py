"""Caliper readings of single cuts, weighed in with what a picture says of a finished key's heights."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import Bitting, name_cut
from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.errors import PictureError
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.roots import PARTS, Roots

APART_SD: Final = 4.0
"""Beyond four standard deviations of their difference two measurements are of different things."""


def weigh_in(roots: Roots, standard: BladeStandard, bitting: Bitting, readings: Sequence[Reading]) -> Roots:
    """Return the roots with caliper readings added.

    Parameters
    ----------
    roots
        As the picture gives them.
    readings
        Heights in mm, each with its standard deviation and independent of the others. A cut with two edges
        alike (``mirror``) is read across both and halved, so its reading is their mean.

    Raises
    ------
    PictureError
        Caliper and picture do not agree at a cut: dirt, a burr, or a slip of the hand. The heights are not
        told, for they tell the bitting.

    Notes
    -----
    Least squares with the readings as more observations (Kalman's update): with ``h`` the weights of the
    reading over the heights, ``S`` their covariance and ``r`` the reading's variance the gain is
    ``k = S h / (h S h + r)``, the heights move by ``k`` times what the reading is away, and the covariance
    loses ``k h S``. As errors of a picture are mostly shared, one reading makes all heights surer. The parts
    of a height's doubt shrink in proportion. A cut that the picture did not show is as the caliper has it,
    its doubt under ``pixel``, the part that is each root's own.
    """
    targets = [standard.depths_mm[cut] for edge in bitting.edges for cut in edge if cut is not None]
    for reading in readings:
        mine = (roots.cut == reading.cut).astype(np.float64)
        if mine.any():
            roots = _update(roots, standard, reading, mine / mine.sum())
        else:
            roots = _add(roots, reading, targets[reading.cut])
    return roots


def _update(roots: Roots, standard: BladeStandard, reading: Reading, h: NDArray[np.float64]) -> Roots:
    before = roots.covariance_mm2
    variance = float(h @ before @ h) + reading.sd_mm**2
    away, most = reading.height_mm - float(h @ roots.height_mm), APART_SD * math.sqrt(variance)
    if abs(away) > most:
        name = name_cut(standard, *divmod(reading.cut, len(standard.positions_mm)))
        raise PictureError(
            f"a caliper reading {abs(away):.2f} mm {'above' if away > 0 else 'below'} what the picture shows"
            f" of cut {name}",
            f"one within {most:.2f} mm of it",
            hint="brush the cut clean, measure it again, take the picture anew",
        )
    gain = before @ h / variance
    after = before - np.outer(gain, h @ before)
    shrunk = np.diag(after) / np.diag(before)
    return replace(
        roots,
        height_mm=roots.height_mm + gain * away,
        parts_mm2=roots.parts_mm2 * shrunk[:, None],
        covariance_mm2=(after + after.T) / 2,
    )


def _add(roots: Roots, reading: Reading, target_mm: float) -> Roots:
    count = len(roots.cut)
    covariance = np.zeros((count + 1, count + 1))
    covariance[:count, :count] = roots.covariance_mm2
    covariance[count, count] = reading.sd_mm**2
    parts = np.zeros((1, len(PARTS)))
    parts[0, PARTS.index("pixel")] = reading.sd_mm**2
    return Roots(
        cut=np.append(roots.cut, reading.cut),
        target_mm=np.append(roots.target_mm, target_mm),
        height_mm=np.append(roots.height_mm, reading.height_mm),
        parts_mm2=np.vstack([roots.parts_mm2, parts]),
        covariance_mm2=covariance,
    )
