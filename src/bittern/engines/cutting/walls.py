"""How far a milled groove lies from the ideal one: its walls, its centre line and its depth."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bittern.engines.cutting.forms import DiscForm, Form, list_bites
from bittern.engines.cutting.measuring import Errors, find_largest
from bittern.engines.cutting.metal import TOUCH_MM, Metal, settle
from bittern.engines.cutting.strokes import Floats, Stroke, StrokeTable, tabulate
from bittern.engines.cutting.target import Target

Walls = tuple[Floats, Floats]


def measure_groove(metal: Metal, target: Target) -> Errors:
    """Return the errors of the groove that ``metal`` has after its last stroke.

    Notes
    -----
    The ideal groove is everything within half its width of the centre line, so that its walls are what a
    disc of its width leaves. Measured along h at the same x: the groove's place is the middle between its
    walls, set against the middle between the ideal ones (which about a bend is not quite the line between
    the cuts); a gouge is metal taken beyond an ideal wall at any depth. Metal left counts from the bow-side
    end of the nearest cut's flat to the tip: nearer to the bow a mill has to turn. Where a root has no groove
    at all, its error is the groove's width.
    """
    x, ideal = metal.columns_mm, _Ideal(target)
    walls = _get_cut(metal, metal.through, x)
    middle = _get_middle(walls)
    asked = _find_asked(target, x)
    gouge, gouge_x = find_largest(lambda at: _get_beyond(metal, ideal, at), x, _get_beyond(metal, ideal, x))
    rest, rest_x = find_largest(
        lambda at: _get_rest(metal, ideal, at), x[asked], _get_rest(metal, ideal, x[asked])
    )
    standing = _find_standing(metal, walls, asked & np.isfinite(middle))
    if standing.max() > max(rest, TOUCH_MM):
        rest, rest_x = float(standing.max()), float(x[np.argmax(standing)])
    ideal_middle = _get_middle(ideal.get_walls(x))
    order = np.argsort(target.roots_x_mm)
    places = target.roots_x_mm[order]
    aside = np.empty(len(order))
    aside[order] = _get_middle(_get_cut(metal, metal.through, places)) - _get_middle(ideal.get_walls(places))
    aside = np.where(np.isfinite(aside), aside, ideal.width_mm)
    return Errors(
        float(abs(aside).max()),
        max(float(np.nan_to_num(abs(middle - ideal_middle)).max()), rest, gouge, 0.0),
        max(gouge, 0.0),
        gouge_x,
        max(rest, 0.0),
        rest_x,
        target.depths_mm + aside,
        x,
        middle,
        ideal_middle,
        walls,
        _get_depth_mm(metal),
    )


def get_ideal_walls(target: Target, x_mm: Floats) -> Walls:
    """Return the lower and the upper wall of the ideal groove at ``x_mm`` (growing)."""
    return _Ideal(target).get_walls(x_mm)


class _Ideal:
    """The ideal groove: a disc of its width, moved along its centre line."""

    def __init__(self, target: Target) -> None:
        self.width_mm = target.standard.groove_width_mm or 0.0
        self.form = DiscForm(self.width_mm / 2)
        bends = target.bends_mm.tolist()
        self.line = tabulate([Stroke(0, (*one, 0.0), (*other, 0.0)) for one, other in pairwise(bends)])

    def get_walls(self, x_mm: Floats) -> Walls:
        return get_walls(self.form, self.line, x_mm)


def _get_middle(walls: Walls) -> Floats:
    """Return the middle between two walls; NaN where there are none."""
    low, high = walls
    return np.where(
        high >= low, np.where(high >= low, low, 0.0) / 2 + np.where(high >= low, high, 0.0) / 2, np.nan
    )


def _get_cut(metal: Metal, strokes: StrokeTable, x_mm: Floats) -> Walls:
    """Return the walls of what strokes remove of the blank: beside it there is no metal."""
    bottom, top = metal.bottom_mm, metal.top_mm
    low, high = get_walls(metal.form, strokes, x_mm, within=(bottom, top))
    cut = high > low
    return np.where(cut, np.maximum(low, bottom), np.inf), np.where(cut, np.minimum(high, top), -np.inf)


def _get_beyond(metal: Metal, ideal: _Ideal, x_mm: Floats) -> Floats:
    """Return how much metal is taken beyond the ideal walls, at any depth; minus infinity without a cut."""
    (low, high), (ideal_low, ideal_high) = _get_cut(metal, metal.cutting, x_mm), ideal.get_walls(x_mm)
    return np.maximum(ideal_low - low, high - ideal_high)


def _get_rest(metal: Metal, ideal: _Ideal, x_mm: Floats) -> Floats:
    """Return how much metal is left at the ideal walls; the whole width without a groove."""
    (low, high), (ideal_low, ideal_high) = _get_cut(metal, metal.through, x_mm), ideal.get_walls(x_mm)
    rest = np.maximum(low - ideal_low, ideal_high - high)
    return np.where(np.isfinite(rest), rest, ideal.width_mm)


def get_walls(
    form: Form, strokes: StrokeTable, x_mm: Floats, *, within: tuple[float, float] = (-np.inf, np.inf)
) -> Walls:
    """Return the lowest and the highest height that strokes remove at ``x_mm`` (growing), or infinities."""
    low, high = np.full(len(x_mm), np.inf), np.full(len(x_mm), -np.inf)
    for bite in list_bites(form, strokes, x_mm, np.inf):
        meets = (bite.high_mm > within[0]) & (bite.low_mm < within[1])
        at = bite.columns
        low[at] = np.where(meets, np.minimum(low[at], bite.low_mm), low[at])
        high[at] = np.where(meets, np.maximum(high[at], bite.high_mm), high[at])
    return low, high


def _find_asked(target: Target, x_mm: Floats) -> NDArray[np.bool_]:
    """Return where metal that is left counts."""
    half, places = target.standard.flat_mm / 2, target.roots_x_mm
    first, last = (places.min() - half, np.inf) if target.from_bow else (-np.inf, places.max() + half)
    asked: NDArray[np.bool_] = (x_mm >= first) & (x_mm <= last)
    return asked


def _find_standing(metal: Metal, walls: Walls, asked: NDArray[np.bool_]) -> Floats:
    """Return how much metal along h stands between the walls of a groove."""
    over = np.flatnonzero(asked)
    standing = np.zeros(len(metal.columns_mm))
    if len(over):
        floor, ceiling = settle(metal, over, walls[0][over], walls[1][over])
        standing[over] = np.maximum(0.0, ceiling - floor)
    return standing


def _get_depth_mm(metal: Metal) -> float:
    """Return how deep below the upper face metal is taken at most."""
    deepest = 0.0
    for bite in list_bites(metal.form, metal.table, metal.columns_mm, metal.top_mm):
        stroke = metal.slabs.strokes[bite.stroke]
        if np.any((bite.low_mm < metal.top_mm) & (bite.high_mm > metal.bottom_mm)):
            deepest = max(deepest, -min(stroke.start[2], stroke.end[2]))
    return deepest
