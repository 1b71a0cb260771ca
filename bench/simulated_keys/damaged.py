"""Pictures that must never give a bitting: damaged files, odd kinds, and scans of what is no single key."""

from __future__ import annotations

import io
import struct
import zlib

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image

from simulated_keys.key import make_key
from simulated_keys.raster import cover_pixels, list_rings
from simulated_keys.scan import encode_png, render_scan
from simulated_keys.standards import draw_bitting, list_demo_standards

Pixels = NDArray[np.uint8]

FILE_KINDS = ("empty", "truncated", "gigapixel")
"""No picture can be had from these."""
ODD_KINDS = ("animated", "cmyk", "16-bit", "wrong-dpi")
"""A whole key in a file of an unusual kind, or with half its resolution written in it."""
SCENE_KINDS = ("no-key", "two-keys", "coin", "cut-off")
KINDS = (*FILE_KINDS, *ODD_KINDS, *SCENE_KINDS)

DPI = 600.0


def make_damaged(kind: str, rng: np.random.Generator) -> bytes:
    """Return a file of one of ``KINDS``."""
    if kind == "empty":
        return b""
    if kind == "gigapixel":
        return _make_gigapixel()
    if kind in SCENE_KINDS:
        return encode_png(_draw_scene(kind, rng), DPI)
    png = _scan(rng)
    if kind == "truncated":
        return png[: len(png) // 2]
    pixels = _decode(png)
    image = Image.fromarray(pixels)
    stream = io.BytesIO()
    if kind == "animated":
        others = [Image.fromarray(np.roll(pixels, 40 * turn, axis=1)) for turn in (1, 2)]
        image.save(stream, "PNG", save_all=True, append_images=others, duration=100, dpi=(DPI, DPI))
    elif kind == "cmyk":
        image.convert("CMYK").save(stream, "JPEG", quality=90, dpi=(600, 600))
    elif kind == "16-bit":
        Image.fromarray(pixels.astype(np.uint16) * 257).save(stream, "PNG", dpi=(DPI, DPI))
    elif kind == "wrong-dpi":
        image.save(stream, "PNG", dpi=(DPI / 2, DPI / 2))
    else:
        raise ValueError(f"no such kind: {kind}")
    return stream.getvalue()


def _scan(rng: np.random.Generator) -> bytes:
    standard = list_demo_standards()[int(rng.integers(len(list_demo_standards())))]
    key = make_key(standard, draw_bitting(standard, rng), 0.1, rng)
    return render_scan(key, DPI, rng).png


def _decode(png: bytes) -> Pixels:
    return np.asarray(Image.open(io.BytesIO(png)))


def _make_gigapixel() -> bytes:
    """Return a PNG whose header promises 40,000 x 40,000 pixels and whose data are a few zeros."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", 40_000, 40_000, 8, 0, 0, 0, 0)
    return b"".join(
        [
            b"\x89PNG\r\n\x1a\n",
            chunk(b"IHDR", header),
            chunk(b"IDAT", zlib.compress(bytes(40_001))),
            chunk(b"IEND", b""),
        ]
    )


def _draw_scene(kind: str, rng: np.random.Generator) -> NDArray[np.float32]:
    if kind in ("two-keys", "cut-off"):
        first = _decode(_scan(rng)).astype(np.float32)
        if kind == "cut-off":
            return first[:, : int(first.shape[1] * 0.45)]
        second = first[::-1, ::-1]
        return np.concatenate([first, second], axis=0)
    scene = np.full((1200, 1800), 225, dtype=np.float32)
    if kind == "coin":
        radius = float(rng.uniform(9.0, 13.0)) * DPI / 25.4
        disc = shapely.Point(900.0 + rng.uniform(-200, 200), 600.0).buffer(radius, quad_segs=200)
        rim = disc.buffer(-0.06 * radius)
        scene -= 110 * cover_pixels(list_rings(disc), 1200, 1800)
        scene += 25 * cover_pixels(list_rings(rim), 1200, 1800)
    scene = np.asarray(cv2.GaussianBlur(scene, (0, 0), 0.8), dtype=np.float32)
    return scene + 3 * rng.standard_normal(scene.shape, dtype=np.float32)
