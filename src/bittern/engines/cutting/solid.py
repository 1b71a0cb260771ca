"""The cut key as a solid: a closed mesh of triangles."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.outline import Point, get_outline
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.strokes import Floats
from bittern.engines.cutting.target import get_target
from bittern.engines.cutting.walls import get_ideal_walls

BOW_MM: Final = 8.0
"""Of the bow is shown: a plain stub, for where the shoulder is."""
SHOULDER_MM: Final = 1.5
"""How far the stub stands out; a shoulder stands out at least 1 mm."""
ARC_STEP_MM: Final = 0.1
"""Between the columns of a groove, whose walls have arcs."""
FLAT_MM: Final = 0.001
"""A column between two others goes if no wall bends by more there."""
_DECIMALS: Final = 9

Chain = Floats
"""One height at each x."""


@dataclass(frozen=True, slots=True)
class Mesh:
    """Triangles, counter-clockwise seen from outside.

    Attributes
    ----------
    corners_mm
        Rows of x, h, n on the blade; no place is there twice.
    triangles
        Rows of three numbers of corners.
    """

    corners_mm: Floats
    triangles: NDArray[np.int64]

    def get_volume_mm3(self) -> float:
        """Return the volume, by the divergence theorem."""
        a, b, c = (self.corners_mm[self.triangles[:, corner]] for corner in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def build_key(standard: BladeStandard, bitting: Bitting) -> Mesh:
    """Return the ideal cut key with a stub of its bow.

    Parameters
    ----------
    standard, bitting
        A sound standard and a complete bitting of it.

    Raises
    ------
    UnknownCutError
        Any cut is unknown.

    Notes
    -----
    Cuts go straight through the thickness: a wheel's own radius, which leaves them a hundredth of a mm higher
    at the faces, is not shown. A groove runs from the shoulder's plane to the tip, on a ``mirror``
    track on both faces. n = 0 is the upper face.
    """
    if standard.kind == "track":
        target = get_target(standard, bitting, 0)
        count = int(np.ceil(standard.length_mm / ARC_STEP_MM)) + 1
        x = np.union1d(np.linspace(0.0, standard.length_mm, count), target.bends_mm[:, 0])
        kept = _find_bends(x, get_ideal_walls(target, x))
        return build_groove(standard, x[kept], *get_ideal_walls(target, x[kept]))
    upper = get_outline(standard, bitting)
    if standard.sides == "single":
        lower: Sequence[Point] = ((0.0, 0.0), (standard.length_mm, 0.0))
    else:
        other = upper if standard.sides == "mirror" else get_outline(standard, bitting, edge=1)
        lower = [(x, -h) for x, h in other]
    return build_edge(standard, upper, lower)


def build_edge(standard: BladeStandard, upper: Sequence[Point], lower: Sequence[Point]) -> Mesh:
    """Return an edge blade between two outlines, x growing in each from 0 to the blade's length."""
    up, down = np.array(upper, dtype=np.float64), np.array(lower, dtype=np.float64)
    x = np.union1d(up[:, 0], down[:, 0])
    top = get_edge_height_mm(standard)
    bottom = 0.0 if standard.sides == "single" else -top
    high, low = np.interp(x, up[:, 0], up[:, 1]), np.interp(x, down[:, 0], down[:, 1])
    chains = [np.full(len(x), bottom), low, high, np.full(len(x), top)]
    # Bands from the back edge up: metal on the blade only between the two outlines.
    return _build(standard, x, chains, (0.0, -standard.thickness_mm), lambda band, layer: band == 1)


def build_groove(standard: BladeStandard, x_mm: Floats, low_mm: Floats, high_mm: Floats) -> Mesh:
    """Return a track blade with a groove between two walls at ``x_mm``, from 0 to the blade's length."""
    half, thick = standard.width_mm / 2, standard.thickness_mm
    depth = standard.groove_depth_mm or 0.0
    both = standard.sides == "mirror"
    levels = (0.0, -depth, -(thick - depth), -thick) if both else (0.0, -depth, -thick)
    edge = np.full(len(x_mm), half)
    chains = [-edge, np.clip(low_mm, -half, half), np.clip(high_mm, -half, half), edge]
    open_layers = (0, 2) if both else (0,)
    return _build(standard, x_mm, chains, levels, lambda band, layer: band != 1 or layer not in open_layers)


def _find_bends(x: Floats, chains: Sequence[Chain]) -> list[int]:
    """Return the columns, both ends included, between which every chain is straight."""
    kept, last = [0], len(x) - 1
    for column in range(1, last):
        start = kept[-1]
        share = (x[start + 1 : column + 1] - x[start]) / (x[column + 1] - x[start])
        for chain in chains:
            line = chain[start] + (chain[column + 1] - chain[start]) * share
            if abs(line - chain[start + 1 : column + 1]).max() > FLAT_MM:
                kept.append(column)
                break
    return [*kept, last]


def _build(
    standard: BladeStandard,
    x_mm: Floats,
    chains: Sequence[Chain],
    levels: Sequence[float],
    is_metal: Callable[[int, int], bool],
) -> Mesh:
    """Return the surface of cells: columns along x, bands between chains, layers between levels.

    The bow's column is metal in every band, with one more band below and above.
    """
    at_start = standard.datum == "shoulder"
    end = 0 if at_start else -1
    bow_x = x_mm[0] - BOW_MM if at_start else x_mm[-1] + BOW_MM
    bow = np.array([chain[end] for chain in chains])
    places = np.insert(x_mm, 0 if at_start else len(x_mm), bow_x)
    heights = np.array([np.insert(c, 0 if at_start else len(c), h) for c, h in zip(chains, bow, strict=True)])
    low, high = bow.min() - SHOULDER_MM, bow.max() + SHOULDER_MM
    if standard.kind == "edge" and standard.sides == "single":
        low = bow.min()
    outer = np.ones((1, heights.shape[1]))
    heights = np.concatenate([outer * low, heights, outer * high])
    bands = len(heights) - 1
    metal = np.zeros((len(places) - 1, bands, len(levels) - 1), dtype=bool)
    for band in range(1, bands - 1):
        for layer in range(len(levels) - 1):
            metal[:, band, layer] = is_metal(band - 1, layer)
    metal[end] = True
    return _take_surface(places, heights, np.array(levels), metal)


def _take_surface(x: Floats, heights: Floats, levels: Floats, metal: NDArray[np.bool_]) -> Mesh:
    """Return the faces between metal and air; faces and edges without extent vanish."""
    padded = np.pad(metal, 1)
    quads = []
    for column, band, layer in np.argwhere(metal):
        inside = (column + 1, band + 1, layer + 1)
        for axis in range(3):
            for side in (0, 1):
                beside = list(inside)
                beside[axis] += 2 * side - 1
                if not padded[tuple(beside)]:
                    quads.append(_face((int(column), int(band), int(layer)), axis, side))
    nodes = np.array(quads).reshape(-1, 3)
    corners = np.column_stack([x[nodes[:, 0]], heights[nodes[:, 1], nodes[:, 0]], levels[nodes[:, 2]]])
    places, numbers = np.unique(corners.round(_DECIMALS), axis=0, return_inverse=True)
    quad = numbers.reshape(-1, 4)
    triangles = np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]])
    a, b, c = triangles.T
    return Mesh(places, triangles[(a != b) & (b != c) & (c != a)])


def _face(cell: tuple[int, int, int], axis: int, side: int) -> list[tuple[int, int, int]]:
    """Return the four nodes of a cell's face, counter-clockwise from outside.

    Layers count downward, against n: this turns the sense once more.
    """
    one, other = [number for number in range(3) if number != axis]
    turns = [(0, 0), (1, 0), (1, 1), (0, 1)]
    # x, h, n are right-handed: the pairs (1, 2) about 0 and (0, 1) about 2 turn with the third, (0, 2)
    # about 1 against it; the layers' sense turns all of them.
    forward = (axis != 1) == (side == 0)
    if not forward:
        turns.reverse()
    nodes = []
    for first, second in turns:
        node = list(cell)
        node[axis] += side
        node[one] += first
        node[other] += second
        nodes.append((node[0], node[1], node[2]))
    return nodes
