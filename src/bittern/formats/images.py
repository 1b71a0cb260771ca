"""Pictures that others made: kind, size and number of pixels are looked at before anything is decoded.

Taken are JPEG, PNG, WebP and BMP. What comes out is red, green and blue, 8 bits each, upright, on white, and
nothing else: no place, no time, no name of a camera, no preview picture is kept.
"""

from __future__ import annotations

import io
import math
import struct
import threading
import warnings
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bittern.core.errors import InputError
from bittern.formats.texts import check_file

if TYPE_CHECKING:
    from PIL.ImageFile import ImageFile

Pixels = NDArray[np.uint8]
"""Height x width x 3: red, green, blue."""

FILE_LIMIT_BYTES = 40_000_000
"""Largest file; photos of 50 megapixels have about half."""
PIXEL_LIMIT = 60_000_000
SIDE_LIMIT = 30_000
LEAST_SIDE = 8
"""Smaller pictures show nothing and upset filters."""
KINDS = "JPEG, PNG, WebP or BMP"
ORIENTATION = 274
"""The tag of Exif that says how the camera was held (JEITA CP-3451)."""

# All that Pillow's decoders raise on files that are damaged or made to annoy.
_DAMAGED = (
    OSError, SyntaxError, ValueError, TypeError, KeyError, IndexError, AttributeError, EOFError,
    OverflowError, ArithmeticError, NotImplementedError, struct.error, zlib.error,
)  # fmt: skip
_one_at_a_time = threading.Lock()
"""A picture of 60 megapixels takes half a gigabyte while it is decoded: one of them is enough at a time."""

_SAYS_NOTHING = (1.0, 72.0, 96.0)
_HEIF = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
_NOT_TAKEN: dict[str, Callable[[bytes], bool]] = {
    "HEIC or HEIF": lambda raw: raw[4:8] == b"ftyp" and raw[8:12] in _HEIF,
    "AVIF": lambda raw: raw[4:8] == b"ftyp" and raw[8:12] in (b"avif", b"avis"),
    "a TIFF picture": lambda raw: raw[:4] in (b"II*\0", b"MM\0*"),
    "a GIF picture": lambda raw: raw[:4] == b"GIF8",
    "a PDF": lambda raw: raw[:5] == b"%PDF-",
    "an SVG drawing": lambda raw: b"<svg" in raw[:400],
}


def read_picture(path: Path) -> Pixels:
    """Return the picture in a file.

    Raises
    ------
    InputError
        No such file, too large, too many pixels, of another kind, or damaged.
    """
    return decode_picture(read_file(path), str(path))


def read_file(path: Path) -> bytes:
    """Return the bytes of a picture's file, up to the limit.

    Raises
    ------
    InputError
        No such file, or too large.
    """
    check_file(path, limit_bytes=FILE_LIMIT_BYTES, expected="a picture")
    try:
        with path.open("rb") as stream:
            return stream.read(FILE_LIMIT_BYTES + 1)
    except OSError as error:
        raise InputError(
            f"a file that cannot be read ({error.strerror})", "a picture", where=str(path)
        ) from error


def decode_picture(raw: bytes, where: str = "picture") -> Pixels:
    """Return the picture in ``raw``.

    Raises
    ------
    InputError
        Empty, too large, too many pixels, of another kind, or damaged.
    """
    if len(raw) > FILE_LIMIT_BYTES:
        raise InputError(f"{len(raw):,} bytes", f"at most {FILE_LIMIT_BYTES:,} bytes", where=where)
    if not raw:
        raise InputError("an empty file", f"a picture: {KINDS}", where=where)
    try:
        with _one_at_a_time, warnings.catch_warnings():
            # What decoders murmur about odd files is for nobody: the picture is taken or refused.
            warnings.simplefilter("ignore")
            opened = _open(raw, where)
            _check_size(opened.size, where)
            # The first picture alone, whole: a part of a number is worse than none.
            opened.load()
            return _turn(_flatten(opened), _read_orientation(opened))
    except MemoryError as error:
        raise InputError("a picture that does not fit into memory", "a smaller one", where=where) from error
    except _DAMAGED as error:
        raise InputError(
            "a damaged or broken-off picture", "a whole one", where=where, hint="take or save it anew"
        ) from error


def read_dpi(raw: bytes) -> float | None:
    """Return the dots per inch that a picture's file states; None where it states none that can be used.

    Cameras and programs that know nothing of a scale write 72 or 96: that is none either.
    """
    try:
        with _one_at_a_time, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            across, down = _open(raw, "picture").info.get("dpi", (0, 0))
            across, down = float(across), float(down)
    except (InputError, MemoryError, *_DAMAGED):
        return None
    if not (math.isfinite(across) and across > 0 and abs(across - down) <= 0.001 * across):
        return None
    # PNG and BMP keep whole pixels per metre, 0.0254 dpi each: 600 dpi come back as 599.9988.
    dpi = float(round(across)) if abs(across - round(across)) <= 0.0128 else across
    return None if dpi in _SAYS_NOTHING else dpi


def _open(raw: bytes, where: str) -> ImageFile:
    """Return the picture with its header read and nothing decoded.

    The decoder is chosen by the first bytes. Pillow's own opening would try others, and would warn on
    standard error about sizes that are refused here anyway.
    """
    stream = io.BytesIO(raw)
    if raw[:3] == b"\xff\xd8\xff":
        from PIL.JpegImagePlugin import JpegImageFile

        return JpegImageFile(stream)
    if raw[:8] == b"\x89PNG\r\n\x1a\n":
        from PIL.PngImagePlugin import PngImageFile

        return PngImageFile(stream)
    if raw[:4] == b"RIFF" and raw[8:12] == b"WEBP":
        from PIL.WebPImagePlugin import WebPImageFile

        # This decoder takes memory for the whole canvas as soon as it is opened.
        _check_size(_read_webp_size(raw), where)
        webp: ImageFile = WebPImageFile(stream)
        return webp
    if raw[:2] == b"BM":
        from PIL.BmpImagePlugin import BmpImageFile

        return BmpImageFile(stream)
    found = next((name for name, is_kind in _NOT_TAKEN.items() if is_kind(raw)), "no picture of a known kind")
    hint = "set the camera to JPEG, or send the picture as JPEG" if found.startswith(("HEIC", "AVIF")) else ""
    raise InputError(found, KINDS, where=where, hint=hint or "save it as JPEG or PNG")


def _check_size(size: tuple[int, int], where: str) -> None:
    width, height = size
    if width * height > PIXEL_LIMIT or max(size) > SIDE_LIMIT:
        raise InputError(
            f"{width:,} x {height:,} pixels",
            f"at most {PIXEL_LIMIT // 1_000_000} megapixels and {SIDE_LIMIT:,} pixels a side",
            where=where,
            hint="shrink or crop it",
        )
    if min(size) < LEAST_SIDE:
        raise InputError(
            f"{width} x {height} pixels", f"a picture of at least {LEAST_SIDE} pixels a side", where=where
        )


def _read_webp_size(raw: bytes) -> tuple[int, int]:
    """Return width and height from the first chunk (RFC 9649, sections 2.5 to 2.7)."""
    chunk, body = raw[12:16], raw[20:30]
    if len(body) < 10:
        raise ValueError("no header")
    if chunk == b"VP8X":
        return (1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little"))
    if chunk == b"VP8L":
        bits = int.from_bytes(body[1:5], "little")
        return (1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF))
    if chunk == b"VP8 ":
        return (
            int.from_bytes(body[6:8], "little") & 0x3FFF,
            int.from_bytes(body[8:10], "little") & 0x3FFF,
        )
    raise ValueError("another first chunk")


def _flatten(opened: ImageFile) -> Pixels:
    """Return red, green and blue on white, 8 bits each."""
    from PIL import Image

    if opened.mode.startswith("I"):
        # 16 bits of grey: the upper eight.
        grey = (np.asarray(opened).astype(np.int64).clip(0, 65535) >> 8).astype(np.uint8)
        return np.repeat(grey[:, :, None], 3, axis=2)
    image: Image.Image = opened
    if image.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in image.info:
        above = image.convert("RGBA")
        ground = Image.new("RGBA", above.size, "white")
        image = Image.alpha_composite(ground, above)
    return np.array(image.convert("RGB"), dtype=np.uint8)


def _read_orientation(opened: ImageFile) -> int:
    try:
        found = opened.getexif().get(ORIENTATION, 1)
    except _DAMAGED:
        return 1
    return found if isinstance(found, int) and 1 <= found <= 8 else 1


def _turn(pixels: Pixels, orientation: int) -> Pixels:
    """Return the picture upright."""
    if orientation in (2, 4, 5, 7):
        pixels = pixels[:, ::-1]
    turns = {3: 2, 4: 2, 5: 1, 6: 3, 7: 3, 8: 1}.get(orientation, 0)
    return np.ascontiguousarray(np.rot90(pixels, turns))


def shrink_picture(pixels: Pixels, longest: int) -> Pixels:
    """Return the picture with its long side at most ``longest`` pixels; it is never enlarged."""
    height, width = pixels.shape[:2]
    if max(height, width) <= longest:
        return pixels
    import cv2

    scale = longest / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def encode_picture(pixels: Pixels, *, quality: int = 80) -> bytes:
    """Return the picture as a JPEG without any metadata."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "JPEG", quality=quality)
    return stream.getvalue()
