"""Keys that were just cut, with a known error: clamped or set wrongly, one cut wrong, not deburred."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.standard import BladeStandard
from simulated_keys.key import Making, SimulatedKey, draw_making, make_key

Floats = NDArray[np.float64]

KINDS = ("good", "loose", "shifted", "level", "taper", "one cut", "burr")
"""``good``: little scatter. ``loose``: much scatter from cut to cut. Others: see :class:`CuttingError`."""
AMOUNTS_MM = {
    "shifted": (0.12, 0.5),
    "level": (0.06, 0.25),
    "taper": (0.10, 0.30),
    "one cut": (0.10, 0.40),
    "burr": (0.12, 0.30),
}
SIGNED = ("shifted", "level", "taper")
GOOD_SHARE, LOOSE_SHARE = 0.3, 1.0
"""Standard deviation of the roots' heights as a share of the tolerance."""
BURR_WIDTH_MM = (0.12, 0.30)


@dataclass(frozen=True, slots=True)
class CuttingError:
    """What went wrong in cutting.

    Attributes
    ----------
    kind
        One of ``KINDS``.
    amount_mm
        ``shifted``: by how much all cuts lie further from the datum. ``level``: all cuts are shallower.
        ``taper``: by how much the last cut is shallower than the first, counted from the datum. ``one cut``:
        that cut is deeper. ``burr``: how far it stands out.
    cut
        Number of the one cut, or of the cut beside which the burr stands, over all edges.
    """

    kind: str
    amount_mm: float = 0.0
    cut: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class FinishedKey:
    """A key with the error it was cut with.

    Attributes
    ----------
    off_mm
        Shape (edges, cuts): true height less the target's at each root, where the root is; two edges for a
        ``mirror`` blade.
    shift_mm
        By how much all cuts lie further from the datum.
    """

    key: SimulatedKey
    error: CuttingError
    off_mm: Floats
    shift_mm: float


def draw_error(kind: str, standard: BladeStandard, rng: np.random.Generator) -> CuttingError:
    """Draw an error of a kind, from one that hardly matters to one that anybody sees."""
    edges = 2 if standard.sides == "split" else 1
    cut = int(rng.integers(edges * len(standard.positions_mm)))
    if kind not in AMOUNTS_MM:
        return CuttingError(kind)
    amount = float(rng.uniform(*AMOUNTS_MM[kind]))
    if kind in SIGNED and rng.random() < 0.5:
        amount = -amount
    return CuttingError(kind, amount, cut)


def finish_key(
    standard: BladeStandard, bitting: Bitting, error: CuttingError, rng: np.random.Generator
) -> FinishedKey:
    """Cut a key with an error and the usual scatter."""
    making = _spoil(standard, bitting, error, rng)
    key = make_key(standard, bitting, 0.0, rng, making=making)
    if error.kind == "burr":
        key = _leave_burr(key, error, rng)
    roots = np.asarray(standard.positions_mm) + making.shift_mm
    true = np.stack([np.interp(roots, key.x_mm, heights) for heights in key.factory_mm])
    return FinishedKey(key, error, true - _list_targets(standard, bitting), making.shift_mm)


def _list_targets(standard: BladeStandard, bitting: Bitting) -> Floats:
    """Return the heights aimed at, shape (edges, cuts)."""
    edges = bitting.edges * 2 if standard.sides == "mirror" else bitting.edges
    return np.array([[standard.depths_mm[cut] for cut in edge] for edge in edges if None not in edge])  # type: ignore[index]


def _spoil(
    standard: BladeStandard, bitting: Bitting, error: CuttingError, rng: np.random.Generator
) -> Making:
    usual = draw_making(standard, bitting, rng, 0.0)
    share = LOOSE_SHARE if error.kind == "loose" else GOOD_SHARE
    roots = np.array(usual.roots_mm)
    roots += rng.normal(0, share * standard.tolerance_mm, roots.shape)
    shift = usual.shift_mm
    places = np.asarray(standard.positions_mm)
    if error.kind == "shifted":
        shift += error.amount_mm
    elif error.kind == "level":
        roots += error.amount_mm
    elif error.kind == "taper":
        roots += error.amount_mm * (places - places.min()) / np.ptp(places)
    elif error.kind == "one cut":
        edge, place = divmod(error.cut, len(places))
        # Both edges of a mirror blade are cut by one setting.
        rows = slice(None) if standard.sides == "mirror" else edge
        roots[rows, place] -= error.amount_mm
    # Nothing is cut where the cutter does not reach the blank.
    top = standard.width_mm if standard.sides == "single" else standard.width_mm / 2
    roots = np.minimum(roots, top)
    return replace(usual, roots_mm=tuple(tuple(map(float, row)) for row in roots), shift_mm=shift)


def _leave_burr(key: SimulatedKey, error: CuttingError, rng: np.random.Generator) -> SimulatedKey:
    """Return the key with a spike on its edge where a flank begins: there cutters leave them."""
    standard = key.standard
    edge, place = divmod(error.cut, len(standard.positions_mm))
    side = float(rng.choice([-1.0, 1.0]))
    half = float(rng.uniform(*BURR_WIDTH_MM)) / 2
    x = standard.positions_mm[place] + key.making.shift_mm + side * (standard.flat_mm / 2 + half)
    around = np.array([x - half, x, x + half])
    heights = np.interp(around, key.x_mm, key.factory_mm[edge])
    outward = heights + np.array([0.0, error.amount_mm, 0.0])
    base = standard.width_mm / 2 if standard.sides == "single" else 0.0
    sign = 1.0 if edge == key.upper_edge else -1.0
    u = key.to_u_mm(around)
    spike = Polygon(
        [
            *zip(u, sign * (outward - base), strict=True),
            *zip(u[::-1], sign * (heights[::-1] - base - 0.2), strict=True),
        ]
    )
    return replace(key, outline=shapely.union_all([key.outline, spike.buffer(0)]))
