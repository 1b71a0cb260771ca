"""Seeded photos of the measuring card with known camera: rays, then light, noise and JPEG."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.picture.board import BOARD, CARD
from bittern.formats.card import draw_card

TEXTURE_DPI = 600
MIDDLE_MM = np.array([CARD.width_mm / 2, BOARD.top_mm + BOARD.height_mm / 2])

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Shot:
    """A photo's truth: the camera looks at ``aim_mm`` from ``height_mm`` above the card.

    ``tilt_deg`` is the angle of its axis to the normal, toward ``toward_deg`` on the card; ``turn_deg`` turns
    the picture about that axis. ``focal`` is the focal length by the picture's diagonal; ``spots_mm`` are
    dark discs on the card: x, y, radius.
    """

    size_px: tuple[int, int] = (4000, 3000)
    height_mm: float = 260.0
    tilt_deg: float = 6.0
    toward_deg: float = 40.0
    turn_deg: float = 0.0
    aim_mm: tuple[float, float] = (90.0, 58.5)
    focal: float = 0.68
    k1: float = 0.0
    k2: float = 0.0
    blur_px: float = 0.8
    noise: float = 2.0
    light: tuple[float, float] = (0.15, -0.1)
    quality: int = 92
    bend_mm: float = 0.0
    spots_mm: tuple[tuple[float, float, float], ...] = ()
    seed: int = 1

    @property
    def focal_px(self) -> float:
        return float(self.focal * np.hypot(*self.size_px))

    @property
    def turn(self) -> Floats:
        """Return the camera's right, down and forward on the card's axes: x, y, away from the viewer."""
        tilt, toward, turn = np.radians([self.tilt_deg, self.toward_deg, self.turn_deg])
        forward = np.array([np.sin(tilt) * np.cos(toward), np.sin(tilt) * np.sin(toward), np.cos(tilt)])
        right = np.array([np.cos(turn), np.sin(turn), 0.0])
        right -= right @ forward * forward
        right /= np.linalg.norm(right)
        axes: Floats = np.stack([right, np.cross(forward, right), forward])
        return axes

    @property
    def lens_mm(self) -> Floats:
        """Return where the lens stands: x, y, z, with z below zero above the card."""
        forward = self.turn[2]
        lens: Floats = np.array([*self.aim_mm, 0.0]) - forward * self.height_mm / forward[2]
        return lens

    def project(self, points_mm: Floats) -> Floats:
        """Return columns and rows at which points of the card, shape (n, 2), are seen."""
        rays = (np.column_stack([points_mm, np.zeros(len(points_mm))]) - self.lens_mm) @ self.turn.T
        flat = rays[:, :2] / rays[:, 2:]
        square = (flat**2).sum(axis=1, keepdims=True)
        bent = flat * (1 + self.k1 * square + self.k2 * square**2)
        seen: Floats = bent * self.focal_px + (np.array(self.size_px) - 1) / 2
        return seen


def choose_shot(seed: int, size_px: tuple[int, int] = (4000, 3000), **fixed: object) -> Shot:
    """Return a shot from 200 to 400 mm, tilted up to 14 degrees, with the chessboard in the picture."""
    rng = np.random.default_rng(seed)
    corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * [CARD.width_mm, BOARD.bottom_mm + 4]
    for _ in range(1000):
        values: dict[str, object] = {
            "size_px": size_px,
            "height_mm": rng.uniform(200, 400),
            "tilt_deg": rng.uniform(0, 14),
            "toward_deg": rng.uniform(0, 360),
            "turn_deg": rng.uniform(0, 360),
            "aim_mm": tuple(MIDDLE_MM + rng.uniform(-20, 20, 2)),
            "focal": 0.5 / np.tan(np.radians(rng.uniform(65, 80) / 2)),
            "k1": rng.uniform(-0.08, 0.08),
            "k2": rng.uniform(-0.03, 0.03),
            "blur_px": rng.uniform(0.6, 1.5),
            "noise": rng.uniform(1, 5),
            "light": tuple(rng.uniform(-0.3, 0.3, 2)),
            "quality": int(rng.integers(85, 96)),
            "seed": seed,
        }
        shot = Shot(**(values | fixed))  # type: ignore[arg-type]
        seen = shot.project(corners)
        if (seen > 10).all() and (seen < np.array(size_px) - 11).all():
            return shot
    raise AssertionError("no such camera has the card in its picture")


def take_photo(shot: Shot) -> Grey:
    """Return the photo as grey pixels."""
    columns, rows = shot.size_px
    table = _lay_on_table().copy()
    for x, y, radius in shot.spots_mm:
        place = [round((at + MARGIN_MM) * TEXTURE_DPI / 25.4 - 0.5) for at in (x, y)]
        cv2.circle(table, place, round(radius * TEXTURE_DPI / 25.4), 40, cv2.FILLED)
    # Blurred before it is sampled: pixels that step over the texture's own would see false edges else.
    per_pixel = TEXTURE_DPI / 25.4 * shot.height_mm / shot.focal_px
    soft = cv2.GaussianBlur(table, (0, 0), shot.blur_px * per_pixel)
    seen = cv2.remap(soft, *_trace(shot), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    picture = seen.astype(np.float32)
    across = np.linspace(-0.5, 0.5, columns, dtype=np.float32)
    down = np.linspace(-0.5, 0.5, rows, dtype=np.float32)
    light = 1 + shot.light[0] * across[None, :] + shot.light[1] * down[:, None]
    picture = (35 + 0.68 * picture) * light
    picture += _make_noise(shot.seed, rows, columns) * np.float32(shot.noise)
    grey = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    raw = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, shot.quality])[1]
    decoded = cv2.imdecode(raw, cv2.IMREAD_GRAYSCALE)
    assert decoded is not None
    return np.asarray(decoded, dtype=np.uint8)


def _make_noise(seed: int, rows: int, columns: int) -> NDArray[np.float32]:
    """Return noise of standard deviation 1; the same tile again and again, for it takes longest."""
    side = 1024
    tile = np.random.default_rng(seed).standard_normal((side, side), dtype=np.float32)
    return np.tile(tile, (rows // side + 1, columns // side + 1))[:rows, :columns]


MARGIN_MM = 60.0


@cache
def _lay_on_table() -> Grey:
    margin = round(MARGIN_MM * TEXTURE_DPI / 25.4)
    return np.pad(draw_card(TEXTURE_DPI), margin, constant_values=90)


def _trace(shot: Shot) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return where on the table's picture the ray of each pixel ends.

    Traced for every eighth pixel: between those the map is straight to a thousandth of a pixel.
    """
    every = 8
    columns, rows = shot.size_px
    wide, high = columns // every + 3, rows // every + 3
    across = ((np.arange(wide) - 0.5) * every - 0.5 - (columns - 1) / 2) / shot.focal_px
    down = ((np.arange(high) - 0.5) * every - 0.5 - (rows - 1) / 2) / shot.focal_px
    bent = np.stack(np.meshgrid(across, down), axis=-1)
    flat = bent.copy()
    for _ in range(30):
        square = (flat**2).sum(axis=-1, keepdims=True)
        flat = bent / (1 + shot.k1 * square + shot.k2 * square**2)
    rays = np.concatenate([flat, np.ones((*flat.shape[:2], 1))], axis=-1) @ shot.turn
    lens = shot.lens_mm
    place = lens[:2] - rays[..., :2] / rays[..., 2:] * lens[2]
    # A sheet bent about its short axis: its middle stands off the table, and rays end on it sooner.
    if shot.bend_mm:
        for _ in range(30):
            off = shot.bend_mm * np.cos(np.clip((place[..., :1] - 90) / 90, -1, 1) * np.pi / 2)
            place = lens[:2] - rays[..., :2] / rays[..., 2:] * (lens[2] + off)
    texture = (place + MARGIN_MM) * TEXTURE_DPI / 25.4 - 0.5
    # The table's margin is a whole number of pixels.
    texture += round(MARGIN_MM * TEXTURE_DPI / 25.4) - MARGIN_MM * TEXTURE_DPI / 25.4
    full = cv2.resize(
        texture.astype(np.float32), (wide * every, high * every), interpolation=cv2.INTER_LINEAR
    )
    full = full[every : every + rows, every : every + columns]
    return np.ascontiguousarray(full[..., 0]), np.ascontiguousarray(full[..., 1])
