"""A reading of a key as it is kept under seal: everything that shows it and weighs it anew, as one text."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from datetime import datetime
from hashlib import sha256

import numpy as np

from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.measurement import CutEstimate, Fit, Measurement, Trace
from bittern.engines.blade.silhouette import Camera, Silhouette
from bittern.work.blade_stages import Stage
from bittern.work.errors import SealBrokenError

SCAN, PHOTO = "scan", "photo"
_KIND, _ARRAY, _MOMENT = "kind", "array", "moment"


@dataclass(frozen=True, slots=True, eq=False)
class BladeReading:
    """What was read from a picture of the old key.

    Attributes
    ----------
    how
        ``scan`` or ``photo``.
    scale_from, notes, residual_mm
        As the flat picture has them.
    silhouette
        The outline, so that the bitting is weighed anew without the picture.
    heights
        What a caliper measured since.
    swapped
        Whether the edges of a split blade were exchanged by a person.
    picture
        JPEG of the blade and a little around it, drawn on by the page.
    picture_frame
        Shape (2, 3): from (s_mm, h_mm) of the silhouette to pixels of ``picture``.
    stages
        How the outline was found.
    """

    how: str
    read_by: str
    read_at: datetime
    scale_from: str
    residual_mm: float | None
    notes: tuple[str, ...]
    silhouette: Silhouette
    heights: tuple[Reading, ...]
    swapped: bool
    measurement: Measurement
    picture: bytes
    picture_size: tuple[int, int]
    picture_frame: np.ndarray
    stages: tuple[Stage, ...] = ()


_KINDS: dict[str, Callable[..., object]] = {
    one.__name__: one
    for one in (BladeReading, Measurement, CutEstimate, Fit, Trace, Silhouette, Camera, Reading, Stage)
}


def write_reading(reading: BladeReading) -> str:
    """Return the reading as text, arrays and pictures packed."""
    return json.dumps(_to_plain(reading), ensure_ascii=True, separators=(",", ":"), sort_keys=True)


def read_reading(text: str, where: str) -> BladeReading:
    """Return what :func:`write_reading` wrote.

    Raises
    ------
    SealBrokenError
        It was written by a version that kept readings otherwise.
    """
    try:
        found = _from_plain(json.loads(text))
    except (ValueError, TypeError, KeyError, zlib.error) as error:
        raise _name_foreign(where) from error
    if not isinstance(found, BladeReading):
        raise _name_foreign(where)
    return found


def mark_reading(text: str) -> str:
    """Return a mark of a kept reading; another one as soon as anything of it changes."""
    return sha256(text.encode()).hexdigest()[:16]


def _name_foreign(where: str) -> SealBrokenError:
    return SealBrokenError(
        "a reading that another version kept",
        "one of this version",
        where=where,
        hint="throw it away and read the picture again",
    )


def _to_plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        found = {one.name: _to_plain(getattr(value, one.name)) for one in fields(value)}
        return {_KIND: type(value).__name__, **found}
    if isinstance(value, np.ndarray):
        packed = zlib.compress(np.ascontiguousarray(value, dtype="<f8").tobytes(), 1)
        return {_KIND: _ARRAY, "shape": list(value.shape), "f8": base64.b64encode(packed).decode()}
    if isinstance(value, bytes):
        return {_KIND: "bytes", "base64": base64.b64encode(value).decode()}
    if isinstance(value, datetime):
        return {_KIND: _MOMENT, "iso": value.isoformat()}
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, tuple | list):
        return [_to_plain(one) for one in value]
    if isinstance(value, dict):
        # Wrapped, so that no key of a mapping is taken for a kind.
        return {_KIND: "map", "of": {str(name): _to_plain(one) for name, one in value.items()}}
    return value


def _from_plain(value: object) -> object:
    if isinstance(value, list):
        return tuple(_from_plain(one) for one in value)
    if not isinstance(value, dict):
        return value
    kind = value[_KIND]
    if kind == _ARRAY:
        raw = zlib.decompress(base64.b64decode(value["f8"], validate=True))
        return np.frombuffer(raw, dtype="<f8").reshape(value["shape"]).astype(np.float64)
    if kind == "bytes":
        return base64.b64decode(value["base64"], validate=True)
    if kind == _MOMENT:
        return datetime.fromisoformat(value["iso"])
    if kind == "map":
        return {name: _from_plain(one) for name, one in value["of"].items()}
    return _KINDS[kind](**{name: _from_plain(one) for name, one in value.items() if name != _KIND})
