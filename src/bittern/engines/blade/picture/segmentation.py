"""Which part of a picture is the key: its whole body, holes filled, without shadow, dust and hairs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.errors import PictureError
from bittern.engines.blade.picture.flat import FlatPicture

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Tolerances:
    """What counts as a key, with the reason for each number."""

    coarse_per_mm: float = 10.0
    """A dust speck of 0.1 mm is one pixel, a blade fifty: enough for the shape, cheap to work on."""
    overview_per_mm: float = 3.0
    """A blade is still ten pixels wide."""
    margin_mm: float = 6.0
    """Ground kept about the body, so that its level is known all round."""
    bridge_mm: float = 0.35
    """Gaps in the sharp edge that are closed: a third of the narrowest cut."""
    thread_mm: float = 0.6
    """Half the width of what is taken for a hair or dust; the thinnest blade is over 2 mm."""
    least_area_mm2: float = 40.0
    """A blade of 10 mm by 4 mm; specks have under 1."""
    wedge_area_mm2: float = 30.0
    """Ground between a hair and the edge."""
    second_share: float = 0.3
    """A second body of this share of the first is no dirt."""
    edge_area_mm2: float = 20.0
    """The sharp edge of a small key: 100 mm long and 0.2 mm wide."""
    least_contrast: float = 12.0
    """Grey levels: below, noise and paper grain look the same."""


LIMITS = Tolerances()


@dataclass(frozen=True, slots=True, eq=False)
class Coarse:
    """A part of the picture on a coarse grid.

    Attributes
    ----------
    grey
        Shape (rows, columns), means over ``factor`` x ``factor`` pixels.
    factor
        Pixels of the picture a side.
    column, row
        The picture's pixel at the part's upper left corner.
    per_mm
        Coarse pixels a millimetre.
    """

    grey: NDArray[np.float32]
    factor: int
    column: int
    row: int
    per_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """The key in a part of the picture.

    Attributes
    ----------
    part
        The part that was looked at.
    ground
        Modelled grey of the empty ground, of the part's shape.
    sharp
        Where grey changes at once.
    mask
        The key, holes filled.
    contrast
        Typical grey difference across the sharp edges.
    """

    part: Coarse
    ground: NDArray[np.float32]
    sharp: Mask
    mask: Mask
    contrast: float


def shrink(flat: FlatPicture, per_mm: float, box: tuple[int, int, int, int] | None = None) -> Coarse:
    """Return a part (column, row, columns, rows in pixels; None for all) at about ``per_mm``."""
    import cv2

    factor = max(1, round(flat.pixels_per_mm / per_mm))
    column, row, columns, rows = box or (0, 0, flat.grey.shape[1], flat.grey.shape[0])
    size = (max(1, columns // factor), max(1, rows // factor))
    full = flat.grey[row : row + size[1] * factor, column : column + size[0] * factor]
    part = cv2.resize(full, size, interpolation=cv2.INTER_AREA) if factor > 1 else full
    return Coarse(np.asarray(part, dtype=np.float32), factor, column, row, flat.pixels_per_mm / factor)


def find_body(flat: FlatPicture) -> Body:
    """Return the key's body on the coarse grid, found in an overview first.

    Raises
    ------
    PictureError
        Nothing, more than one thing, or something cut off by the picture's edge lies there.
    """
    _check_picture(flat)
    overview = shrink(flat, LIMITS.overview_per_mm)
    box = _find_box(flat, overview)
    part = shrink(flat, LIMITS.coarse_per_mm, box)
    ground, sharp, solid, contrast = _separate(part)
    mask = _choose_body(part, solid, flat)
    return Body(part, ground, sharp, mask, contrast)


def _check_picture(flat: FlatPicture) -> None:
    rows, columns = flat.grey.shape
    if min(rows, columns) < 8 * flat.pixels_per_mm or flat.pixels_per_mm < 6:
        raise PictureError(
            f"a picture of {columns / flat.pixels_per_mm:.0f} x {rows / flat.pixels_per_mm:.0f} mm"
            f" at {flat.pixels_per_mm * 25.4:.0f} dpi",
            "a whole key at 200 dpi or more",
            hint="scan it at 600 dpi, or check the dpi that was given",
        )


def _find_box(flat: FlatPicture, overview: Coarse) -> tuple[int, int, int, int]:
    """Return the part of the picture that holds the body and some ground about it."""
    solid = _separate_roughly(overview)
    # Shadow is not told apart here and may reach the border where the key does not.
    mask = _choose_body(overview, solid, flat, may_touch=True)
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    margin = math.ceil(LIMITS.margin_mm * flat.pixels_per_mm)
    low_column = max(0, int(columns[0]) * overview.factor - margin)
    low_row = max(0, int(rows[0]) * overview.factor - margin)
    high_column = min(flat.grey.shape[1], int(columns[-1] + 1) * overview.factor + margin)
    high_row = min(flat.grey.shape[0], int(rows[-1] + 1) * overview.factor + margin)
    return low_column, low_row, high_column - low_column, high_row - low_row


def _separate_roughly(part: Coarse) -> Mask:
    """Return all that differs from the ground, shadows too: only to know where to look closer."""
    size = _slope(part.grey, 0.8)
    noise = float(np.median(size)) / 1.177
    away = np.abs(part.grey - _fit_ground(part))
    typical = float(np.percentile(away, 98))
    wall = (size > max(5 * noise, 2.0)) | (away > max(LIMITS.least_contrast * 0.8, 0.12 * typical, 5 * noise))
    return _close_and_fill(wall, part)


def _close_and_fill(wall: Mask, part: Coarse) -> Mask:
    """Return the wall with gaps bridged, what it encloses, and nothing as thin as a hair."""
    import cv2

    bridge, thread = _disc(LIMITS.bridge_mm * part.per_mm), _disc(LIMITS.thread_mm * part.per_mm)
    closed = np.asarray(cv2.morphologyEx(_pad(wall, part), cv2.MORPH_CLOSE, bridge), dtype=np.uint8)
    solid = np.asarray(cv2.morphologyEx(_fill(closed), cv2.MORPH_OPEN, thread), dtype=np.uint8)
    return _unpad(solid, part).astype(bool)


def _open_wedges(solid: Mask, wall: Mask, away: NDArray[np.float32], contrast: float, part: Coarse) -> Mask:
    """Return the body without the ground that a hair at its edge fences in."""
    import cv2

    inside = (solid & ~wall).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(inside, connectivity=4)
    small = np.asarray(stats)[:, cv2.CC_STAT_AREA] < LIMITS.wedge_area_mm2 * part.per_mm**2
    share = np.bincount(labels.ravel(), (away > 0.3 * contrast).ravel(), count) / np.maximum(
        np.bincount(labels.ravel(), minlength=count), 1
    )
    wedge = small & (share < 0.5)
    wedge[0] = False
    if not wedge.any():
        return solid
    # A hole in the bow is closed again, for its rim is no thread.
    cut = solid & ~wedge[labels]
    disc = _disc(LIMITS.thread_mm * part.per_mm)
    opened = np.asarray(cv2.morphologyEx(_pad(cut, part), cv2.MORPH_OPEN, disc), dtype=np.uint8)
    return _unpad(_fill(opened), part).astype(bool)


def _separate(part: Coarse) -> tuple[NDArray[np.float32], Mask, Mask, float]:
    """Return ground, sharp edges, all that is not ground, and the contrast.

    Ground is what can be reached from the border without crossing a sharp edge or a pixel that differs from
    the ground by more than half the contrast. A soft shadow is neither, so it stays ground.
    """
    import cv2

    sharp, strong = _find_sharp(part)
    ground = _fit_ground(part)
    away = np.abs(part.grey - ground)
    near = cv2.dilate(strong.astype(np.uint8), _disc(0.25 * part.per_mm)).astype(bool)
    # On either side of a sharp edge lie ground and key: the upper values are the key's.
    contrast = float(np.percentile(away[near], 75)) if near.any() else 0.0
    wall = sharp | (away > max(0.55 * contrast, LIMITS.least_contrast))
    return ground, sharp, _open_wedges(_close_and_fill(wall, part), wall, away, contrast, part), contrast


def _find_sharp(part: Coarse) -> tuple[Mask, Mask]:
    """Return where grey changes at once: (weak or strong and joined to strong, strong)."""
    import cv2

    size, wide = _slope(part.grey, 0.8), _slope(part.grey, 2.4)
    # The median of a Rayleigh distribution is 1.177 times its parameter.
    noise = float(np.median(size)) / 1.177
    count = min(size.size - 1, max(8, round(LIMITS.edge_area_mm2 * part.per_mm**2)))
    typical = float(np.partition(size, -count, axis=None)[-count])
    if typical < max(5 * noise, LIMITS.least_contrast / 8):
        return np.zeros(size.shape, bool), np.zeros(size.shape, bool)
    low = max(4.5 * noise, min(0.15 * typical, LIMITS.least_contrast / 4), 1.0)
    # A sharp edge is steeper the closer one looks; a soft shadow is as steep either way.
    weak = (size > low) & (size > 1.3 * wide)
    strong = weak & (size > max(1.5 * low, min(0.4 * typical, LIMITS.least_contrast)))
    _, labels = cv2.connectedComponents(weak.astype(np.uint8), connectivity=8)
    wanted = np.zeros(int(labels.max()) + 1, bool)
    wanted[np.unique(labels[strong])] = True
    wanted[0] = False
    return wanted[labels], strong


def _slope(grey: NDArray[np.float32], smooth: float) -> NDArray[np.float32]:
    """Return the grey levels a pixel by which a smoothed picture rises."""
    import cv2

    soft = cv2.GaussianBlur(grey, (0, 0), smooth)
    across, down = cv2.Scharr(soft, cv2.CV_32F, 1, 0), cv2.Scharr(soft, cv2.CV_32F, 0, 1)
    return np.asarray(cv2.magnitude(across, down) / 32, dtype=np.float32)


def _fit_ground(part: Coarse) -> NDArray[np.float32]:
    """Return a smooth surface through the ground's grey: a cubic, fitted from the border inward."""
    rows, columns = part.grey.shape
    step = max(1, math.ceil(math.sqrt(rows * columns / 12_000)))
    row, column = np.mgrid[0:rows:step, 0:columns:step]
    value = part.grey[::step, ::step].astype(np.float64).ravel()
    v, u = (2 * row.ravel() / rows - 1), (2 * column.ravel() / columns - 1)
    ring = np.maximum(np.abs(u), np.abs(v)) > 0.86
    chosen = ring
    coefficients = np.array([float(np.median(value[ring]))])
    for degree, gate in ((0, 60.0), (1, 40.0), (2, 25.0), (3, 16.0), (3, 12.0)):
        basis = _basis(u, v, degree)
        start = np.zeros(basis.shape[1])
        start[: coefficients.size] = coefficients
        coefficients = _fit_robustly(basis[chosen], value[chosen], start)
        rest = np.abs(value - basis @ coefficients)
        spread = 1.4826 * float(np.median(rest[ring]))
        chosen = rest < min(gate, max(4.0, 4 * spread))
        if chosen.sum() < 0.05 * value.size:
            chosen = ring
    # Powers in the order of _basis: every degree's terms follow those of the degrees below.
    whole = _basis_grid(rows, columns, coefficients)
    return whole.astype(np.float32)


def _basis(u: Floats, v: Floats, degree: int) -> Floats:
    return np.stack([u ** (d - k) * v**k for d in range(degree + 1) for k in range(d + 1)], axis=1)


def _basis_grid(rows: int, columns: int, coefficients: Floats) -> Floats:
    u = 2 * np.arange(columns) / columns - 1
    v = 2 * np.arange(rows) / rows - 1
    out = np.zeros((rows, columns))
    powers = [(d - k, k) for d in range(4) for k in range(d + 1)]
    for (i, k), c in zip(powers, coefficients, strict=False):
        out += c * (v**k)[:, None] * (u**i)[None, :]
    return out


def _fit_robustly(basis: Floats, value: Floats, start: Floats) -> Floats:
    """Return coefficients by Tukey's biweight (c = 4.685), eight rounds."""
    found = start
    for _ in range(8):
        rest: Floats = value - basis @ found
        scale = max(0.7, 1.4826 * float(np.median(np.abs(rest))))
        weight = np.square(np.clip(1 - np.square(rest / (4.685 * scale)), 0, None))
        weighted = basis * weight[:, None]
        normal = weighted.T @ basis + 1e-6 * np.eye(basis.shape[1])
        found = np.asarray(np.linalg.solve(normal, weighted.T @ value), dtype=np.float64)
    return found


def _disc(radius: float) -> NDArray[np.uint8]:
    import cv2

    size = 2 * max(1, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), dtype=np.uint8)


def _pad(mask: Mask, part: Coarse) -> NDArray[np.uint8]:
    return np.pad(mask.astype(np.uint8), _rim(part))


def _unpad(mask: NDArray[np.uint8], part: Coarse) -> NDArray[np.uint8]:
    rim = _rim(part)
    return mask[rim:-rim, rim:-rim]


def _rim(part: Coarse) -> int:
    return 2 + math.ceil(LIMITS.thread_mm * part.per_mm)


def _fill(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the mask with its holes filled."""
    import cv2

    flood = mask.copy()
    cv2.floodFill(flood, None, (0, 0), 2)
    return np.asarray(flood != 2, dtype=np.uint8)


def _choose_body(part: Coarse, solid: Mask, flat: FlatPicture, *, may_touch: bool = False) -> Mask:
    """Return the one large body.

    Raises
    ------
    PictureError
        None, two, or one that the picture cuts off.
    """
    import cv2

    count, labels, table, _ = cv2.connectedComponentsWithStats(solid.astype(np.uint8), connectivity=4)
    stats = np.asarray(table, dtype=np.int32)
    area = stats[:, cv2.CC_STAT_AREA].astype(float) / part.per_mm**2
    area[0] = 0
    inner = [i for i in range(1, count) if area[i] >= LIMITS.least_area_mm2]
    cut_off = [i for i in inner if _touches(part, stats[i], flat)]
    if may_touch:
        cut_off = [i for i in cut_off if _is_frame(part, stats[i])]
    whole = sorted((i for i in inner if i not in cut_off), key=lambda i: -area[i])
    if not whole:
        _refuse_none(cut_off, stats, part)
    second = [i for i in whole[1:] if area[i] > LIMITS.second_share * area[whole[0]]]
    if second:
        raise PictureError(
            f"{len(second) + 1} things side by side",
            "one key alone",
            hint="lay one key on the glass or the card and take the picture again",
        )
    beside = [i for i in cut_off if area[i] > area[whole[0]] and not _is_frame(part, stats[i])]
    if beside:
        _refuse_none(beside, stats, part)
    return np.asarray(labels == whole[0])


def _touches(part: Coarse, stat: NDArray[np.int32], flat: FlatPicture) -> bool:
    """Tell whether a body reaches the picture's own border."""
    column, row, columns, rows = (int(n) for n in stat[:4])
    last_column = part.column + (column + columns + 1) * part.factor >= flat.grey.shape[1]
    last_row = part.row + (row + rows + 1) * part.factor >= flat.grey.shape[0]
    first_column = part.column + (column - 1) * part.factor < 0
    first_row = part.row + (row - 1) * part.factor < 0
    return bool(first_column or first_row or last_column or last_row)


def _is_frame(part: Coarse, stat: NDArray[np.int32]) -> bool:
    """Tell whether a body at the border is a thin strip along it or a frame about everything."""
    _, _, columns, rows, area = (int(n) for n in stat)
    whole = part.grey.size
    strip = min(columns, rows) < 5 * part.per_mm
    frame = columns * rows > 0.8 * whole and area < 0.35 * whole
    return strip or frame


def _refuse_none(cut_off: list[int], stats: NDArray[np.int32], part: Coarse) -> None:
    if any(not _is_frame(part, stats[i]) for i in cut_off):
        raise PictureError(
            "something cut off by the picture's edge",
            "a whole key, blade and bow, with a few millimetres of empty ground all round",
            hint="move the key away from the edge and take the picture again",
        )
    raise PictureError(
        "no key: nothing of its size stands out from the ground",
        "one key, sharp, on an even ground that is clearly lighter or darker",
        hint="change the ground (white paper, or a dark lid) and take the picture again",
    )
