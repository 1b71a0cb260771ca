"""One trial of the study of inspection: a key is cut with a known error, shown, and inspected."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bittern.core.errors import BitternError
from bittern.engines.cutting.inspection import MOST_SHIFT_SHARE, InspectedCut, Inspection
from bittern.engines.cutting.patterns import Pattern
from bittern.work.blade_picture import inspect_blade_picture
from simulated_keys.finished import CuttingError, FinishedKey, draw_error, finish_key
from simulated_keys.photo import render_photo
from simulated_keys.scan import render_scan
from simulated_keys.standards import draw_bitting
from simulated_keys.trial import draw_any_standard

RISK = 0.05


@dataclass(frozen=True, slots=True)
class InspectionTrial:
    """What makes a trial; ``dpi`` None makes a photo."""

    seed: int
    number: int
    kind: str
    dpi: float | None
    tilts_deg: tuple[float, float] = (0.0, 14.0)

    @property
    def shown(self) -> str:
        """How the key is shown, in words."""
        return f"{self.dpi:g} dpi" if self.dpi else "photo"


@dataclass(frozen=True, slots=True)
class Height:
    """One root: its true height less the target's, the measured one less it, and the stated deviation."""

    true_off_mm: float
    measured_off_mm: float
    sd_mm: float
    parts_mm: tuple[float, ...]

    @property
    def error_mm(self) -> float:
        """What the measured height is off by."""
        return self.measured_off_mm - self.true_off_mm


@dataclass(frozen=True, slots=True)
class Judged:
    """A cut, or a whole key: whether it conforms, the stated probability that it does, the verdict."""

    conforms: bool
    p_conform: float
    verdict: str


@dataclass(frozen=True, slots=True)
class InspectionOutcome:
    """What came out of one trial; ``refused`` says why there was no measurement.

    ``named`` are the kinds of pattern that were named, ``amount_mm`` what the true one was said to amount
    to, None where it was not named.
    """

    trial: InspectionTrial
    error: CuttingError
    standard: str
    sides: str
    limit_mm: float
    refused: str
    key: Judged | None = None
    cuts: tuple[Judged, ...] = ()
    heights: tuple[Height, ...] = ()
    shift_error_mm: float = 0.0
    shift_sd_mm: float = 1.0
    named: tuple[str, ...] = ()
    right: bool = False
    amount_mm: float | None = None


def run_inspection(trial: InspectionTrial) -> InspectionOutcome:
    """Return what the inspection makes of one key."""
    rng = np.random.default_rng([trial.seed, trial.number])
    standard = draw_any_standard(rng)
    bitting = draw_bitting(standard, rng)
    made = finish_key(standard, bitting, draw_error(trial.kind, standard, rng), rng)
    if trial.dpi is None:
        photo = render_photo(made.key, rng, tilt_deg=float(rng.uniform(*trial.tilts_deg)))
        raw, turned_over = photo.jpeg, photo.conditions.turned_over
    else:
        scan = render_scan(made.key, trial.dpi, rng)
        raw, turned_over = scan.png, scan.conditions.turned_over
    try:
        found = inspect_blade_picture(raw, standard, bitting, dpi=trial.dpi, risk=RISK).inspection
    except BitternError as error:
        return _refuse(trial, made, str(error))
    return _compare(trial, made, found, turned_over)


def _refuse(trial: InspectionTrial, made: FinishedKey, why: str) -> InspectionOutcome:
    standard = made.key.standard
    return InspectionOutcome(
        trial=trial,
        error=made.error,
        standard=standard.id,
        sides=standard.sides,
        limit_mm=standard.tolerance_mm,
        refused=why,
    )


def _compare(
    trial: InspectionTrial, made: FinishedKey, found: Inspection, turned_over: bool
) -> InspectionOutcome:
    standard = made.key.standard
    limit = standard.tolerance_mm
    rows = list_true_rows(made, turned_over=turned_over)
    cuts, heights = [], []
    for cut, true in zip(found.cuts, rows, strict=True):
        if cut.p_conform is not None:
            cuts.append(Judged(bool(np.abs(true).max() <= limit), cut.p_conform, cut.verdict))
            heights += _compare_heights(cut, true)
    whole = all(np.abs(true).max() <= limit for true in rows)
    at_place = abs(made.shift_mm) <= MOST_SHIFT_SHARE * standard.flat_mm
    matching = [one for one in found.patterns if _matches(made.error, one)]
    return InspectionOutcome(
        trial=trial,
        error=made.error,
        standard=standard.id,
        sides=standard.sides,
        limit_mm=limit,
        refused="",
        key=Judged(whole and at_place, found.p_conform, found.verdict),
        cuts=tuple(cuts),
        heights=tuple(heights),
        shift_error_mm=found.shift_mm - made.shift_mm,
        shift_sd_mm=found.shift_sd_mm,
        named=tuple(one.kind for one in found.patterns),
        right=bool(matching),
        amount_mm=matching[0].amount_mm if matching else None,
    )


def list_true_rows(made: FinishedKey, *, turned_over: bool) -> list[tuple[float, ...]]:
    """Return each cut's true deviations: of both edges of a mirror blade, the upper in the picture first."""
    off = made.off_mm
    if made.key.standard.sides != "mirror":
        return [(float(one),) for one in off.reshape(-1)]
    upper = made.key.upper_edge ^ int(turned_over)
    return [(float(off[upper, cut]), float(off[1 - upper, cut])) for cut in range(off.shape[1])]


def _compare_heights(cut: InspectedCut, true: tuple[float, ...]) -> list[Height]:
    if len(cut.roots) != len(true):
        return []
    return [
        Height(off, root.height_mm - cut.target_mm, root.sd_mm, tuple(root.budget_mm.values()))
        for root, off in zip(cut.roots, true, strict=True)
    ]


def _matches(error: CuttingError, pattern: Pattern) -> bool:
    """Return whether a pattern is the error that was made, its direction included."""
    if error.kind == "level":
        return pattern.kind == ("shallow" if error.amount_mm > 0 else "deep")
    if error.kind in ("shifted", "taper"):
        return pattern.kind == error.kind and pattern.amount_mm * error.amount_mm > 0
    if error.kind == "one cut":
        return pattern.kind == "one cut" and pattern.cut == error.cut and pattern.amount_mm < 0
    return pattern.kind == error.kind
