"""Pictures: what is taken, what is refused before it is decoded, what never comes out."""

from __future__ import annotations

import io
import struct
import tracemalloc
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps

from bittern.core.errors import InputError
from bittern.formats import images
from bittern.formats.images import decode_picture, encode_picture, read_dpi, read_picture, shrink_picture
from tests.label_images import save

RNG = np.random.default_rng(11)
PIXELS = RNG.integers(0, 255, (40, 60, 3), dtype=np.uint8)
SMOOTH = np.asarray(Image.fromarray(PIXELS[:4, :6]).resize((96, 64), Image.Resampling.BICUBIC))
KINDS = ("PNG", "JPEG", "WEBP", "BMP")
FILES = {kind: save(SMOOTH, kind) for kind in KINDS}


def make_png(width: int, height: int) -> bytes:
    """Return a small file whose header promises a large picture."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(bytes(200_000))) + chunk(b"IEND", b"")


@pytest.mark.parametrize("kind", ["PNG", "BMP"])
def test_a_lossless_picture_comes_out_as_it_was(kind: str) -> None:
    assert np.array_equal(decode_picture(save(PIXELS, kind)), PIXELS)


@pytest.mark.parametrize("kind", ["JPEG", "WEBP"])
def test_a_lossy_picture_comes_out_nearly_as_it_was(kind: str) -> None:
    found = decode_picture(FILES[kind]).astype(int)
    assert np.abs(found - SMOOTH).mean() < 4
    assert np.abs(found[:, ::-1] - SMOOTH).mean() > 20


@pytest.mark.parametrize("orientation", range(1, 9))
def test_it_is_upright_whatever_way_the_camera_was_held(orientation: int) -> None:
    image = Image.fromarray(PIXELS)
    exif = image.getexif()
    exif[images.ORIENTATION] = orientation
    raw = save(PIXELS, "PNG", exif=exif)
    # Pillow's own turning is the independent reference.
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(raw))))
    assert np.array_equal(decode_picture(raw), expected)


@pytest.mark.parametrize("orientation", [0, 9, 77])
def test_an_orientation_that_is_none_is_left_alone(orientation: int) -> None:
    exif = Image.fromarray(PIXELS).getexif()
    exif[images.ORIENTATION] = orientation
    assert decode_picture(save(PIXELS, "PNG", exif=exif)).shape == PIXELS.shape


def test_what_is_transparent_is_white() -> None:
    image = Image.new("RGBA", (20, 20), (255, 0, 0, 0))
    image.putpixel((3, 4), (10, 20, 30, 255))
    image.putpixel((5, 6), (0, 0, 0, 128))
    stream = io.BytesIO()
    image.save(stream, "PNG")
    found = decode_picture(stream.getvalue())
    assert found[0, 0].tolist() == [255, 255, 255]
    assert found[4, 3].tolist() == [10, 20, 30]
    assert found[6, 5].tolist() == [127, 127, 127]


def test_sixteen_bits_become_the_upper_eight() -> None:
    deep = RNG.integers(0, 65536, (12, 20)).astype(np.uint16)
    found = decode_picture(save(deep, "PNG"))
    assert np.array_equal(found, np.repeat((deep >> 8).astype(np.uint8)[:, :, None], 3, axis=2))


@pytest.mark.parametrize("mode", ["1", "L", "P", "LA", "CMYK"])
def test_every_mode_becomes_red_green_and_blue(mode: str) -> None:
    stream = io.BytesIO()
    Image.fromarray(SMOOTH).convert(mode).save(stream, "JPEG" if mode == "CMYK" else "PNG")
    found = decode_picture(stream.getvalue())
    assert found.shape == SMOOTH.shape
    assert found.dtype == np.uint8


@pytest.mark.parametrize(
    ("size", "found"),
    [((60_001, 1_000), "60,001 x 1,000"), ((8_000, 7_501), "8,000 x 7,501"), ((31_000, 100), "31,000 x 100")],
)
def test_too_many_pixels_are_refused_before_they_are_decoded(size: tuple[int, int], found: str) -> None:
    tracemalloc.start()
    with pytest.raises(InputError) as caught:
        decode_picture(make_png(*size))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert caught.value.found == f"{found} pixels"
    assert peak < 5_000_000


def test_a_large_webp_is_refused_before_its_canvas_is_made(monkeypatch: pytest.MonkeyPatch) -> None:
    body = bytes(4) + (15_999).to_bytes(3, "little") + (15_999).to_bytes(3, "little")
    raw = b"RIFF" + (22).to_bytes(4, "little") + b"WEBPVP8X" + (10).to_bytes(4, "little") + body
    with pytest.raises(InputError, match=r"16,000 x 16,000 pixels"):
        decode_picture(raw)


@pytest.mark.parametrize("lossless", [True, False])
@pytest.mark.parametrize("size", [(16, 16), (333, 127), (1000, 9)])
def test_the_size_in_a_webp_is_read_as_the_decoder_reads_it(lossless: bool, size: tuple[int, int]) -> None:
    stream = io.BytesIO()
    Image.new("RGB", size, "grey").save(stream, "WEBP", lossless=lossless)
    assert images._read_webp_size(stream.getvalue()) == size
    alpha = io.BytesIO()
    Image.new("RGBA", size, (9, 9, 9, 99)).save(alpha, "WEBP", lossless=False)
    assert images._read_webp_size(alpha.getvalue()) == size


@pytest.mark.parametrize(
    ("raw", "found"),
    [
        (b"", "an empty file"),
        (b"hello", "no picture of a known kind"),
        (b"\0\0\0\x18ftypheic\0\0", "HEIC or HEIF"),
        (b"\0\0\0\x18ftypavif\0\0", "AVIF"),
        (b"II*\0rest", "a TIFF picture"),
        (b"GIF89a", "a GIF picture"),
        (b"%PDF-1.7", "a PDF"),
        (b"<?xml version='1.0'?><svg/>", "an SVG drawing"),
        (make_png(4, 4), "4 x 4 pixels"),
    ],
)
def test_what_is_not_taken_is_named(raw: bytes, found: str) -> None:
    with pytest.raises(InputError) as caught:
        decode_picture(raw, "the file")
    assert caught.value.found == found
    assert caught.value.where == "the file"
    assert "\n" not in str(caught.value)


def test_a_file_over_the_limit_is_refused(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(FILES["PNG"])
    assert np.array_equal(read_picture(path), SMOOTH)
    monkeypatch.setattr(images, "FILE_LIMIT_BYTES", len(FILES["PNG"]) - 1)
    with pytest.raises(InputError, match="bytes"):
        read_picture(path)
    with pytest.raises(InputError, match="bytes"):
        decode_picture(FILES["PNG"])


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_a_broken_off_file_is_refused_in_words_or_read_whole(kind: str, data: st.DataObject) -> None:
    raw = FILES[kind]
    cut = data.draw(st.integers(0, len(raw) - 1))
    try:
        found = decode_picture(raw[:cut])
    except InputError as error:
        assert error.found
    else:
        # Only what stands after the picture itself was lost.
        assert np.array_equal(found, decode_picture(raw))


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_changed_bytes_never_end_in_a_traceback(kind: str, data: st.DataObject) -> None:
    raw = bytearray(FILES[kind])
    for _ in range(data.draw(st.integers(1, 8))):
        raw[data.draw(st.integers(0, min(len(raw), 300) - 1))] = data.draw(st.integers(0, 255))
    try:
        found = decode_picture(bytes(raw))
    except InputError as error:
        assert "\n" not in str(error)
    else:
        assert found.ndim == 3
        assert found.shape[0] * found.shape[1] <= images.PIXEL_LIMIT


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\x20\0\0\0WEBPVP8 ", b"BM"]),
    st.binary(max_size=300),
)
def test_any_bytes_are_refused_in_words(start: bytes, rest: bytes) -> None:
    with pytest.raises(InputError):
        decode_picture(start + rest)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP"])
def test_no_metadata_comes_out(kind: str) -> None:
    exif = Image.fromarray(SMOOTH).getexif()
    exif[0x010E] = "a secret place"
    exif[0x0132] = "2024:05:06 07:08:09"
    raw = save(SMOOTH, kind, exif=exif)
    assert b"a secret place" in raw
    out = encode_picture(decode_picture(raw))
    assert b"secret" not in out
    assert dict(Image.open(io.BytesIO(out)).getexif()) == {}


@settings(max_examples=40, deadline=None)
@given(st.integers(8, 300), st.integers(8, 300), st.integers(8, 200))
def test_shrinking_keeps_the_shape_and_never_enlarges(wide: int, high: int, longest: int) -> None:
    found = shrink_picture(np.zeros((high, wide, 3), np.uint8), longest)
    assert max(found.shape[:2]) == min(max(wide, high), longest)
    scale = max(found.shape[:2]) / max(wide, high)
    assert abs(found.shape[1] - wide * scale) <= 1
    assert abs(found.shape[0] - high * scale) <= 1


def test_a_picture_that_is_not_there_is_asked_for_as_a_picture(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_picture(tmp_path / "none.png")
    assert (caught.value.found, caught.value.expected) == ("no such file", "a picture")


@pytest.mark.parametrize(
    ("dpi", "read"), [(600, 600.0), (300, 300.0), (1200, 1200.0), (72, None), (96, None)]
)
@pytest.mark.parametrize("kind", ["PNG", "JPEG", "BMP"])
def test_a_files_own_dots_per_inch_are_read_unless_they_say_nothing(
    kind: str, dpi: int, read: float | None
) -> None:
    stream = io.BytesIO()
    Image.new("L", (40, 40), 90).save(stream, kind, dpi=(dpi, dpi))
    assert read_dpi(stream.getvalue()) == read


def test_no_dots_per_inch_in_what_has_none_or_is_no_picture() -> None:
    stream = io.BytesIO()
    Image.new("L", (40, 40), 90).save(stream, "PNG")
    uneven = io.BytesIO()
    Image.new("L", (40, 40), 90).save(uneven, "PNG", dpi=(600, 300))
    for raw in (stream.getvalue(), uneven.getvalue(), b"", b"not a picture", stream.getvalue()[:30]):
        assert read_dpi(raw) is None
