"""Exact shares of pixels that a polygon covers."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

Floats = NDArray[np.float64]
Shares = NDArray[np.float32]


def list_rings(shape: Polygon | MultiPolygon) -> list[Floats]:
    """Return a shape's rings, outer ones counter-clockwise and holes clockwise."""
    rings = []
    for one in shape.geoms if isinstance(shape, MultiPolygon) else [shape]:
        turned = orient(one)
        rings += [np.asarray(ring.coords)[:, :2] for ring in (turned.exterior, *turned.interiors)]
    return rings


def cover_pixels(rings: Iterable[Floats], rows: int, columns: int) -> Shares:
    """Return the share of each pixel that lies inside, exactly.

    Parameters
    ----------
    rings
        Each of shape (n, 2), (column, row), closed, (0, 0) the middle of the upper left pixel. All outer ones
        go the same way round and holes the other way.

    Notes
    -----
    Green's theorem, pixel by pixel: every side is cut at the borders of pixels; each piece leaves in its
    pixel the area between itself and the pixel's right border, and in all pixels to the right of it its whole
    height.
    """
    # One more column takes what lies to the right of the picture.
    area = np.zeros((rows, columns + 2))
    for ring in rings:
        pieces = _cut_at_borders(np.asarray(ring) + 0.5)
        start, stop = pieces[:, 0], pieces[:, 1]
        middle = (start + stop) / 2
        row = np.floor(middle[:, 1]).astype(np.int64)
        # Left of the picture counts as its first column, right of it as none of its own.
        x = np.clip(middle[:, 0], 0, columns)
        column = np.floor(x).astype(np.int64)
        inside = (row >= 0) & (row < rows)
        height = (stop[:, 1] - start[:, 1])[inside]
        row, column, x = row[inside], column[inside], x[inside]
        share = column + 1 - x
        np.add.at(area, (row, column), height * share)
        np.add.at(area, (row, column + 1), height * (1 - share))
    covered = np.cumsum(area, axis=1)[:, :columns]
    # Which way round the rings go is the frame's affair.
    covered = np.abs(covered)
    return np.clip(covered, 0, 1).astype(np.float32)


def _cut_at_borders(ring: Floats) -> Floats:
    """Return the ring's sides cut wherever they cross a pixel's border, shape (pieces, 2, 2)."""
    start, stop = ring[:-1], ring[1:]
    where = [np.zeros(len(start)), np.ones(len(start))]
    side = [np.arange(len(start)), np.arange(len(start))]
    for axis in (0, 1):
        low = np.minimum(start[:, axis], stop[:, axis])
        high = np.maximum(start[:, axis], stop[:, axis])
        first = np.floor(low).astype(np.int64) + 1
        counts = np.maximum(0, np.ceil(high).astype(np.int64) - first)
        which = np.repeat(np.arange(len(start)), counts)
        border = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts) + first[which]
        run = stop[which, axis] - start[which, axis]
        where.append((border - start[which, axis]) / run)
        side.append(which)
    at, of = np.concatenate(where), np.concatenate(side)
    order = np.lexsort((at, of))
    at, of = at[order], of[order]
    points = start[of] + at[:, None] * (stop[of] - start[of])
    same = of[:-1] == of[1:]
    return np.stack([points[:-1][same], points[1:][same]], axis=1)
