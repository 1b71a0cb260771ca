"""Bar codes on a picture: Code 39, Code 128, Data Matrix, QR and PDF417, at any angle.

The reader finds square codes at any turn and striped ones up to some 15 degrees of tilt. So the picture is
turned a few times, then tried with its contrast evened and with small stripes enlarged: cheapest first, and
no further once what was found is enough.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bittern.engines.label.lines import Quad
from bittern.formats.images import Pixels, shrink_picture

LONGEST_PX = 2000
"""More pixels than that cost time and find nothing more: the stripes of a label have 3 pixels each then."""
SMALL_PX = 900
"""A picture with a longer side under this is also tried at twice its size."""
TILTS_DEG = (0.0, 15.0, -15.0, 30.0, -30.0, 45.0)
"""With a quarter turn of each, which the reader tries itself, no stripe is more than 7.5 degrees off.

Steps of 22.5 degrees lost one Code 39 in ten more of those in bad light (bench/study_label.py)."""
MOST_CODES = 20
LEAST_CODE_39 = 6
"""A Code 39 checks nothing: a few tilted stripes of a longer one were read as four characters."""
LONGEST_TEXT = 200

SYMBOLOGIES = {
    "Code39": "Code 39",
    "Code39Std": "Code 39",
    "Code39Ext": "Code 39",
    "Code128": "Code 128",
    "DataMatrix": "Data Matrix",
    "QRCode": "QR",
    "QRCodeModel1": "QR",
    "QRCodeModel2": "QR",
    "PDF417": "PDF417",
}
CORRECTED = ("Data Matrix", "QR", "PDF417")
"""These mend and check themselves (Reed-Solomon); Code 128 has a check character, Code 39 has nothing."""

Grey = NDArray[np.uint8]
Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BarCode:
    """One bar code: its kind, what it says, and its corners in pixels of the picture."""

    symbology: str
    text: str
    box: Quad

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape."""
        return {"symbology": self.symbology, "text": self.text, "box": round_box(self.box)}


def round_box(box: Quad) -> list[list[int]]:
    """Return the corners in whole pixels."""
    return [[round(x), round(y)] for x, y in box]


def read_codes(pixels: Pixels, enough: Callable[[Sequence[BarCode]], bool] = bool) -> tuple[BarCode, ...]:
    """Return the bar codes on a picture, each text of a kind once.

    Parameters
    ----------
    pixels
        The picture.
    enough
        Tells from what was found so far whether to stop looking.

    Returns
    -------
    tuple of BarCode
        In the order found; none where there is none or none can be read.
    """
    import cv2

    shown = shrink_picture(pixels, LONGEST_PX)
    scale = pixels.shape[1] / shown.shape[1]
    grey = np.asarray(cv2.cvtColor(shown, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    found: dict[tuple[str, str], BarCode] = {}
    for picture, back in _list_tries(grey):
        for code in _read(picture, back, scale):
            if len(found) < MOST_CODES:
                found.setdefault((code.symbology, code.text), code)
        if enough(tuple(found.values())):
            break
    return tuple(found.values())


def _list_tries(grey: Grey) -> Iterator[tuple[Grey, Matrix]]:
    """Yield the picture in ever more costly forms, with the matrix that leads back to its own pixels."""
    for tilt in TILTS_DEG:
        yield _rotate(grey, tilt)
    even = _even_out(grey)
    for tilt in TILTS_DEG:
        yield _rotate(even, tilt)
    if max(grey.shape) <= SMALL_PX:
        import cv2

        for base in (grey, even):
            large = np.asarray(
                cv2.resize(base, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), dtype=np.uint8
            )
            for tilt in TILTS_DEG:
                picture, back = _rotate(large, tilt)
                yield picture, back / 2


def _even_out(grey: Grey) -> Grey:
    """Return the picture with light that falls off levelled out and edges made steeper."""
    import cv2

    side = max(grey.shape)
    ground = cv2.GaussianBlur(grey, (0, 0), max(3.0, side / 30)).astype(np.float32)
    level = np.clip(grey.astype(np.float32) / np.maximum(ground, 1.0) * 128.0, 0, 255).astype(np.uint8)
    local = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(8, 8)).apply(level)
    soft = cv2.GaussianBlur(local, (0, 0), 2.0)
    return np.asarray(cv2.addWeighted(local, 2.0, soft, -1.0, 0), dtype=np.uint8)


def _rotate(grey: Grey, tilt_deg: float) -> tuple[Grey, Matrix]:
    """Return the picture turned about its middle on a canvas that holds it all, and the way back."""
    import cv2

    if not tilt_deg:
        return grey, np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    height, width = grey.shape
    turn = np.asarray(cv2.getRotationMatrix2D((width / 2, height / 2), tilt_deg, 1.0), dtype=np.float64)
    cos, sin = abs(turn[0, 0]), abs(turn[0, 1])
    wide, high = int(width * cos + height * sin) + 1, int(width * sin + height * cos) + 1
    turn[0, 2] += (wide - width) / 2
    turn[1, 2] += (high - height) / 2
    turned = cv2.warpAffine(grey, turn, (wide, high), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(turned, dtype=np.uint8), np.asarray(cv2.invertAffineTransform(turn), dtype=np.float64)


def _read(grey: Grey, back: Matrix, scale: float) -> Iterator[BarCode]:
    import zxingcpp

    kinds = zxingcpp.barcode_formats_from_str("Code39,Code128,DataMatrix,QRCode,PDF417")
    # Its own pixels one after the other: a view is not taken by the reader.
    own = np.ascontiguousarray(grey)
    for result in zxingcpp.read_barcodes(own, formats=kinds, text_mode=zxingcpp.TextMode.Plain):
        symbology = SYMBOLOGIES.get(result.format.name)
        text = _clean(result.text)
        if symbology == "Code 39" and len(text) < LEAST_CODE_39:
            continue
        if symbology and text and result.valid:
            yield BarCode(symbology, text, _place(result.position, back, scale))


def _clean(text: str) -> str:
    """Return the text on one line, without signs that steer a terminal or turn the direction of writing."""
    kept = "".join(" " if unicodedata.category(c)[0] == "Z" else c for c in text[:LONGEST_TEXT])
    return "".join(c if unicodedata.category(c)[0] != "C" else " " for c in kept).strip()


def _place(position: Any, back: Matrix, scale: float) -> Quad:
    corners = (position.top_left, position.top_right, position.bottom_right, position.bottom_left)
    points = np.array([[corner.x, corner.y, 1.0] for corner in corners]) @ back.T * scale
    a, b, c, d = ((float(x), float(y)) for x, y in points)
    return (a, b, c, d)
