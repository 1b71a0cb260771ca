"""Scans of simulated keys for tests of the bench, and a reader that knows what is true of them.

The reader stands in for the engines where a test is about the page: it takes a second off each test.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np

from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.blade.caliper import Reading, decode_readings
from bittern.engines.blade.measurement import Fit, Measurement, Trace
from bittern.engines.blade.outline import sample_contour
from bittern.engines.blade.picture.flat import FlatPicture
from bittern.engines.blade.silhouette import Silhouette
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.images import decode_picture

BENCH = Path(__file__).resolve().parents[1] / "bench"
if str(BENCH) not in sys.path:
    sys.path.insert(0, str(BENCH))

if TYPE_CHECKING:
    from simulated_keys.scan import Scan


def scan_key(
    standard: BladeStandard,
    bitting: str,
    *,
    seed: int = 1,
    wear_steps: float = 0.1,
    dpi: float = 600,
    **how: Any,
) -> Scan:
    """Return a scan of a key with this bitting."""
    from simulated_keys.key import make_key
    from simulated_keys.scan import render_scan

    rng = np.random.default_rng(seed)
    key = make_key(standard, parse_bitting(standard, bitting), wear_steps, rng, bow="plastic")
    return render_scan(key, dpi, rng, **how)


def scan_finished(
    standard: BladeStandard,
    bitting: str,
    kind: str = "good",
    amount_mm: float = 0.0,
    *,
    seed: int = 1,
    dpi: float = 1200,
) -> Scan:
    """Return a scan of a key that was just cut, with an error of the generator's kinds."""
    from simulated_keys.finished import CuttingError, finish_key
    from simulated_keys.scan import render_scan

    rng = np.random.default_rng(seed)
    done = finish_key(standard, parse_bitting(standard, bitting), CuttingError(kind, amount_mm), rng)
    return render_scan(done.key, dpi, rng)


class KnowingReader:
    """Answers for one scan with its true outline; ``heights`` may be off where a test wants a doubt."""

    def __init__(self, scan: Scan, *, off: dict[int, float] | None = None, **more: Any) -> None:
        self.scan = scan
        self.off = off or {}
        self.more = more
        self.asked: list[dict[str, Any]] = []

    def read(
        self, raw: bytes, standards: Sequence[BladeStandard], *, dpi: float | None = None, heights: Any = ()
    ) -> Any:
        """Stand in for ``read_blade_picture``."""
        self.asked.append({"dpi": dpi, "raw": raw})
        grey = decode_picture(raw)[:, :, 0]
        flat = FlatPicture(grey, self.scan.dpi / 25.4, f"{dpi or self.scan.dpi:g} dpi from the file")
        silhouette = self.see()
        found = self.decode(silhouette, standards, heights)
        return SimpleNamespace(measurement=found, flat=flat, silhouette=silhouette, stages=None)

    def see(self) -> Silhouette:
        """Return the silhouette with its true place in the picture."""
        from simulated_keys.sight import Lie, make_silhouette

        over = self.scan.conditions.turned_over
        lie = Lie(1.0, 0.0, over, 0.0, 0.0, 0.0, 0.0)
        seen = make_silhouette(self.scan.key, self.scan.dpi, np.random.default_rng(2), lie=lie, missing=0.01)
        tip = self.scan.key.outline.bounds[2]
        to_key = np.array([[-1.0, 0.0, tip], [0.0, -1.0 if over else 1.0, 0.0], [0.0, 0.0, 1.0]])
        found: Silhouette = replace(seen, to_picture=self.scan.to_picture @ to_key)
        return found

    def decode(
        self, silhouette: Silhouette, standards: Sequence[BladeStandard], readings: Sequence[Reading] = ()
    ) -> Measurement:
        """Stand in for ``decode_silhouette``: what is true, but where ``off`` says otherwise."""
        (standard,) = standards
        key = self.scan.key
        count = len(standard.positions_mm)
        known = {one.cut: one for one in readings}
        found = []
        for edge, row in enumerate(key.factory_mm):
            at = np.asarray(standard.positions_mm) + key.making.shift_mm
            for index, height in enumerate(np.interp(at, key.x_mm, row)):
                cut = edge * count + index
                if standard.sides == "mirror" and edge:
                    continue
                off = self.off.get(cut, 0.0)
                found.append(known.get(cut, Reading(cut, float(height) + off, 0.01)))
        measured = decode_readings(standard, found)
        return replace(measured, fit=self.fit(standard), wear_mm=0.041, wear_sd_mm=0.006, **self.more)

    def fit(self, standard: BladeStandard) -> Fit:
        """Return how the blade lies, from the truth."""
        key = self.scan.key
        half = standard.width_mm / 2 if standard.sides == "single" else 0.0
        sign = 1.0 if standard.datum == "shoulder" else -1.0
        start = float(key.to_u_mm(np.float64(0.0)))
        blade = np.array([[sign, 0.0, start], [0.0, 1.0, -half], [0.0, 0.0, 1.0]])
        traces = []
        for edge, row in enumerate(key.worn_mm):
            ideal = np.array(
                sample_contour(standard, key.bitting, 0.05, edge=min(edge, len(key.bitting.edges) - 1))
            )
            measured = np.interp(ideal[:, 0], key.x_mm, row)
            measured[100:106] = np.nan
            traces.append(Trace(edge, ideal[:, 0], measured, np.full(len(ideal), 0.01), ideal[:, 1]))
        return Fit(self.scan.to_picture @ blade, tuple(traces), 0.012)


def stand_in(monkeypatch: Any, reader: KnowingReader) -> KnowingReader:
    """Put ``reader`` in the engines' place."""
    monkeypatch.setitem(
        sys.modules, "bittern.work.blade_picture", SimpleNamespace(read_blade_picture=reader.read)
    )
    monkeypatch.setattr("bittern.engines.blade.decoding.decode_silhouette", reader.decode, raising=False)
    return reader


def soil(scan: Scan, cut: int, width_mm: float) -> bytes:
    """Return the scan with a drop of dirt, as bright as the steel, in one cut."""
    from simulated_keys.scan import encode_png

    standard = scan.key.standard
    grey = decode_picture(scan.png)[:, :, 0].astype(np.float32)
    rows, columns = np.indices(grey.shape)
    root_mm = standard.depths_mm[scan.key.bitting.edges[0][cut] or 0]
    column, row = scan.place_cut(standard.positions_mm[cut], root_mm)
    radius = 0.7 * width_mm * scan.dpi / 25.4
    grey[np.hypot(columns - column, rows - row) < radius] = scan.conditions.metal
    return encode_png(grey, scan.dpi)
