"""One trial of the study: a key is drawn, shown, and read in three ways."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from bittern.core.errors import BitternError
from bittern.engines.blade.bitting import Bitting, format_bitting
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.standard import BladeStandard
from bittern.work.blade_picture import PictureReading, read_blade_picture
from simulated_keys.key import SimulatedKey, cross_columns, make_key
from simulated_keys.oracle import ask_oracle, round_heights
from simulated_keys.photo import render_photo
from simulated_keys.scan import Scan, render_scan
from simulated_keys.sight import MM_PER_INCH, Sharpness, blur_edge
from simulated_keys.standards import draw_bitting, draw_standard, list_demo_standards

Floats = NDArray[np.float64]
AnyTrial = TypeVar("AnyTrial")
AnyOutcome = TypeVar("AnyOutcome")

MEDIAN_TO_SD = 1.4826
"""Standard deviation of a normal law over its median absolute error: from memory, recomputed."""
DRAWN_SHARE = 0.4
"""Share of the keys that are of a drawn standard rather than of the demo pack's."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What makes a trial: the same fields give the same outcome.

    Attributes
    ----------
    band
        Least and most wear, in depth steps.
    dpi
        Of a scan; None makes a photo.
    tilts_deg
        Least and most tilt of a photo.
    law
        Of wear; None draws one of the four.
    any_standard
        All demo standards compete, and the key's own.
    """

    seed: int
    number: int
    band: tuple[float, float]
    dpi: float | None
    tilts_deg: tuple[float, float] = (0.0, 0.0)
    law: str | None = None
    any_standard: bool = False


@dataclass(frozen=True, slots=True)
class HeightErrors:
    """How the found edges of a scan lie beside the true ones, all along the blade.

    ``rms_px`` is over single columns, dust that went unnoticed included; ``typical_px`` is their median
    absolute error, scaled to a standard deviation; ``bound_px`` the Cramer-Rao bound of a column, root mean
    square. ``root_ratios`` are errors of means along the flats of the roots over the bounds of these means,
    ``root_mm`` the same errors in mm.
    """

    rms_px: float
    typical_px: float
    bound_px: float
    root_ratios: tuple[float, ...]
    root_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came out of one trial; ``refused`` says why there was no reading."""

    trial: Trial
    standard: str
    sides: str
    law: str
    wear_steps: float
    truth: str
    found: str
    engine: bool
    rounding: bool
    oracle: bool
    probability: float
    refused: str
    heights: HeightErrors | None
    depth_errors: tuple[tuple[float, float], ...]
    """Error and stated standard deviation of each cut's measured depth, in mm."""
    seconds: float


def run_trial(trial: Trial) -> Outcome:
    """Return what the engine, the nearest depth and the oracle make of one key."""
    rng = np.random.default_rng([trial.seed, trial.number])
    standard = draw_any_standard(rng)
    bitting = draw_bitting(standard, rng)
    key = make_key(standard, bitting, float(rng.uniform(*trial.band)), rng, law=trial.law)
    standards = [standard]
    if trial.any_standard:
        standards += [one for one in list_demo_standards() if one.id != standard.id]
    shown: Scan | None = None
    if trial.dpi is None:
        photo = render_photo(key, rng, tilt_deg=float(rng.uniform(*trial.tilts_deg)))
        raw, turned_over = photo.jpeg, photo.conditions.turned_over
        sharpness = Sharpness(photo.conditions.blur_px, photo.conditions.noise, 90.0)
        resolution = photo.conditions.distance_mm / photo.lens.focal_px
    else:
        shown = render_scan(key, trial.dpi, rng)
        raw, turned_over = shown.png, shown.conditions.turned_over
        sharpness, resolution = get_sharpness(shown), MM_PER_INCH / trial.dpi
    began = time.perf_counter()
    reading, refused = _read(raw, standards, trial.dpi)
    took = time.perf_counter() - began
    told, _ = ask_oracle(key, resolution * sharpness.get_sd_px(), rng)
    return _judge(trial, key, reading, refused, turned_over, told == bitting, shown, took)


def draw_any_standard(rng: np.random.Generator) -> BladeStandard:
    """Draw one of the demo pack's edge standards, or one drawn anew."""
    if rng.random() < DRAWN_SHARE:
        return draw_standard(rng)
    known = list_demo_standards()
    return known[int(rng.integers(len(known)))]


def _read(
    raw: bytes, standards: Sequence[BladeStandard], dpi: float | None
) -> tuple[PictureReading | None, str]:
    try:
        return read_blade_picture(raw, standards, dpi=dpi), ""
    except BitternError as error:
        return None, str(error)


def _judge(
    trial: Trial,
    key: SimulatedKey,
    reading: PictureReading | None,
    refused: str,
    turned_over: bool,
    oracle: bool,
    shown: Scan | None,
    took: float,
) -> Outcome:
    truth = key.lie(turned_over=turned_over)
    said = reading.measurement if reading else None
    rounded: Bitting | None = None
    if reading:
        rounded = round_heights(key, reading.silhouette, turned_over=turned_over)
    written = format_bitting(key.standard, truth)
    exact = said is not None and said.standard == key.standard.id and said.bitting == written
    return Outcome(
        trial=trial,
        standard=key.standard.id,
        sides=key.standard.sides,
        law=key.wear.law,
        wear_steps=key.wear_steps,
        truth=written,
        found=said.bitting if said else "",
        engine=exact,
        rounding=rounded == truth,
        oracle=oracle,
        probability=said.probability if said else 0.0,
        refused=refused,
        heights=compare_heights(shown, reading) if shown and reading else None,
        depth_errors=_compare_depths(key, said, turned_over) if said and exact else (),
        seconds=took,
    )


def get_sharpness(scan: Scan) -> Sharpness:
    """Return what the bound needs of a scan: pixels and rounding to whole levels blur and add noise too."""
    how = scan.conditions
    return Sharpness(
        blur_px=float(np.sqrt(how.blur_px**2 + 1 / 12)),
        noise=float(np.sqrt(how.noise**2 + 1 / 12)),
        step=abs(how.ground - how.metal),
    )


def compare_heights(scan: Scan, reading: PictureReading) -> HeightErrors:
    """Return the errors of the heights that were found, beside the bound of each."""
    key, sharpness = scan.key, get_sharpness(scan)
    resolution = MM_PER_INCH / scan.dpi / scan.conditions.scale
    back = np.linalg.inv(np.vstack([scan.to_picture, [0, 0, 1]]))[:2]
    seen = reading.silhouette
    grid = np.arange(key.shoulder_u_mm + 0.7, -2.2, resolution / 2)
    true = find_true_edges(scan, grid, sharpness)
    errors, bounds, ratios, root_mm = [], [], [], []
    for found in (seen.upper_mm, seen.lower_mm):
        pixels = seen.to_picture @ np.stack([seen.s_mm, found, np.ones_like(found)])
        u, v = back[:, :2] @ pixels + back[:, 2:]
        kept = np.isfinite(v) & (u > grid[0]) & (u < grid[-1])
        u, v = u[kept], v[kept]
        edge = true[int(np.nanmedian(v) < 0)]
        slope = np.interp(u, grid, np.gradient(edge, grid))
        error = (v - np.interp(u, grid, edge)) / resolution
        # Of a slanting edge more pixels take part in a column.
        bound = sharpness.get_sd_px() * (1 + slope**2) ** 0.25
        errors.append(error)
        bounds.append(bound)
        for position in key.standard.positions_mm:
            at = key.to_u_mm(np.array([position + key.making.shift_mm]))[0]
            flat = np.abs(u - at) < key.standard.flat_mm / 4
            if flat.sum() >= 3:
                mean = float(error[flat].mean())
                ratios.append(mean / (sharpness.get_sd_px() / np.sqrt(flat.sum())))
                root_mm.append(mean * resolution)
    error, bound = np.concatenate(errors), np.concatenate(bounds)
    return HeightErrors(
        rms_px=float(np.sqrt((error**2).mean())),
        typical_px=float(np.median(np.abs(error)) * MEDIAN_TO_SD),
        bound_px=float(np.sqrt((bound**2).mean())),
        root_ratios=tuple(ratios),
        root_mm=tuple(root_mm),
    )


def find_true_edges(scan: Scan, u_mm: Floats, sharpness: Sharpness) -> list[Floats]:
    """Return the upper and the lower v at which the blurred key is half covered, every ``u_mm``."""
    step = float(u_mm[1] - u_mm[0])
    per_mm = scan.dpi / MM_PER_INCH * scan.conditions.scale
    bias = scan.conditions.bias_px / per_mm
    outline = scan.key.outline.buffer(bias, join_style="mitre") if bias else scan.key.outline
    reach = int(np.ceil(0.3 / step))
    wide = np.concatenate(
        [u_mm[0] - step * np.arange(reach, 0, -1), u_mm, u_mm[-1] + step * np.arange(1, reach + 1)]
    )
    upper, lower = cross_columns(outline, wide)
    sd = sharpness.blur_px / (per_mm * step)
    return [blur_edge(upper, sd, step)[reach:-reach], -blur_edge(-lower, sd, step)[reach:-reach]]


def _compare_depths(
    key: SimulatedKey, said: Measurement, turned_over: bool
) -> tuple[tuple[float, float], ...]:
    """Return error and stated deviation of each measured depth, by the key as it is now."""
    roots = np.asarray(key.standard.positions_mm) + key.making.shift_mm
    left = [np.interp(roots, key.x_mm, one) for one in key.worn_mm]
    if key.standard.sides == "mirror":
        left = [(left[0] + left[1]) / 2]
    elif turned_over:
        left = left[::-1]
    true = np.concatenate(left)
    return tuple(
        (cut.depth_mm - float(height), cut.sd_mm)
        for cut, height in zip(said.cuts, true, strict=True)
        if cut.depth_mm is not None and cut.sd_mm is not None
    )


def run_trials(trials: Sequence[Trial], *, processes: int) -> Iterator[Outcome]:
    """Yield the trials' outcomes in order, several at a time."""
    yield from run_each(run_trial, trials, processes=processes)


def run_each(
    run: Callable[[AnyTrial], AnyOutcome], trials: Sequence[AnyTrial], *, processes: int
) -> Iterator[AnyOutcome]:
    """Yield what ``run`` makes of each trial, in order, several at a time."""
    if processes <= 1:
        yield from map(run, trials)
        return
    # Fresh processes: nothing is shared that a fork would copy half-used.
    with multiprocessing.get_context("spawn").Pool(processes, _be_alone) as pool:
        yield from pool.imap(run, trials, chunksize=4)


def _be_alone() -> None:
    """Keep a worker to one core; the others have work of their own."""
    import cv2

    cv2.setNumThreads(1)
