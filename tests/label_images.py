"""Labels as a camera sees them: drawn from a seed, tilted, blurred, unevenly lit, noisy, in perspective.

Every number and identifier is invented: vehicle numbers carry a right check digit, identifiers begin 9ZZ.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from bittern.engines.vehicle.number import compute_check_digit

Pixels = NDArray[np.uint8]
ALPHABET = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
PRODUCT = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"


@dataclass(frozen=True, slots=True)
class Camera:
    """How a label was photographed: turn in degrees, blur and noise in pixels and grey levels."""

    turn_deg: float = 0.0
    blur_px: float = 0.0
    light: float = 0.0
    noise: float = 0.0
    perspective: float = 0.0
    scale: float = 1.0


STRAIGHT = Camera()


def make_vin(rng: np.random.Generator) -> str:
    """Return an invented vehicle number with a right check digit; its maker's code is nobody's."""
    body = "".join(rng.choice(list(ALPHABET), 4))
    serial = "".join(rng.choice(list("0123456789"), 6))
    vin = f"1ZZ{body}H0{rng.choice(list('ABCDEFGH'))}{rng.choice(list('ABC'))}{serial}"
    return vin[:8] + compute_check_digit(vin) + vin[9:]


def make_identifier(rng: np.random.Generator) -> str:
    """Return an invented FCC identifier under a grantee code that begins with 9ZZ."""
    grantee = "9ZZ" + "".join(rng.choice(list("ABCDEFGHJKMNPRTUVWX"), 2))
    return f"{grantee}-{''.join(rng.choice(list('ABCDEFGHJKMNPRTUVWX3467'), int(rng.integers(4, 8))))}"


def draw_code(text: str, kind: str, scale: int = 3) -> Pixels:
    """Return a bar code with its quiet zone, as red, green and blue."""
    code = zxingcpp.create_barcode(text, zxingcpp.barcode_format_from_str(kind))
    image = np.array(zxingcpp.write_barcode_to_image(code, scale=scale), dtype=np.uint8)
    if image.ndim == 2:
        image = np.repeat(image[:, :, None], 3, axis=2)
    return np.pad(image, ((30, 30), (30, 30), (0, 0)), constant_values=255)


def draw_print(lines: list[str], size_px: int = 40, *, dark: bool = False) -> Pixels:
    """Return lines of print on a label."""
    # The letters that Pillow carries itself: the same on every machine.
    font = ImageFont.load_default(size_px)
    width = int(max(font.getlength(line) for line in lines)) + 4 * size_px
    height = int(1.5 * size_px * len(lines)) + 3 * size_px
    paper, ink = ((40, 40, 44), (215, 215, 210)) if dark else ((222, 220, 214), (35, 33, 30))
    image = Image.new("RGB", (width, height), paper)
    draw = ImageDraw.Draw(image)
    for place, line in enumerate(lines):
        draw.text((2 * size_px, 1.5 * size_px * (place + 1)), line, font=font, fill=ink)
    return np.array(image, dtype=np.uint8)


def photograph(label: Pixels, camera: Camera, rng: np.random.Generator) -> Pixels:
    """Return the label as the camera sees it, on a grey ground."""
    height, width = label.shape[:2]
    side = int(math.hypot(width, height) * camera.scale) + 60
    # The corners of the label, pushed by the perspective, scaled, turned, moved to the middle.
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=np.float64)
    pushed = corners + camera.perspective * rng.uniform(-1, 1, (4, 2)) * np.array([width, height])
    angle = math.radians(camera.turn_deg)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    placed = (pushed - np.array([width / 2, height / 2])) * camera.scale @ turn + side / 2
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), placed.astype(np.float32))
    ground = np.full((side, side, 3), 128, dtype=np.uint8)
    seen = cv2.warpPerspective(
        label, matrix, (side, side), dst=ground, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_TRANSPARENT
    ).astype(np.float64)
    if camera.blur_px:
        seen = np.asarray(cv2.GaussianBlur(seen, (0, 0), camera.blur_px), dtype=np.float64)
    if camera.light:
        ramp = np.linspace(1.0, 1.0 - camera.light, side)
        seen *= ramp[None, :, None]
    if camera.noise:
        seen = seen + rng.normal(0.0, camera.noise, seen.shape)
    return seen.clip(0, 255).astype(np.uint8)


def save(pixels: NDArray[Any], kind: str = "PNG", **options: object) -> bytes:
    """Return the picture as a file."""
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, kind, **options)
    return stream.getvalue()


def vary(camera: Camera, **changes: float) -> Camera:
    """Return the camera with something changed."""
    return replace(camera, **changes)
