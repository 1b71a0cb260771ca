"""A simulated key: its bitting, what the factory made of it, and what wear has left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.standard import BladeStandard
from simulated_keys.shape import (
    GRID_MM,
    Bow,
    draw_bow,
    make_bow,
    make_tip_limit,
    sample_factory_heights,
)
from simulated_keys.wear import Wear, draw_patches, draw_wear, limit_contrast, smooth, weigh_places

Floats = NDArray[np.float64]

CUTTER_CORNER_MM = 0.06
"""Radius that the cutter leaves in the corners of a root."""


@dataclass(frozen=True, slots=True)
class Making:
    """What the factory got a little wrong; lengths in mm.

    ``roots_mm`` has one row an edge: the height really left at each root. ``shift_mm`` is by how much all
    cuts lie further from the datum, ``length_mm`` the distance from shoulder to tip.
    """

    roots_mm: tuple[tuple[float, ...], ...]
    shift_mm: float
    length_mm: float


@dataclass(frozen=True, slots=True)
class Amount:
    """How much of a law's wear a key has, in mm: an edge loses ``grown`` times its weight, and ``even``.

    ``back`` is what the back edge has lost, by which all heights above it are less.
    """

    grown: float
    even: float
    back: float


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedKey:
    """A key of known bitting.

    Attributes
    ----------
    x_mm
        Shape (n,): distance from the datum, evenly spaced, along the whole blade.
    factory_mm, worn_mm
        Shape (edges, n): heights of the cut edges as the standard's depths are measured, above the back edge
        that is left for ``single``, else above the centre line; edge B counts away from it.
    losses_mm
        Shape (edges, cuts): height lost at the cuts' centres, the back edge's loss included.
    wear_steps
        Their mean, in depth steps.
    outline
        The silhouette in the frame of the key, its hole included.
    head
        The part of it that is the bow or the plastic head.
    """

    standard: BladeStandard
    bitting: Bitting
    making: Making
    wear: Wear
    amount: Amount
    wear_steps: float
    bow: Bow
    x_mm: Floats
    factory_mm: Floats
    worn_mm: Floats
    losses_mm: Floats
    outline: Polygon
    head: Polygon

    @property
    def upper_edge(self) -> int:
        """Return which edge has the greater v: A, or B where both edges are cut and the datum is the tip.

        Edge A is the upper one where x grows to the right, and so the lower one where the tip points right.
        """
        return get_upper_edge(self.standard)

    def lie(self, *, turned_over: bool) -> Bitting:
        """Return the bitting as it reads from the face that is seen; turned over, the edges change places."""
        return Bitting(self.bitting.edges[::-1]) if turned_over else self.bitting

    @property
    def shoulder_u_mm(self) -> float:
        """Place of the shoulder's plane in the frame of the key."""
        return -self.making.length_mm

    def to_u_mm(self, x_mm: Floats) -> Floats:
        """Return the place along the key's frame of distances from the datum."""
        return x_mm - self.making.length_mm if self.standard.datum == "shoulder" else -x_mm


def get_upper_edge(standard: BladeStandard) -> int:
    """Return the edge with the greater v in the frame of a key."""
    return int(standard.sides != "single" and standard.datum == "tip")


def get_step_mm(standard: BladeStandard) -> float:
    """Return the mean step between neighbouring depths."""
    depths = standard.depths_mm
    return (depths[0] - depths[-1]) / max(1, len(depths) - 1)


def make_key(
    standard: BladeStandard,
    bitting: Bitting,
    wear_steps: float,
    rng: np.random.Generator,
    *,
    law: str | None = None,
    bow: str | None = None,
    tip: str | None = None,
    tolerance_share: float = 0.5,
    making: Making | None = None,
) -> SimulatedKey:
    """Make a key.

    Parameters
    ----------
    wear_steps
        Mean loss of height over the cuts' roots, in depth steps, 0 to 0.5.
    law, bow, tip
        One of ``wear.LAWS``, ``shape.BOWS``, ``shape.TIPS``; None draws one.
    tolerance_share
        Standard deviation of the roots' heights as a share of the tolerance, beyond which none goes.
    making
        What is wrong with its making; None draws it.
    """
    making = making or draw_making(standard, bitting, rng, tolerance_share)
    wear = draw_wear(wear_steps, rng, law)
    x_mm, factory = _sample_factory(standard, making)
    amount = _choose_amount(standard, wear, wear_steps, x_mm, factory, making.shift_mm)
    chosen = draw_bow(standard, rng, bow)
    worn = np.stack(
        [
            heights - lose_height(standard, wear, amount, heights, x_mm, edge=edge)
            for edge, heights in enumerate(factory)
        ]
    )
    blade = _make_blade(standard, making, wear, x_mm, worn, amount.back, rng, tip)
    whole, head = _join_bow(standard, making, chosen, blade)
    left = _read_edges(standard, making, blade, x_mm)
    at_roots = np.asarray(standard.positions_mm) + making.shift_mm
    losses = np.stack(
        [
            np.interp(at_roots, x_mm, one) - np.interp(at_roots, x_mm, two)
            for one, two in zip(factory, left, strict=True)
        ]
    )
    return SimulatedKey(
        standard=standard,
        bitting=bitting,
        making=making,
        wear=wear,
        amount=amount,
        wear_steps=float(losses.mean() / get_step_mm(standard)),
        bow=chosen,
        x_mm=x_mm,
        factory_mm=factory,
        worn_mm=left,
        losses_mm=losses,
        outline=whole,
        head=head,
    )


def _sample_factory(standard: BladeStandard, making: Making) -> tuple[Floats, Floats]:
    """Return distances from the datum and the heights there of each edge, as the factory cut them."""
    x_mm = np.arange(0.0, making.length_mm + GRID_MM / 2, GRID_MM)
    # A cutter's corner is rounded: the sharp corner of a root stays a little filled.
    heights = [
        _fill_corners(sample_factory_heights(standard, np.asarray(roots), x_mm - making.shift_mm))
        for roots in making.roots_mm
    ]
    return x_mm, np.stack(heights)


def _join_bow(standard: BladeStandard, making: Making, bow: Bow, blade: Polygon) -> tuple[Polygon, Polygon]:
    """Return the whole key, its hole cut out, and the part of it that is the bow or the head."""
    shoulder = -making.length_mm
    block, body = make_bow(standard, bow, shoulder)
    whole = shapely.union_all([blade, block, body])
    hole_u, hole_v, radius = bow.hole
    if radius:
        whole = whole.difference(shapely.Point(shoulder + hole_u, hole_v).buffer(radius, quad_segs=48))
    head = body if bow.kind == "plastic" else shapely.union_all([block, body])
    return _take_largest(whole), head


def draw_making(standard: BladeStandard, bitting: Bitting, rng: np.random.Generator, share: float) -> Making:
    """Draw what the factory gets a little wrong; ``share`` as in :func:`make_key`."""
    edges = bitting.edges if standard.sides != "mirror" else bitting.edges * 2
    tolerance = standard.tolerance_mm
    rows = []
    for cuts in edges:
        off = np.clip(rng.normal(0, share * tolerance, len(cuts)), -tolerance, tolerance)
        rows.append(tuple(float(standard.depths_mm[cut] + one) for cut, one in zip(cuts, off, strict=True)))
    return Making(
        roots_mm=tuple(rows),
        shift_mm=float(np.clip(rng.normal(0, 0.02), -0.05, 0.05)),
        length_mm=standard.length_mm + float(np.clip(rng.normal(0, 0.03), -0.08, 0.08)),
    )


def _fill_corners(heights_mm: Floats) -> Floats:
    """Return the heights with concave corners filled by a radius: a disc rolled along from above."""
    reach = int(CUTTER_CORNER_MM / GRID_MM)
    across = np.arange(-reach, reach + 1)
    disc = np.sqrt(np.clip(CUTTER_CORNER_MM**2 - (across * GRID_MM) ** 2, 0, None))
    padded = np.pad(heights_mm, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    centre = (windows + disc).max(axis=1)
    padded = np.pad(centre, reach, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    filled: Floats = np.maximum(heights_mm, (windows - disc).min(axis=1))
    return filled


def lose_height(
    standard: BladeStandard,
    wear: Wear,
    amount: Amount,
    heights_mm: Floats,
    x_mm: Floats,
    *,
    edge: int = 0,
) -> Floats:
    """Return what an edge loses along the blade, the back edge's loss left out.

    Parameters
    ----------
    heights_mm
        Shape (n,): as the factory cut it.
    x_mm
        Shape (n,): distance from the datum, evenly spaced.
    """
    step_mm = float(x_mm[1] - x_mm[0])
    weight, lean = _weigh(standard, wear, heights_mm, x_mm, edge)
    return smooth((amount.grown * weight + amount.even) * lean, 0.05 / step_mm)


def _weigh(
    standard: BladeStandard, wear: Wear, heights_mm: Floats, x_mm: Floats, edge: int
) -> tuple[Floats, Floats]:
    toward_tip = 1 if standard.datum == "shoulder" else -1
    weight, lean = weigh_places(
        wear,
        heights_mm[::toward_tip],
        float(x_mm[1] - x_mm[0]),
        standard.depths_mm[-1],
        standard.depths_mm[0],
    )
    weight = weight * (wear.edge_share if edge else 1.0)
    return weight[::toward_tip] * draw_patches(wear, x_mm + 50.0 * edge), lean[::toward_tip]


def _choose_amount(
    standard: BladeStandard, wear: Wear, wear_steps: float, x_mm: Floats, factory: Floats, shift_mm: float
) -> Amount:
    """Return as much wear as makes the mean loss at the roots ``wear_steps`` depth steps."""
    step = get_step_mm(standard)
    back = wear.back_share * wear_steps * step if standard.sides == "single" else 0.0
    lost = max(0.0, wear_steps * step - back)
    roots = np.asarray(standard.positions_mm) + shift_mm
    at_roots = [
        np.interp(roots, x_mm, _weigh(standard, wear, heights, x_mm, edge)[0])
        for edge, heights in enumerate(factory)
    ]
    even = limit_contrast(at_roots, wear_steps)
    return Amount(lost * (1 - even) / float(np.concatenate(at_roots).mean()), lost * even, back)


def _make_blade(
    standard: BladeStandard,
    making: Making,
    wear: Wear,
    x_mm: Floats,
    worn: Floats,
    back_mm: float,
    rng: np.random.Generator,
    tip: str | None,
) -> Polygon:
    """Return the worn blade, a little longer than from tip to shoulder so that it joins the bow."""
    half = standard.width_mm / 2
    u = x_mm - making.length_mm if standard.datum == "shoulder" else -x_mm
    order = np.argsort(u)
    u = u[order]
    at = get_upper_edge(standard)
    upper = worn[at][order] - (half if standard.sides == "single" else 0.0)
    lower = np.full_like(u, back_mm - half) if standard.sides == "single" else -worn[1 - at][order]
    u = np.concatenate([[u[0] - 3.0], u])
    upper, lower = np.concatenate([[upper[0]], upper]), np.concatenate([[lower[0]], lower])
    end = np.concatenate([np.column_stack([u, lower]), np.column_stack([u, upper])[::-1]])
    near = u > -0.6
    middle = float((upper[near].min() + lower[near].max()) / 2)
    limit = make_tip_limit(standard, rng, middle, tip)
    limit = shapely.affinity.translate(limit, xoff=-wear.tip_mm)
    blade = Polygon(end).intersection(limit).simplify(0.0003)
    # Opening by a disc rounds the corners that stand out and leaves roots as they are.
    rounded = blade.buffer(-wear.round_mm, quad_segs=12).buffer(wear.round_mm, quad_segs=12)
    return _take_largest(rounded.intersection(blade).simplify(0.0003))


def _read_edges(standard: BladeStandard, making: Making, blade: Polygon, x_mm: Floats) -> Floats:
    """Return the heights that are left, shape (edges, n), from the blade as it is."""
    u = x_mm - making.length_mm if standard.datum == "shoulder" else -x_mm
    upper, lower = cross_columns(blade, u)
    if standard.sides == "single":
        back = float(np.nanmedian(lower[(u < -3.0) & (u > -making.length_mm + 1.0)]))
        return np.stack([upper - back])
    edges = np.stack([upper, -lower])
    return edges[::-1] if get_upper_edge(standard) else edges


def cross_columns(shape: Polygon, u_mm: Floats) -> tuple[Floats, Floats]:
    """Return the highest and the lowest v of a shape's outer ring at each u; NaN where it has none."""
    ring = np.asarray(shape.exterior.coords)
    order = np.argsort(u_mm, kind="stable")
    at = u_mm[order]
    start, stop = ring[:-1], ring[1:]
    left = np.minimum(start[:, 0], stop[:, 0])
    right = np.maximum(start[:, 0], stop[:, 0])
    first, last = np.searchsorted(at, left, "left"), np.searchsorted(at, right, "right")
    counts = last - first
    piece = np.repeat(np.arange(len(start)), counts)
    column = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts) + first[piece]
    run = stop[piece, 0] - start[piece, 0]
    share = np.divide(at[column] - start[piece, 0], run, out=np.zeros_like(run), where=run != 0)
    v = start[piece, 1] + share * (stop[piece, 1] - start[piece, 1])
    highest, lowest = np.full(len(at), -np.inf), np.full(len(at), np.inf)
    np.maximum.at(highest, column, v)
    np.minimum.at(lowest, column, v)
    upper, lower = np.full(len(at), np.nan), np.full(len(at), np.nan)
    seen = np.isfinite(highest)
    upper[order[seen]], lower[order[seen]] = highest[seen], lowest[seen]
    return upper, lower


def _take_largest(shape: Polygon | MultiPolygon) -> Polygon:
    if isinstance(shape, Polygon):
        return shape
    return max(shape.geoms, key=lambda one: one.area)
