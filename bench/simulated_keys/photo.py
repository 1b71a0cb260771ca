"""Photos of simulated keys on the measuring card: a pinhole with a lens, held in the hand."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image
from shapely.geometry import Polygon, box

from bittern.engines.blade.picture.board import CARD, FIELD
from bittern.formats.card import draw_card
from simulated_keys.key import SimulatedKey
from simulated_keys.raster import cover_pixels, list_rings
from simulated_keys.scan import make_light

Floats = NDArray[np.float64]
Grey = NDArray[np.float32]

COLUMNS, ROWS = 4000, 3000
CARD_DPI = 600
GRID_PX = 8
CLEAR_MM = 2.5
"""Free field left around the key."""
MOST_TRIES = 4000


@dataclass(frozen=True, slots=True)
class PhotoConditions:
    """How a photo is taken.

    Attributes
    ----------
    distance_mm
        Lens to the place of the card that it looks at.
    tilt_deg, tilt_toward_deg, turn_deg
        Of the optical axis against straight down, toward where on the card, and of the camera about it.
    field_deg
        Field of view along the picture's diagonal.
    k1, k2
        Radial distortion: a ray at distance r from the axis is seen at r (1 + k1 r^2 + k2 r^4).
    key_turn_deg, turned_over
        How the key lies on the card.
    paper, ink, metal, head, wall
        Grey levels; ``wall`` is the blade's side.
    """

    distance_mm: float
    tilt_deg: float
    tilt_toward_deg: float
    turn_deg: float
    field_deg: float
    k1: float
    k2: float
    key_turn_deg: float
    turned_over: bool
    paper: float
    ink: float
    table: float
    metal: float
    head: float
    wall: float
    light: float
    shadow: float
    blur_px: float
    noise: float
    quality: int


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """A camera over the card: x right and y down on the card as it is read, z into the table, in mm."""

    place_mm: Floats
    axes: Floats
    focal_px: float
    middle_px: Floats
    k1: float
    k2: float

    def project(self, points_mm: Floats) -> Floats:
        """Return (column, row) of points of shape (n, 3)."""
        seen = (points_mm - self.place_mm) @ self.axes.T
        flat = seen[:, :2] / seen[:, 2:]
        squared = (flat**2).sum(axis=1, keepdims=True)
        return self.middle_px + self.focal_px * flat * (1 + self.k1 * squared + self.k2 * squared**2)

    def meet_card(self, pixels: Floats) -> Floats:
        """Return the card's (x, y) in mm behind (column, row), shape (n, 2)."""
        bent = (pixels - self.middle_px) / self.focal_px
        flat = bent.copy()
        for _ in range(12):
            squared = (flat**2).sum(axis=1, keepdims=True)
            flat = bent / (1 + self.k1 * squared + self.k2 * squared**2)
        rays = np.column_stack([flat, np.ones(len(flat))]) @ self.axes
        met: Floats = self.place_mm[:2] - rays[:, :2] * (self.place_mm[2] / rays[:, 2:])
        return met


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """A photo with what is true of it.

    Attributes
    ----------
    jpeg
        The file.
    to_card
        Shape (2, 3): from (u, v) of the key's frame to mm on the card.
    """

    jpeg: bytes
    to_card: Floats
    lens: Lens
    key: SimulatedKey
    conditions: PhotoConditions

    @property
    def height_mm(self) -> float:
        """Height of the lens above the card."""
        return -float(self.lens.place_mm[2])

    @property
    def foot_mm(self) -> tuple[float, float]:
        """Place of the card straight below the lens."""
        return float(self.lens.place_mm[0]), float(self.lens.place_mm[1])


def draw_photo_conditions(rng: np.random.Generator) -> PhotoConditions:
    """Draw an ordinary photo by a phone of 12 megapixels."""
    return PhotoConditions(
        distance_mm=float(rng.uniform(200, 400)),
        tilt_deg=float(rng.uniform(0, 14)),
        tilt_toward_deg=float(rng.uniform(0, 360)),
        turn_deg=float(rng.uniform(0, 360)),
        field_deg=float(rng.uniform(66, 82)),
        k1=float(rng.uniform(-0.05, 0.05)),
        k2=float(rng.uniform(-0.02, 0.02)),
        key_turn_deg=float(rng.uniform(0, 360)),
        turned_over=bool(rng.random() < 0.5),
        paper=float(rng.uniform(185, 225)),
        ink=float(rng.uniform(30, 60)),
        table=float(rng.uniform(50, 170)),
        metal=float(rng.uniform(75, 130)),
        head=float(rng.uniform(25, 120)),
        wall=float(rng.uniform(50, 120)),
        light=float(rng.uniform(0, 0.25)),
        shadow=float(rng.uniform(0, 40)),
        blur_px=float(rng.uniform(0.6, 1.5)),
        noise=float(rng.uniform(1, 4)),
        quality=int(rng.integers(85, 96)),
    )


def render_photo(key: SimulatedKey, rng: np.random.Generator, **how: float | bool) -> Photo:
    """Render a photo of ``key`` on the card, all of the card in it.

    Parameters
    ----------
    how
        Any field of :class:`PhotoConditions`, in place of a drawn one.

    Raises
    ------
    RuntimeError
        What was asked for does not let the key lie in the field or the card in the picture.
    """
    conditions, to_card = _lay_key(key, rng, how)
    conditions, lens = _hold_camera(conditions, rng, how)
    scene = _render_card(lens, conditions, rng)
    low, face, whole = _project_key(key, to_card, lens)
    _put_key(scene, whole, face, low, key, to_card, lens, conditions, rng)
    scene = cv2.GaussianBlur(scene, (0, 0), conditions.blur_px, borderType=cv2.BORDER_REPLICATE)
    scene += conditions.noise * rng.standard_normal(scene.shape, dtype=np.float32)
    pixels = np.clip(np.round(scene), 0, 255).astype(np.uint8)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "JPEG", quality=conditions.quality)
    return Photo(stream.getvalue(), to_card, lens, key, conditions)


def _lay_key(
    key: SimulatedKey, rng: np.random.Generator, how: dict[str, float | bool]
) -> tuple[PhotoConditions, Floats]:
    """Draw until the key lies in the free field; return the conditions and the map to the card."""
    field = box(FIELD.left_mm, FIELD.top_mm, FIELD.right_mm, FIELD.bottom_mm).buffer(-CLEAR_MM)
    corners = np.asarray(key.outline.convex_hull.exterior.coords)
    for _ in range(MOST_TRIES):
        conditions = replace(draw_photo_conditions(rng), **how)  # type: ignore[arg-type]
        turn = np.radians(conditions.key_turn_deg)
        face = np.diag([1.0, 1.0 if conditions.turned_over else -1.0])
        turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        placed = corners @ (turned @ face).T
        room = np.array(field.bounds).reshape(2, 2)
        low, high = room[0] - placed.min(axis=0), room[1] - placed.max(axis=0)
        if (low <= high).all():
            return conditions, np.column_stack([turned @ face, rng.uniform(low, high)])
    raise RuntimeError("the key does not fit into the card's field")


def _hold_camera(
    conditions: PhotoConditions, rng: np.random.Generator, how: dict[str, float | bool]
) -> tuple[PhotoConditions, Lens]:
    """Draw until the whole card is in the picture."""
    kept = {name: getattr(conditions, name) for name in ("key_turn_deg", "turned_over")} | how
    ends = np.array(
        [
            (x, y, 0.0)
            for x in (CARD.left_mm, CARD.left_mm + CARD.width_mm / 2, CARD.right_mm)
            for y in (CARD.top_mm, CARD.bottom_mm)
        ]
    )
    for attempt in range(MOST_TRIES):
        lens = _make_lens(conditions, rng)
        seen = lens.project(ends)
        if (seen > 15).all() and (seen < np.array([COLUMNS, ROWS]) - 15).all():
            return conditions, lens
        # From near only few turns fit: they are sought before another distance is taken.
        same = {} if attempt % 100 == 99 else {"distance_mm": conditions.distance_mm}
        conditions = replace(draw_photo_conditions(rng), **(same | kept))  # type: ignore[arg-type]
    raise RuntimeError("the card does not fit into the picture")


def _make_lens(conditions: PhotoConditions, rng: np.random.Generator) -> Lens:
    tilt, toward = np.radians(conditions.tilt_deg), np.radians(conditions.tilt_toward_deg)
    axis = np.array([np.sin(tilt) * np.cos(toward), np.sin(tilt) * np.sin(toward), np.cos(tilt)])
    across = np.array([1.0, 0.0, 0.0]) - axis[0] * axis
    across /= np.linalg.norm(across)
    down = np.cross(axis, across)
    turn = np.radians(conditions.turn_deg)
    axes = np.stack(
        [np.cos(turn) * across + np.sin(turn) * down, np.cos(turn) * down - np.sin(turn) * across, axis]
    )
    aim = np.array([CARD.width_mm / 2, CARD.height_mm / 2, 0.0])
    aim[:2] += rng.uniform(-6, 6, 2)
    half = np.hypot(COLUMNS, ROWS) / 2
    return Lens(
        place_mm=aim - conditions.distance_mm * axis,
        axes=axes,
        focal_px=float(half / np.tan(np.radians(conditions.field_deg) / 2)),
        middle_px=np.array([(COLUMNS - 1) / 2, (ROWS - 1) / 2]) + rng.normal(0, 6, 2),
        k1=conditions.k1,
        k2=conditions.k2,
    )


@cache
def _get_card() -> NDArray[np.uint8]:
    return draw_card(CARD_DPI)


def _render_card(lens: Lens, conditions: PhotoConditions, rng: np.random.Generator) -> Grey:
    """Return the card on the table as the camera sees it, without blur and noise."""
    texture = _get_card().astype(np.float32)
    scale = CARD_DPI / 25.4
    # A pixel takes the mean over what it sees: as wide a blur of the card, by its second moment.
    middle = lens.meet_card(np.array([[2000.0, 1500.0], [2001.0, 1500.0]]))
    wide = float(np.hypot(*(middle[1] - middle[0]))) * scale
    texture = cv2.GaussianBlur(texture, (0, 0), max(0.25, wide / np.sqrt(12)))  # type: ignore[assignment]
    texture = conditions.ink + texture / 255 * (conditions.paper - conditions.ink)
    across = np.arange(GRID_PX / 2 - 0.5, COLUMNS, GRID_PX)
    down = np.arange(GRID_PX / 2 - 0.5, ROWS, GRID_PX)
    grid = np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2)
    met = (lens.meet_card(grid) * scale - 0.5).reshape(len(down), len(across), 2).astype(np.float32)
    # The map bends so little that straight lines over eight pixels do.
    whole = cv2.resize(met, (COLUMNS, ROWS), interpolation=cv2.INTER_LINEAR)
    scene: Grey = np.asarray(
        cv2.remap(
            texture,
            whole[..., 0],
            whole[..., 1],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=conditions.table,
        )
    )
    return scene * make_light(ROWS, COLUMNS, conditions.light, rng)


def _project_key(key: SimulatedKey, to_card: Floats, lens: Lens) -> tuple[Polygon, Polygon, Polygon]:
    """Return the lower face, the upper face and all that is seen of the key, in pixels."""
    outline = key.outline.simplify(0.001).segmentize(1.0)
    rings = [ring @ to_card[:, :2].T + to_card[:, 2] for ring in list_rings(outline)]
    lower = [lens.project(np.column_stack([ring, np.zeros(len(ring))])) for ring in rings]
    thick = -key.standard.thickness_mm
    upper = [lens.project(np.column_stack([ring, np.full(len(ring), thick)])) for ring in rings]
    low, high = Polygon(lower[0], lower[1:]), Polygon(upper[0], upper[1:])
    parts: list[Polygon] = [low.buffer(0), high.buffer(0)]
    for one, two in zip(lower, upper, strict=True):
        walls = shapely.polygons(np.stack([one[:-1], one[1:], two[1:], two[:-1]], axis=1))
        parts.extend(walls[shapely.is_valid(walls)])
    return low, high, shapely.union_all(parts)


def _put_key(
    scene: Grey,
    whole: Polygon,
    face: Polygon,
    low: Polygon,
    key: SimulatedKey,
    to_card: Floats,
    lens: Lens,
    conditions: PhotoConditions,
    rng: np.random.Generator,
) -> None:
    """Draw the key and its shadow into the part of the scene that they fill."""
    reach = 80
    left, top = (max(0, int(one) - reach) for one in whole.bounds[:2])
    right, bottom = int(whole.bounds[2]) + reach, int(whole.bounds[3]) + reach
    part = scene[top:bottom, left:right]
    rows, columns = part.shape

    def cover(shape: Polygon) -> NDArray[np.float32]:
        return cover_pixels([ring - [left, top] for ring in list_rings(shape)], rows, columns)

    seen, above = cover(whole), cover(face)
    above = np.minimum(above, seen)
    if conditions.shadow:
        move = rng.uniform(-12, 12, 2)
        cast = cv2.warpAffine(
            cover(low), np.array([[1.0, 0.0, move[0]], [0.0, 1.0, move[1]]]), (columns, rows)
        )
        part -= conditions.shadow * cv2.GaussianBlur(cast, (0, 0), float(rng.uniform(10, 24)))
    head = key.head.segmentize(1.0)
    ring = np.asarray(head.exterior.coords)[:, :2] @ to_card[:, :2].T + to_card[:, 2]
    over = np.full(len(ring), -key.standard.thickness_mm)
    dark = cover(Polygon(lens.project(np.column_stack([ring, over]))).buffer(0))
    level = conditions.head if key.bow.kind == "plastic" else conditions.metal
    coarse = rng.standard_normal((max(4, rows // 60), max(4, columns // 60))).astype(np.float32)
    stains = 5 * cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_CUBIC)
    body = conditions.metal + dark * (level - conditions.metal) + stains
    part *= 1 - seen
    part += above * body + (seen - above) * conditions.wall
