"""The outline of a key: blade with its cuts, tip, shoulder and bow.

The frame of a key: ``u`` along the blade's axis toward the tip, 0 at the tip plane, so negative on the key;
``v`` across, upward, 0 in the middle of the uncut blade. Edge A is the upper one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box

from bittern.engines.blade.standard import BladeStandard

Floats = NDArray[np.float64]

TIPS = ("chamfer", "point", "round")
BOWS = ("round", "square", "plastic")
GRID_MM = 0.01


@dataclass(frozen=True, slots=True)
class Bow:
    """The bow, or the plastic head, and the shoulder before it; lengths in mm.

    ``steps_mm`` is by how much the shoulder stands out above and below the uncut blade; ``block_mm`` how
    long it is before the bow begins; ``hole`` is (u, v, radius), a radius of 0 means none.
    """

    kind: str
    steps_mm: tuple[float, float]
    block_mm: float
    size_mm: tuple[float, float]
    fillet_mm: float
    hole: tuple[float, float, float]


def draw_bow(standard: BladeStandard, rng: np.random.Generator, kind: str | None = None) -> Bow:
    """Draw a bow; only the back edge of a blade cut on one edge may go on into it without a step."""
    kind = kind or str(rng.choice(BOWS))
    upper, lower = (float(one) for one in rng.uniform(1.1, 2.6, 2))
    if standard.sides == "single" and rng.random() < 0.4:
        lower = 0.0
    long = float(rng.uniform(18, 25) if kind == "round" else rng.uniform(20, 32))
    wide = standard.width_mm + float(rng.uniform(9, 16))
    hole = float(rng.uniform(1.5, 3.5)) if rng.random() < 0.8 else 0.0
    block = float(rng.uniform(0.6, 5.0))
    return Bow(
        kind=kind,
        steps_mm=(upper, lower),
        block_mm=block,
        size_mm=(long, wide),
        fillet_mm=float(rng.uniform(0.05, 0.2)),
        hole=(-block - 0.75 * long, float(rng.uniform(-1.5, 1.5)), hole),
    )


def make_bow(standard: BladeStandard, bow: Bow, shoulder_u_mm: float) -> tuple[Polygon, Polygon]:
    """Return the metal shoulder block and the bow or head, both in the frame of the key, without the hole."""
    half = standard.width_mm / 2
    upper, lower = bow.steps_mm
    long, wide = bow.size_mm
    # The block reaches into the bow, so that the two are one body.
    block = box(shoulder_u_mm - bow.block_mm - 0.4 * long, -half - lower, shoulder_u_mm, half + upper)
    left, right = shoulder_u_mm - bow.block_mm - long, shoulder_u_mm - bow.block_mm
    if bow.kind == "round":
        body = shapely.affinity.scale(
            Point((left + right) / 2, 0.0).buffer(1.0, quad_segs=64), long / 2, wide / 2
        )
    else:
        radius = min(3.0, long / 4) if bow.kind == "square" else min(6.0, long / 4)
        body = box(left + radius, -wide / 2 + radius, right - radius, wide / 2 - radius).buffer(
            radius, quad_segs=24
        )
    fillets = _make_fillets(standard, bow, shoulder_u_mm)
    return shapely.union_all([block, *fillets]), body


def _make_fillets(standard: BladeStandard, bow: Bow, shoulder_u_mm: float) -> list[Polygon]:
    """Return the two roundings in the corners between blade and shoulder."""
    half, radius = standard.width_mm / 2, bow.fillet_mm
    made = []
    for sign, step in ((1, bow.steps_mm[0]), (-1, bow.steps_mm[1])):
        if step < 2 * radius:
            continue
        # Down to below the cut edge, which wear and cuts put lower than the blank's.
        corner = box(shoulder_u_mm, sign * half, shoulder_u_mm + radius, sign * (half + radius)).normalize()
        disc = Point(shoulder_u_mm + radius, sign * (half + radius)).buffer(radius, quad_segs=16)
        made.append(corner.difference(disc))
    return made


def make_tip_limit(
    standard: BladeStandard, rng: np.random.Generator, middle_v_mm: float, kind: str | None = None
) -> Polygon:
    """Return the region that the blade may fill: its tip runs in over the last 2 mm at the most."""
    kind = kind or str(rng.choice(TIPS))
    far, half = -500.0, standard.width_mm
    run = float(rng.uniform(0.6, 1.95))
    if kind == "chamfer":
        face = float(rng.uniform(0.15, 0.3)) * standard.width_mm
        points = [(0.0, middle_v_mm - face), (0.0, middle_v_mm + face)]
        drop = standard.width_mm / 2 - face + abs(middle_v_mm)
        slope = drop / run
    elif kind == "point":
        points = [(0.0, middle_v_mm)]
        slope = (standard.width_mm / 2 + abs(middle_v_mm)) / run
    else:
        return _make_round_tip(standard, run, middle_v_mm)
    low, high = points[0][1], points[-1][1]
    reach = 3 * half / slope
    return Polygon(
        [
            *points,
            (-reach, high + 3 * half),
            (far, high + 3 * half),
            (far, low - 3 * half),
            (-reach, low - 3 * half),
        ]
    )


def _make_round_tip(standard: BladeStandard, run: float, middle_v_mm: float) -> Polygon:
    """Return a region that ends in half an ellipse."""
    half = standard.width_mm / 2 + abs(middle_v_mm)
    turn = np.linspace(-math.pi / 2, math.pi / 2, 181)
    u, v = run * (np.cos(turn) - 1), middle_v_mm + half * np.sin(turn)
    points = [*zip(u.tolist(), v.tolist(), strict=True), (-500.0, v[-1]), (-500.0, v[0])]
    return Polygon(points)


def sample_factory_heights(
    standard: BladeStandard, roots_mm: Floats, x_mm: Floats, positions_mm: Floats | None = None
) -> Floats:
    """Return the height of one edge as the factory cut it, with its own height at each root.

    Parameters
    ----------
    roots_mm
        Shape (cuts,): heights left at the roots, in the order of the positions.
    x_mm
        Shape (n,): distance from the datum.
    positions_mm
        Of the roots; None takes all the standard's.
    """
    top = standard.width_mm if standard.sides == "single" else standard.width_mm / 2
    positions = np.asarray(standard.positions_mm) if positions_mm is None else positions_mm
    rise = 1 / math.tan(math.radians(standard.angle_deg) / 2)
    beside = np.clip(np.abs(x_mm[:, None] - positions[None, :]) - standard.flat_mm / 2, 0, None)
    lowest: Floats = np.minimum(top, (roots_mm[None, :] + beside * rise).min(axis=1))
    return lowest
