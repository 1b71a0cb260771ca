"""What the cuts of a finished key have in common: how it was clamped or set, and what to adjust."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.roots import Roots

Floats = NDArray[np.float64]
PatternKind = Literal["shifted", "shallow", "deep", "taper", "one cut", "burr"]

SURE: Final = 0.9
"""Probability from which a pattern of the depths is named."""
LEAST_SHARE: Final = 0.5
"""A pattern that moves no root by more than this part of the tolerance needs no adjusting."""
P_PATTERN: Final = 0.1
"""Probability beforehand of each of: all cuts off alike, a taper, one wrong cut (judgement)."""
EXPECTED_MM: Final = 0.2
"""Standard deviation beforehand of what a pattern amounts to (judgement)."""
SCATTER_SHARES: Final = (0.15, 0.3, 0.6, 1.2)
"""What a machine scatters from cut to cut, as parts of the tolerance: any of these, equally likely."""
SHIFT_SURE: Final = 2.0
"""Standard deviations beyond which a shift along the blade is named, and this much besides:"""
LEAST_SHIFT_MM: Final = 0.03


@dataclass(frozen=True, slots=True)
class Pattern:
    """One thing that went wrong in cutting.

    ``amount_mm`` counts as its kind: ``shifted`` away from the datum, ``shallow``, ``deep`` and ``one cut``
    upward (less metal taken is more), ``taper`` the last cut over the first from the datum, ``burr`` how far
    it stands out. ``cut`` is the number of the one cut, ``advice`` a sentence.
    """

    kind: PatternKind
    amount_mm: float
    advice: str
    cut: int | None = None

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape of one of ``patterns``."""
        return {"kind": self.kind, "amount_mm": self.amount_mm, "advice": self.advice}


@dataclass(frozen=True, slots=True)
class Explanation:
    """The likeliest pattern of the depths: level, taper, one cut off; what it does not hold is 0 or None.

    ``p_common`` is the probability that the cuts have something in common, ``p_cut`` that of the one cut.
    """

    level_mm: float
    taper_mm: float
    cut: int | None
    cut_mm: float
    p_common: float
    p_cut: float


def find_shift(standard: BladeStandard, shift_mm: float, shift_sd_mm: float) -> list[Pattern]:
    """Return that all cuts lie off along the blade, if they do."""
    if abs(shift_mm) <= SHIFT_SURE * shift_sd_mm + LEAST_SHIFT_MM:
        return []
    where = "far from" if shift_mm > 0 else "near to"
    advice = (
        f"all cuts lie {abs(shift_mm):.2f} mm too {where} the {standard.datum}: the key was not against its"
        " stop, or the datum is set wrongly; push the next blank home and check the datum"
    )
    return [Pattern("shifted", shift_mm, advice)]


def find_depth_patterns(
    standard: BladeStandard, roots: Roots, names: dict[int, str], failed: set[int]
) -> list[Pattern]:
    """Return what is wrong with the depths: all alike, tapered, single cuts.

    Parameters
    ----------
    names
        Of the cuts, by their numbers.
    failed
        Numbers of the cuts that are surely off: those that no pattern explains are named.
    """
    if not len(roots.cut):
        return []
    places = np.asarray(standard.positions_mm)[roots.cut % len(standard.positions_mm)]
    found = explain(roots.off_mm, roots.covariance_mm2, places, roots.cut, standard.tolerance_mm)
    least = LEAST_SHARE * standard.tolerance_mm
    said = []
    explained = np.zeros(len(places))
    if found.p_common >= SURE:
        explained = found.level_mm + found.taper_mm * _spread(places)
        # A slope about 0 at one end is half as much in the middle; what is beyond that is the cutter's.
        if abs(found.level_mm) > abs(found.taper_mm) / 2 + least:
            said.append(_say_level(found.level_mm))
        if abs(found.taper_mm) > max(2 * least, abs(found.level_mm) / 2):
            said.append(_say_taper(standard, found.taper_mm))
    left = roots.off_mm - explained
    wrong = set(failed) if not said else set()
    if found.p_cut >= SURE and found.cut is not None and abs(found.cut_mm) > least:
        wrong.add(found.cut)
    for cut in sorted(wrong):
        mine = left[roots.cut == cut]
        off = float(mine[np.abs(mine).argmax()])
        advice = f"cut {names[cut]} is {abs(off):.2f} mm too {'shallow' if off > 0 else 'deep'}"
        said.append(Pattern("one cut", off, advice, cut))
    return said


def explain(
    off_mm: Floats,
    covariance_mm2: Floats,
    places_mm: Floats,
    cuts: NDArray[np.intp],
    tolerance_mm: float,
) -> Explanation:
    """Return the likeliest pattern of the deviations, with its probability.

    Notes
    -----
    Each pattern says that the deviations are normal with the measurement's covariance, a scatter from cut to
    cut, and a free amount for each thing the pattern holds: all alike, a slope along the blade, one cut. The
    amounts and the scatter are integrated out, so a pattern with more to it must earn its freedom (MacKay,
    Information Theory, Inference, and Learning Algorithms, chapter 28).
    """
    spread = _spread(places_mm)
    level = np.ones_like(off_mm)
    forms: dict[str, list[Floats]] = {"none": [], "level": [level], "taper": [level, spread]}
    if len(np.unique(places_mm)) < 3:
        del forms["taper"]
    logs, versions = [], []
    unique = [int(cut) for cut in np.unique(cuts)]
    for name, columns in forms.items():
        beforehand = math.log(P_PATTERN if columns else 1 - 2 * P_PATTERN)
        for cut in (None, *unique):
            design = [*columns, *([] if cut is None else [(cuts == cut).astype(np.float64)])]
            log = _weigh(off_mm, covariance_mm2, design, tolerance_mm)
            prior = math.log(1 - P_PATTERN) if cut is None else math.log(P_PATTERN / len(unique))
            logs.append(log + beforehand + prior)
            versions.append((name, cut, design))
    chances = np.exp(np.array(logs) - max(logs))
    chances /= chances.sum()

    def sum_up(ask: Callable[[str, int | None], bool]) -> float:
        return float(sum(p for p, one in zip(chances, versions, strict=True) if ask(one[0], one[1])))

    # Which form, whatever single cut is off besides; then which cut, whatever the form.
    name = max(forms, key=lambda form: sum_up(lambda one, _: one == form))
    cut = max((None, *unique), key=lambda number: sum_up(lambda _, one: one == number))
    design = next(one[2] for one in versions if one[0] == name and one[1] == cut)
    amounts = _fit(off_mm, covariance_mm2, design, tolerance_mm)
    return Explanation(
        level_mm=float(amounts[0]) if name != "none" else 0.0,
        taper_mm=float(amounts[1]) if name == "taper" else 0.0,
        cut=cut,
        cut_mm=0.0 if cut is None else float(amounts[-1]),
        p_common=1 - sum_up(lambda one, _: one == "none"),
        p_cut=sum_up(lambda _, one: one == cut) if cut is not None else 0.0,
    )


def _weigh(off_mm: Floats, covariance_mm2: Floats, design: list[Floats], tolerance_mm: float) -> float:
    """Return the log evidence of a pattern."""
    logs = []
    for share in SCATTER_SHARES:
        total = covariance_mm2 + (share * tolerance_mm) ** 2 * np.eye(len(off_mm))
        for column in design:
            total = total + EXPECTED_MM**2 * np.outer(column, column)
        _, size = np.linalg.slogdet(total)
        logs.append(-(size + float(off_mm @ np.linalg.solve(total, off_mm))) / 2)
    most = max(logs)
    return float(most + math.log(math.fsum(math.exp(one - most) for one in logs) / len(logs)))


def _fit(off_mm: Floats, covariance_mm2: Floats, design: list[Floats], tolerance_mm: float) -> Floats:
    """Return the amounts of a pattern by generalised least squares, in mm."""
    if not design:
        return np.zeros(0)
    columns = np.stack(design, axis=1)
    weight = np.linalg.inv(covariance_mm2 + (0.3 * tolerance_mm) ** 2 * np.eye(len(off_mm)))
    found = np.linalg.solve(columns.T @ weight @ columns, columns.T @ weight @ off_mm)
    return np.asarray(found, dtype=np.float64)


def _spread(places_mm: Floats) -> Floats:
    """Return places as parts of the cuts' span, about 0."""
    apart: Floats = (places_mm - places_mm.mean()) / max(float(np.ptp(places_mm)), 1e-9)
    return apart


def _say_taper(standard: BladeStandard, taper_mm: float) -> Pattern:
    deeper = "tip" if (taper_mm < 0) == (standard.datum == "shoulder") else "bow"
    advice = (
        f"cuts grow deeper toward the {deeper}, by {abs(taper_mm):.2f} mm over the blade: the key lay askew"
        " in its clamp; clean the jaws and clamp the next blank flat and square"
    )
    return Pattern("taper", taper_mm, advice)


def _say_level(level_mm: float) -> Pattern:
    if level_mm > 0:
        advice = (
            f"all cuts are {level_mm:.2f} mm too shallow: set the cutter {level_mm:.2f} mm deeper; if it was"
            " set rightly before, it is worn, or the blank is wider than the standard's"
        )
        return Pattern("shallow", level_mm, advice)
    advice = (
        f"all cuts are {-level_mm:.2f} mm too deep: set the cutter {-level_mm:.2f} mm shallower; if a new"
        " cutter was put in, its zero is to be found again, or the blank is narrower than the standard's"
    )
    return Pattern("deep", level_mm, advice)
