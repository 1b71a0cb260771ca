"""A key drawn with exact area coverage: every edge's place is known to a thousandth of a pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.picture.flat import FlatPicture

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DrawnKey:
    """A key in its own frame: the shoulder at x = 0, tip at x = length, back edge at y = 0.

    ``roots`` are heights at the cuts of the upper edge, ``lower_roots`` of the lower one (empty: straight),
    each above the other edge of the blank. ``tip`` is ``point``, ``flat`` or ``round``.
    """

    length: float = 28.0
    width: float = 8.4
    roots: tuple[float, ...] = (6.8, 8.0, 7.4, 6.2, 7.4, 6.8, 8.0, 6.8)
    lower_roots: tuple[float, ...] = ()
    first: float = 3.0
    pitch: float = 3.0
    flat: float = 1.0
    angle: float = 90.0
    tip: str = "flat"
    step_upper: float = 3.0
    step_lower: float = 3.0
    bow: str = "round"
    neck: bool = False
    hole: float = 3.0

    def height(self, x: Floats, roots: tuple[float, ...]) -> Floats:
        """Return the height of a cut edge above the opposite blank edge."""
        out = np.full(x.shape, self.width)
        run = math.tan(math.radians(self.angle / 2))
        for i, root in enumerate(roots):
            away = np.abs(x - self.first - i * self.pitch) - self.flat / 2
            out = np.minimum(out, root + np.maximum(0, away) / run)
        return out

    def edges(self, x: Floats) -> tuple[Floats, Floats]:
        """Return the upper and lower edge at ``x``, run-in of the tip included."""
        upper = self.height(x, self.roots)
        lower = self.width - self.height(x, self.lower_roots) if self.lower_roots else np.zeros(x.shape)
        to_tip = self.length - x
        middle = self.width / 2
        if self.tip == "point":
            half = 0.0 + to_tip * (middle / 2.0)
        elif self.tip == "round":
            r = 2.0
            half = middle - r + np.sqrt(np.maximum(0, r**2 - np.maximum(0, r - to_tip) ** 2))
        else:
            half = middle - 1.5 + to_tip
        return np.minimum(upper, middle + half), np.maximum(lower, middle - half)

    def polygon(self) -> Floats:
        """Return the outline, shape (n, 2), y upward."""
        x = np.unique(np.concatenate([np.linspace(0, self.length, 20 * int(self.length) + 1)]))
        upper, lower = self.edges(x)
        start_upper, start_lower = upper[0] + self.step_upper, lower[0] - self.step_lower
        bow = _bow(self, start_upper, start_lower)
        blade = np.concatenate([np.stack([x, upper], 1), np.stack([x, lower], 1)[::-1]])
        return np.concatenate([blade, bow])


def _bow(key: DrawnKey, top: float, bottom: float) -> Floats:
    """Return the bow's outline from the lower shoulder corner round to the upper one."""
    middle, collar = (top + bottom) / 2, -3.0
    points = [(0.0, bottom), (collar, bottom)]
    if key.neck:
        points += [(collar, middle - 4.5), (collar - 3, middle - 4.5)]
        collar -= 3
    if key.bow == "round":
        r = 11.5
        half = 4.5 if key.neck else min(r - 0.2, (top - bottom) / 2)
        start = math.asin(half / r)
        turn = np.linspace(start, 2 * math.pi - start, 200)
        centre = collar - r * math.cos(start)
        points += [(centre + r * math.cos(a), middle - r * math.sin(a)) for a in turn]
    else:
        points += [(collar - 1, middle - 12), (collar - 22, middle - 12), (collar - 22, middle + 12)]
        points += [(collar - 1, middle + 12)]
    if key.neck:
        points += [(collar, middle + 4.5), (collar + 3, middle + 4.5)]
    points += [(-3.0, top), (0.0, top)]
    return np.array(points)


def cover(polygon: Floats, shape: tuple[int, int]) -> Floats:
    """Return the exact share of every pixel that a closed polygon of (column, row) covers.

    Every side is split where it leaves a pixel; a piece adds its height to its pixel's column and the area
    right of it to the pixel. The running sum along the row is the coverage (Green's theorem).
    """
    rows, columns = shape
    grid = np.zeros((rows, columns + 2))
    # Pixel (0, 0) has its middle at (0, 0).
    points = polygon + 0.5
    for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
        cuts = [0.0, 1.0]
        for axis in (0, 1):
            lo, hi = sorted((a[axis], b[axis]))
            if hi > lo:
                lines = np.arange(math.ceil(lo), math.floor(hi) + 1)
                cuts.extend((lines - a[axis]) / (b[axis] - a[axis]))
        t = np.unique(np.clip(cuts, 0, 1))
        line = a + t[:, None] * (b - a)
        middle = (line[1:] + line[:-1]) / 2
        rise = line[1:, 1] - line[:-1, 1]
        row, column = np.floor(middle[:, 1]).astype(int), np.floor(middle[:, 0]).astype(int)
        inside = (row >= 0) & (row < rows)
        row, rise, x = row[inside], rise[inside], middle[inside, 0]
        column = np.clip(column[inside], 0, columns - 1)
        share = np.clip(1 - (x - column), 0, 1)
        np.add.at(grid, (row, column), rise * share)
        np.add.at(grid, (row, column + 1), rise * (1 - share))
    return np.abs(np.cumsum(grid, axis=1)[:, :columns])


@dataclass(frozen=True)
class Look:
    """How the picture is taken; lengths in millimetres unless said."""

    dpi: float = 600.0
    turn_deg: float = 0.0
    flipped: bool = False
    shift_px: tuple[float, float] = (0.0, 0.0)
    blur_px: float = 0.8
    noise: float = 2.0
    ground: float = 225.0
    metal: float = 90.0
    head: float | None = None
    gradient: float = 0.0
    shadow: float = 0.0
    dust: int = 0
    hairs: int = 0
    marks: bool = False
    margin_mm: float = 8.0


@dataclass(frozen=True)
class Drawing:
    """A picture with the affine map of the key's frame (x, y up) to (column, row)."""

    flat: FlatPicture
    to_picture: Floats
    key: DrawnKey


def draw(key: DrawnKey, look: Look, seed: int = 0) -> Drawing:
    """Return the picture of a key."""
    import cv2

    rng = np.random.default_rng(seed)
    scale = look.dpi / 25.4
    polygon = key.polygon()
    turn = math.radians(look.turn_deg)
    flip = -1.0 if look.flipped else 1.0
    matrix = scale * np.array(
        [[math.cos(turn), flip * math.sin(turn)], [math.sin(turn), -flip * math.cos(turn)]]
    )
    spread = polygon @ matrix.T
    low = spread.min(0) - look.margin_mm * scale
    size = np.ceil(spread.max(0) + look.margin_mm * scale - low).astype(int)
    offset = -np.floor(low) + look.shift_px
    shape = (int(size[1]), int(size[0]))
    body = cover(spread + offset, shape)
    column, row = np.meshgrid(np.linspace(-1, 1, shape[1]), np.linspace(-1, 1, shape[0]))
    ground = look.ground + look.gradient * (column + 0.6 * row)
    if look.shadow:
        moved = np.roll(body, (round(0.8 * scale), round(0.8 * scale)), (0, 1)).astype(np.float32)
        ground = ground - look.shadow * cv2.GaussianBlur(moved, (0, 0), 0.7 * scale)
    metal = _paint_metal(key, look, matrix, offset, shape)
    picture = ground * (1 - body) + metal * body
    picture = _add_dirt(picture, look, scale, rng)
    if look.blur_px > 0:
        soft = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), look.blur_px)
        picture = np.asarray(soft, dtype=np.float64)
    noisy = picture + look.noise * rng.standard_normal(shape)
    grey = np.clip(np.round(noisy), 0, 255).astype(np.uint8)
    flat = FlatPicture(grey, scale, f"{look.dpi:g} dpi")
    return Drawing(flat, np.column_stack([matrix, offset]), key)


def _paint_metal(key: DrawnKey, look: Look, matrix: Floats, offset: Floats, shape: tuple[int, int]) -> Floats:
    metal = np.full(shape, float(look.metal))
    if look.head is not None:
        box = np.array([(-60.0, -60), (-5, -60), (-5, 60), (-60, 60)])
        metal += (look.head - look.metal) * cover(box @ matrix.T + offset, shape)
    if look.marks:
        groove = np.array([(1.0, 3.2), (key.length - 3, 3.2), (key.length - 3, 4.4), (1.0, 4.4)])
        metal += 45 * cover(groove @ matrix.T + offset, shape)
        for i in range(4):
            text = np.array([(-6.0 - 2 * i, 3), (-7.2 - 2 * i, 3), (-7.2 - 2 * i, 5), (-6.0 - 2 * i, 5)])
            metal += 60 * cover(text @ matrix.T + offset, shape)
    if key.hole:
        turn = np.linspace(0, 2 * math.pi, 80, endpoint=False)
        hole = np.stack([-14 + key.hole * np.cos(turn), key.width / 2 + key.hole * np.sin(turn)], 1)
        metal += (look.ground - metal) * cover(hole @ matrix.T + offset, shape)
    return metal


def _add_dirt(picture: Floats, look: Look, scale: float, rng: np.random.Generator) -> Floats:
    import cv2

    dirty = picture.astype(np.float32)
    rows, columns = picture.shape
    for _ in range(look.dust):
        middle = (int(rng.integers(columns)), int(rng.integers(rows)))
        cv2.circle(
            dirty, middle, max(1, int(rng.uniform(0.03, 0.15) * scale)), float(rng.uniform(40, 160)), -1
        )
    for _ in range(look.hairs):
        start = rng.uniform(0.1, 0.9, 2) * (columns, rows)
        steps = (
            rng.normal(0, 0.4, (60, 2)).cumsum(0) * 0.15 * scale
            + rng.normal(0, 1, 2) * np.arange(60)[:, None] * 0.1 * scale
        )
        cv2.polylines(dirty, [(start + steps).astype(np.int32)], False, 70.0, max(1, round(0.05 * scale)))
    return dirty.astype(np.float64)


def with_look(look: Look, **changes: object) -> Look:
    """Return the look with some of it changed."""
    return replace(look, **changes)  # type: ignore[arg-type]
