"""How near to the ideal outline a cutter can come at best."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from bittern.engines.cutting.forms import DiscForm, Form, WheelForm
from bittern.engines.cutting.strokes import Floats
from bittern.engines.cutting.target import Target

STEP_MM: Final = 0.01
REACH_ERROR_MM: Final = 0.005
"""Of the heights below, on flanks of 45 degrees, for the grid's step."""
_FAR_MM: Final = 1e6


def get_reachable_mm(form: Form, target: Target, x_mm: Floats) -> Floats:
    """Return the lowest outline that the cutter can leave at ``x_mm`` and take nothing below the ideal one.

    Notes
    -----
    The closing of mathematical morphology, by definition: the cutter's point at each place as low as the
    outline lets it, ``m(X) = max over u of h(X + u) - f(u)``, and the lowest of all these,
    ``r(x) = min over X of m(X) + f(x - X)``, on a grid; independent of the planner's exact parallels. Metal
    goes on at the bow, to the uncut edge for a wheel and to any height for a mill; beyond the tip there is
    none. Source: J. Serra, Image Analysis and Mathematical Morphology, 1982 (from memory).
    """
    length, top = target.standard.length_mm, target.top_mm
    half = _get_half_width_mm(form, top - float(target.bends_mm[:, 1].min()))
    steps = int(np.ceil(half / STEP_MM))
    grid = _lay_grid(-2 * steps, int(np.ceil(length / STEP_MM)) + 2 * steps)
    ideal = target.get_ideal_mm(grid)
    bow = top if isinstance(form, WheelForm) else _FAR_MM
    before, after = (bow, -_FAR_MM) if target.from_bow else (-_FAR_MM, bow)
    ideal = np.where(grid < -1e-9, before, np.where(grid > length + 1e-9, after, ideal))
    lowest = form.get_lowest(_lay_grid(-steps, steps))
    point = (sliding_window_view(ideal, 2 * steps + 1) - lowest).max(axis=1)
    reach: Floats = (sliding_window_view(point, 2 * steps + 1) + lowest).min(axis=1)
    inner = grid[2 * steps : len(grid) - 2 * steps]
    found: Floats = np.minimum(np.interp(x_mm, inner, reach), top)
    return found


def _lay_grid(first: int, last: int) -> Floats:
    return np.linspace(first * STEP_MM, last * STEP_MM, last - first + 1)


def _get_half_width_mm(form: Form, depth_mm: float) -> float:
    if isinstance(form, DiscForm):
        return form.radius_mm
    assert isinstance(form, WheelForm)
    return form.half_flat_mm + depth_mm / form.slope + STEP_MM
