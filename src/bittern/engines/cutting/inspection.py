"""A finished key against its target: heights with their doubt, a verdict by a guard band, what to adjust."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from bittern.core.phrases import join_words
from bittern.engines.blade import worn
from bittern.engines.blade.bitting import Bitting, name_cut
from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.errors import PictureError
from bittern.engines.blade.measurement import Fit
from bittern.engines.blade.reporting import draw_fit
from bittern.engines.blade.silhouette import Silhouette
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.weighed import Weighed
from bittern.engines.cutting.blurring import weigh_blurs
from bittern.engines.cutting.burrs import find_burrs
from bittern.engines.cutting.conformity import (
    USUAL_RISK,
    Verdict,
    get_guard_band_mm,
    get_p_all_conform,
    get_p_conform,
    judge,
)
from bittern.engines.cutting.laying import lay_finished
from bittern.engines.cutting.patterns import Pattern, find_depth_patterns, find_shift
from bittern.engines.cutting.recheck import weigh_in
from bittern.engines.cutting.roots import PARTS, Roots, mean_budget_mm, measure_heights

MOST_SHIFT_SHARE: Final = 0.25
"""A key whose cuts all lie off by more than this part of their flat fails, whatever its heights."""
DATUM_SD_MM: Final = 0.015
"""A shoulder has a fillet and a tip is not perfectly square (judgement)."""
COARSE_SHARE: Final = 0.25
"""Where a cut passes within less than this part of the limit only, the picture is called too coarse."""


@dataclass(frozen=True, slots=True)
class MeasuredRoot:
    """One edge of a cut: measured height, its standard deviation, and what that is made of, in mm."""

    height_mm: float
    sd_mm: float
    budget_mm: dict[str, float]


@dataclass(frozen=True, slots=True)
class InspectedCut:
    """One cut: target and measured height, its standard deviation, and the chance that it conforms.

    Attributes
    ----------
    measured_mm, sd_mm
        Of the edge that is further from the target, where a ``mirror`` blade has two.
    p_conform
        That the cut's true height is within the limit, on both edges where it has two.
    budget_mm
        Parts of ``sd_mm``: their squares add up to its square.
    roots
        All edges of the cut that were seen, the upper one in the picture first.
    """

    name: str
    position_mm: float
    target_mm: float
    measured_mm: float | None
    sd_mm: float | None
    p_conform: float | None
    verdict: Verdict
    budget_mm: dict[str, float] = field(default_factory=dict)
    roots: tuple[MeasuredRoot, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape of one of ``cuts``."""
        return {
            "cut": self.name,
            "position_mm": self.position_mm,
            "target_mm": self.target_mm,
            "measured_mm": self.measured_mm,
            "sd_mm": self.sd_mm,
            "p_conform": self.p_conform,
            "verdict": self.verdict,
            "budget_mm": self.budget_mm,
        }


@dataclass(frozen=True, slots=True)
class Inspection:
    """The fields of ``cut inspect``.

    Attributes
    ----------
    p_conform
        That every cut's height and the cuts' place along the blade are within their limits.
    limit_mm
        A root conforms within plus and minus this, the standard's tolerance.
    budget_mm
        Parts of a height's standard deviation, in the mean over the roots: see ``roots.PARTS``.
    shift_mm, shift_sd_mm
        By how much all cuts lie further from the datum than they should.
    shift_limit_mm
        By how much they may.
    patterns
        What went wrong in cutting, with what to adjust.
    """

    verdict: Verdict
    p_conform: float
    cuts: tuple[InspectedCut, ...]
    limit_mm: float
    risk: float
    budget_mm: dict[str, float]
    shift_mm: float
    shift_sd_mm: float
    shift_limit_mm: float
    patterns: tuple[Pattern, ...]
    fit: Fit

    @property
    def sd_mm(self) -> float:
        """Standard deviation of a height, in the mean over the roots."""
        return math.hypot(*self.budget_mm.values())

    @property
    def acceptance_mm(self) -> float:
        """Within what a cut has to measure to pass: the limit less the guard band; 0 where none can."""
        return max(0.0, self.limit_mm - get_guard_band_mm(self.sd_mm, self.risk))

    @property
    def coarse(self) -> bool:
        """Whether the picture is too coarse for the limit: next to nothing could pass by it."""
        return self.acceptance_mm < COARSE_SHARE * self.limit_mm

    @property
    def notes(self) -> tuple[str, ...]:
        """What would settle an open verdict."""
        if self.verdict != "undecided":
            return ()
        if any(cut.measured_mm is None for cut in self.cuts):
            names = join_words([cut.name for cut in self.cuts if cut.measured_mm is None])
            return (f"not all was seen: measure cut {names} with a caliper, or take the picture again",)
        if self.coarse:
            return (
                f"this picture measures to {self.sd_mm:.3f} mm (standard deviation), too coarse for a limit"
                f" of {self.limit_mm:g} mm: scan the key with a higher resolution, or use a caliper",
            )
        near = [cut.name for cut in self.cuts if cut.verdict == "undecided"]
        which = f"cut {join_words(near)} {'is' if len(near) == 1 else 'are'}" if near else "the key is"
        return (f"{which} too near to the limit for this picture: measure again with a caliper",)

    @property
    def findings(self) -> tuple[str, ...]:
        """What is wrong and what to adjust, in words."""
        return tuple(pattern.advice for pattern in self.patterns)

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape, with more keys after it."""
        return {
            "verdict": self.verdict,
            "cuts": [cut.as_dict() for cut in self.cuts],
            "p_conform": self.p_conform,
            "limit_mm": self.limit_mm,
            "acceptance_mm": self.acceptance_mm,
            "risk": self.risk,
            "budget_mm": self.budget_mm,
            "sd_mm": self.sd_mm,
            "shift_mm": self.shift_mm,
            "shift_sd_mm": self.shift_sd_mm,
            "shift_limit_mm": self.shift_limit_mm,
            "patterns": [pattern.as_dict() for pattern in self.patterns],
            "findings": list(self.findings),
            "notes": list(self.notes),
        }


def inspect_key(
    silhouette: Silhouette,
    standard: BladeStandard,
    bitting: Bitting,
    *,
    risk: float = USUAL_RISK,
    readings: Sequence[Reading] = (),
) -> Inspection:
    """Return whether a finished key has the heights it should have.

    Parameters
    ----------
    silhouette
        The outline of the finished key in mm.
    standard, bitting
        The target; every cut known.
    risk
        Share of wrong verdicts accepted, 0.0001 to 0.5. A cut passes where it conforms with a probability of
        at least ``1 - risk`` and fails at ``risk`` or less; the key passes where all of it conforms with at
        least ``1 - risk``, and fails with any cut or with its cuts' place along the blade.
    readings
        Heights of single cuts by caliper; they are weighed in with the picture's.

    Raises
    ------
    PictureError
        A track blade, whose groove does not show in its outline; a caliper that contradicts the picture.
    ValueError
        A risk outside its limits.
    """
    if standard.kind != "edge":
        raise PictureError(
            f"a track blade ({standard.id})", "an edge blade", hint="measure the groove with a gauge"
        )
    if not 0.0001 <= risk <= 0.5:
        raise ValueError(f"found a risk of {risk}, expected 0.0001 to 0.5")
    silhouette, laid = lay_finished(silhouette, standard, bitting)
    blurs = weigh_blurs(laid)
    roots = weigh_in(measure_heights(laid, blurs), standard, bitting, readings)
    cuts = tuple(_judge_cut(laid, cut, roots, risk) for cut in range(laid.rows.shape[1]))
    # The fit moves the picture onto the standard; the cuts lie the other way.
    shift = -float(laid.fits.theta[0, worn.SHIFT])
    shift_sd = math.hypot(
        math.sqrt(float(laid.fits.covariance[0, worn.SHIFT, worn.SHIFT])), _get_datum_sd_mm(silhouette, laid)
    )
    shift_limit = MOST_SHIFT_SHARE * standard.flat_mm
    p_shift = get_p_conform(shift, shift_sd, shift_limit)
    p_conform = p_shift * get_p_all_conform(roots.off_mm, roots.covariance_mm2, standard.tolerance_mm)
    fit = draw_fit(silhouette, laid)
    failed = {number for number, cut in enumerate(cuts) if cut.verdict == "fail"}
    names = {number: cut.name for number, cut in enumerate(cuts)}
    patterns = [
        *find_shift(standard, shift, shift_sd),
        *find_depth_patterns(standard, roots, names, failed),
        *find_burrs(laid, blurs),
    ]
    return Inspection(
        verdict=_judge_all(cuts, p_shift, p_conform, risk),
        p_conform=p_conform,
        cuts=cuts,
        limit_mm=standard.tolerance_mm,
        risk=risk,
        budget_mm=mean_budget_mm(roots),
        shift_mm=shift,
        shift_sd_mm=shift_sd,
        shift_limit_mm=shift_limit,
        patterns=tuple(patterns),
        fit=fit,
    )


def _get_datum_sd_mm(silhouette: Silhouette, laid: Weighed) -> float:
    """Return how well the plane is known from which the cuts' places count."""
    if laid.standard.datum == "tip":
        return math.hypot(silhouette.tip_sd_mm, DATUM_SD_MM)
    if not laid.evidence.shoulder_seen:
        return laid.evidence.place_sd_mm
    return math.hypot(silhouette.shoulder_sd_mm, DATUM_SD_MM)


def _judge_cut(laid: Weighed, cut: int, roots: Roots, risk: float) -> InspectedCut:
    standard = laid.standard
    edge, index = divmod(cut, len(standard.positions_mm))
    name, place = name_cut(standard, edge, index), standard.positions_mm[index]
    target = standard.depths_mm[laid.rows[0, cut]]
    mine = np.flatnonzero(roots.cut == cut)
    if not len(mine):
        return InspectedCut(name, place, target, None, None, None, "undecided")
    p = get_p_all_conform(roots.off_mm[mine], roots.covariance_mm2[np.ix_(mine, mine)], standard.tolerance_mm)
    seen = tuple(
        MeasuredRoot(
            float(roots.height_mm[one]),
            float(roots.sd_mm[one]),
            dict(zip(PARTS, map(float, np.sqrt(roots.parts_mm2[one])), strict=True)),
        )
        for one in mine
    )
    # A mirror blade has two edges: the one further from its target is the one to look at.
    worst = max(seen, key=lambda root: abs(root.height_mm - target))
    return InspectedCut(
        name, place, target, worst.height_mm, worst.sd_mm, p, judge(p, risk), worst.budget_mm, seen
    )


def _judge_all(cuts: Sequence[InspectedCut], p_shift: float, p_conform: float, risk: float) -> Verdict:
    if judge(p_shift, risk) == "fail" or any(cut.verdict == "fail" for cut in cuts):
        return "fail"
    if any(cut.p_conform is None for cut in cuts):
        return "undecided"
    return judge(p_conform, risk)
