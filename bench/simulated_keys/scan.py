"""Scans of simulated keys: any resolution, turn, face, ground and light, with dust, hairs, blur and noise."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from simulated_keys.key import SimulatedKey
from simulated_keys.raster import Shares, cover_pixels, list_rings

Floats = NDArray[np.float64]
Grey = NDArray[np.float32]

MM_PER_INCH = 25.4
MARGIN_MM = 6.0


@dataclass(frozen=True, slots=True)
class ScanConditions:
    """How a scan is made.

    Attributes
    ----------
    scale
        True pixels per millimetre as a share of the nominal ones.
    turn_deg, points_left, turned_over
        How the key lies.
    ground, metal, head
        Grey levels.
    light
        Share by which the light falls off across the picture.
    shadow
        Depth of the shadow beside the key, in grey levels.
    bias_px
        By how much every edge is seen further out.
    """

    scale: float
    turn_deg: float
    points_left: bool
    turned_over: bool
    ground: float
    metal: float
    head: float
    light: float
    shadow: float
    bias_px: float
    blur_px: float
    noise: float
    dust: int
    hairs: int
    marks: bool


@dataclass(frozen=True, slots=True, eq=False)
class Scan:
    """A scan with what is true of it.

    Attributes
    ----------
    png
        The file, grey, its resolution written in it as ``dpi``.
    dpi
        Nominal.
    to_picture
        Shape (2, 3): from (u, v) of the key's frame to (column, row), (0, 0) the middle of the upper left
        pixel.
    """

    png: bytes
    dpi: float
    to_picture: Floats
    key: SimulatedKey
    conditions: ScanConditions

    def place_cut(self, x_mm: float, height_mm: float) -> tuple[float, float]:
        """Return (column, row) of a place of the blade; heights of edge B are negative."""
        half = self.key.standard.width_mm / 2 if self.key.standard.sides == "single" else 0.0
        v = -height_mm if self.key.upper_edge else height_mm - half
        at = np.array([self.key.to_u_mm(np.array([x_mm]))[0], v, 1.0])
        column, row = self.to_picture @ at
        return float(column), float(row)


def draw_conditions(rng: np.random.Generator) -> ScanConditions:
    """Draw an ordinary flatbed scan."""
    light_ground = bool(rng.random() < 0.6)
    ground = float(rng.uniform(195, 240) if light_ground else rng.uniform(12, 45))
    metal = float(rng.uniform(80, 135) if light_ground else rng.uniform(115, 200))
    head = float(rng.uniform(25, 150) if light_ground else rng.uniform(85, 200))
    return ScanConditions(
        scale=1 + float(rng.uniform(-0.004, 0.004)),
        turn_deg=float(rng.uniform(-10, 10)),
        points_left=bool(rng.random() < 0.5),
        turned_over=bool(rng.random() < 0.5),
        ground=ground,
        metal=metal,
        head=head,
        light=float(rng.uniform(0, 0.15)),
        shadow=float(rng.uniform(0, 40)) if light_ground else 0.0,
        bias_px=float(np.clip(rng.normal(0, 0.1), -0.25, 0.25)),
        blur_px=float(rng.uniform(0.4, 1.5)),
        noise=float(rng.uniform(1, 6)),
        dust=int(rng.integers(0, 40)),
        hairs=int(rng.integers(0, 3)),
        marks=bool(rng.random() < 0.7),
    )


def render_scan(key: SimulatedKey, dpi: float, rng: np.random.Generator, **how: float | bool) -> Scan:
    """Render a scan of ``key``.

    Parameters
    ----------
    dpi
        Nominal resolution.
    how
        Any field of :class:`ScanConditions`, in place of a drawn one.
    """
    conditions = replace(draw_conditions(rng), **how)  # type: ignore[arg-type]
    to_picture, (rows, columns) = _lay(key, dpi, conditions, rng)
    per_mm = float(np.hypot(to_picture[0, 0], to_picture[1, 0]))
    scene = _light_ground(rows, columns, conditions, rng)
    outline = key.outline
    if conditions.bias_px:
        outline = outline.buffer(conditions.bias_px / per_mm, join_style="mitre")
    whole = cover_pixels(_place_rings(outline, to_picture), rows, columns)
    if conditions.shadow:
        scene -= conditions.shadow * _blur(_shift(whole, 0.5 * per_mm, rng), 0.5 * per_mm)
    body = _paint_key(key, whole, to_picture, per_mm, conditions, rng)
    scene += whole * (body - scene)
    _add_dust(scene, whole, per_mm, conditions, rng)
    scene = cv2.GaussianBlur(scene, (0, 0), conditions.blur_px, borderType=cv2.BORDER_REPLICATE)
    scene += conditions.noise * rng.standard_normal(scene.shape, dtype=np.float32)
    return Scan(encode_png(scene, dpi), dpi, to_picture, key, conditions)


def encode_png(scene: Grey, dpi: float | None) -> bytes:
    """Return grey levels as a PNG with its resolution."""
    pixels = np.clip(np.round(scene), 0, 255).astype(np.uint8)
    stream = io.BytesIO()
    resolution = {} if dpi is None else {"dpi": (dpi, dpi)}
    Image.fromarray(pixels).save(stream, "PNG", compress_level=1, **resolution)
    return stream.getvalue()


def _lay(
    key: SimulatedKey, dpi: float, conditions: ScanConditions, rng: np.random.Generator
) -> tuple[Floats, tuple[int, int]]:
    """Return the map into the picture, and the picture's size."""
    per_mm = dpi / MM_PER_INCH * conditions.scale
    turn = np.radians(conditions.turn_deg + (180 if conditions.points_left else 0))
    # Rows go down: a face that is up keeps v upward, turned over it is mirrored about the blade's axis.
    face = np.diag([1.0, 1.0 if conditions.turned_over else -1.0])
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    linear = per_mm * turned @ face
    corners = np.asarray(key.outline.exterior.coords) @ linear.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    size = np.ceil(high - low + 2 * MARGIN_MM * per_mm + rng.uniform(0, 4 * per_mm, 2)).astype(int)
    offset = MARGIN_MM * per_mm - low + rng.uniform(0, 1, 2)
    return np.column_stack([linear, offset]), (int(size[1]), int(size[0]))


def _place_rings(shape: object, to_picture: Floats) -> list[Floats]:
    return [ring @ to_picture[:, :2].T + to_picture[:, 2] for ring in list_rings(shape)]  # type: ignore[arg-type]


def _light_ground(rows: int, columns: int, conditions: ScanConditions, rng: np.random.Generator) -> Grey:
    scene = np.full((rows, columns), conditions.ground, dtype=np.float32)
    return scene * make_light(rows, columns, conditions.light, rng)


def make_light(rows: int, columns: int, share: float, rng: np.random.Generator) -> Grey:
    """Return a field about 1 that falls off by ``share`` across the picture, not quite straight."""
    y = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, columns, dtype=np.float32)[None, :]
    turn = rng.uniform(0, 2 * np.pi)
    across = np.cos(turn) * x + np.sin(turn) * y
    bent = rng.uniform(0, 1)
    field: Grey = (1 - share / 2 * ((1 - bent) * across / 1.4 + bent * (x**2 + y**2) / 2)).astype(np.float32)
    return field


def _paint_key(
    key: SimulatedKey,
    whole: Shares,
    to_picture: Floats,
    per_mm: float,
    conditions: ScanConditions,
    rng: np.random.Generator,
) -> Grey:
    """Return the levels of the key's face, everywhere: what lies outside it is covered later."""
    rows, columns = whole.shape
    head = cover_pixels(_place_rings(key.head, to_picture), rows, columns)
    level = conditions.head if key.bow.kind == "plastic" else conditions.metal
    body = (conditions.metal + head * (level - conditions.metal)).astype(np.float32)
    # Brushed metal and stains: slow changes of a few levels.
    coarse = rng.standard_normal((max(4, int(rows / per_mm / 2)), max(4, int(columns / per_mm / 2))))
    body += 5 * cv2.resize(coarse.astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC)
    if conditions.marks:
        _add_marks(body, key, to_picture, per_mm, rng)
    return body


def _add_marks(
    body: Grey, key: SimulatedKey, to_picture: Floats, per_mm: float, rng: np.random.Generator
) -> None:
    """Draw a groove along the blade and letters on the bow; both keep clear of the outline."""
    half = key.standard.width_mm / 2
    low = key.standard.depths_mm[-1] - half if key.standard.sides == "single" else key.standard.depths_mm[-1]
    v = float(rng.uniform(-0.5, 0.5)) * max(0.5, low - 1.0)
    ends = np.array([[key.shoulder_u_mm + 1.5, v, 1.0], [-4.0, v, 1.0]]) @ to_picture.T
    points = [tuple(round(float(one)) for one in end) for end in ends]
    darker = float(rng.uniform(-45, 30))
    mark = np.zeros(body.shape, dtype=np.uint8)
    wide_px = max(1, round(float(rng.uniform(0.5, 1.0)) * per_mm))
    cv2.line(mark, points[0], points[1], 255, wide_px, cv2.LINE_AA)
    long, wide = key.bow.size_mm
    corner = np.array([key.shoulder_u_mm - key.bow.block_mm - 0.45 * long, -0.1 * wide, 1.0]) @ to_picture.T
    place = (int(corner[0] - 4 * per_mm), int(corner[1]))
    word = "".join(rng.choice(list("ABEHKNRSTX248"), 4))
    cv2.putText(mark, word, place, cv2.FONT_HERSHEY_SIMPLEX, 0.09 * per_mm, 255, max(1, round(0.3 * per_mm)))
    body += np.float32(darker / 255) * mark


def _add_dust(
    scene: Grey, whole: Shares, per_mm: float, conditions: ScanConditions, rng: np.random.Generator
) -> None:
    """Put specks and hairs anywhere, edges included."""
    rows, columns = scene.shape
    for _ in range(conditions.dust):
        radius = float(rng.uniform(0.03, 0.15)) * per_mm
        at = (int(rng.integers(columns)), int(rng.integers(rows)))
        level = float(rng.uniform(30, 120) if conditions.ground > 128 else rng.uniform(90, 220))
        cv2.circle(scene, (at[0] * 16, at[1] * 16), max(8, int(radius * 16)), level, -1, cv2.LINE_AA, 4)
    for _ in range(conditions.hairs):
        start, turn = rng.uniform(0, 1, 2) * (columns, rows), rng.uniform(0, 2 * np.pi)
        bends = np.cumsum(rng.normal(0, 0.12, 30)) + turn
        steps = 0.3 * per_mm * np.column_stack([np.cos(bends), np.sin(bends)])
        line = np.round((start + np.cumsum(steps, axis=0)) * 16).astype(np.int32)
        level = float(rng.uniform(50, 130) if conditions.ground > 128 else rng.uniform(70, 150))
        cv2.polylines(scene, [line], False, level, max(1, round(0.06 * per_mm)), cv2.LINE_AA, 4)


def _shift(covered: Shares, most_px: float, rng: np.random.Generator) -> Shares:
    across = rng.uniform(-most_px, most_px, 2)
    move = np.array([[1.0, 0.0, across[0]], [0.0, 1.0, across[1]]])
    return cv2.warpAffine(covered, move, covered.shape[::-1])  # type: ignore[return-value]


def _blur(covered: Shares, sd_px: float) -> Shares:
    # A wide blur is the same on a quarter of the size.
    rows, columns = covered.shape
    small = cv2.resize(covered, (max(1, columns // 4), max(1, rows // 4)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), max(0.5, sd_px / 4))
    return cv2.resize(small, (columns, rows), interpolation=cv2.INTER_LINEAR)  # type: ignore[return-value]
