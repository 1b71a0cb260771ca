"""A finished key against its target: heights with their doubt, a verdict by a guard band, what to adjust."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.core.phrases import join_words
from bittern.engines.blade import worn
from bittern.engines.blade.bitting import Bitting, name_cut
from bittern.engines.blade.errors import PictureError
from bittern.engines.blade.known import lay_over
from bittern.engines.blade.measurement import Fit
from bittern.engines.blade.reporting import draw_fit, measure_roots
from bittern.engines.blade.silhouette import Silhouette, turn_over
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.weighed import Weighed
from bittern.engines.cutting.conformity import USUAL_RISK, Verdict, get_p_conform, judge

Floats = NDArray[np.float64]

SURE: Final = 2.0
"""Standard deviations beyond which an adjustment is advised."""
BURR_MM: Final = 0.08
"""What stands out of the outline by more over a short stretch is a burr or a chip (judgement)."""
MOST_SHIFT_SHARE: Final = 0.25
"""A key whose cuts all lie off by more than this part of their flat fails, whatever its heights."""
FIT_SD_MM: Final = 0.003
"""Roots are not perfectly flat and the outline finder not perfectly straight: added to each height."""


@dataclass(frozen=True, slots=True)
class InspectedCut:
    """One cut: target and measured height, its standard deviation, and the chance that it conforms."""

    name: str
    position_mm: float
    target_mm: float
    measured_mm: float | None
    sd_mm: float | None
    p_conform: float | None
    verdict: Verdict

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
        }


@dataclass(frozen=True, slots=True)
class Inspection:
    """The fields of ``cut inspect``.

    Attributes
    ----------
    limit_mm
        A root conforms within plus and minus this, the standard's tolerance.
    budget_mm
        Parts of a height's standard deviation, in the mean over the cuts: scale, edge, line, picture.
    shift_mm, shift_sd_mm
        By how much all cuts lie further from the datum than they should.
    findings
        What is wrong and what to adjust, in words.
    """

    verdict: Verdict
    cuts: tuple[InspectedCut, ...]
    limit_mm: float
    risk: float
    budget_mm: dict[str, float]
    shift_mm: float
    shift_sd_mm: float
    findings: tuple[str, ...]
    fit: Fit

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape, with more keys after it."""
        return {
            "verdict": self.verdict,
            "cuts": [cut.as_dict() for cut in self.cuts],
            "limit_mm": self.limit_mm,
            "risk": self.risk,
            "budget_mm": self.budget_mm,
            "shift_mm": self.shift_mm,
            "shift_sd_mm": self.shift_sd_mm,
            "findings": list(self.findings),
        }


def inspect_key(
    silhouette: Silhouette, standard: BladeStandard, bitting: Bitting, *, risk: float = USUAL_RISK
) -> Inspection:
    """Return whether a finished key has the heights it should have.

    Parameters
    ----------
    silhouette
        The outline of the finished key in mm.
    standard, bitting
        The target; every cut known.
    risk
        Share of wrong verdicts accepted, 0.0001 to 0.5: pass needs a probability of conformity of at least
        ``1 - risk`` at every cut, fail one of at most ``risk`` at some cut.

    Raises
    ------
    PictureError
        A track blade, whose groove does not show in its outline.
    ValueError
        A risk outside its limits.
    """
    if standard.kind != "edge":
        raise PictureError(
            f"a track blade ({standard.id})", "an edge blade", hint="measure the groove with a gauge"
        )
    if not 0.0001 <= risk <= 0.5:
        raise ValueError(f"found a risk of {risk}, expected 0.0001 to 0.5")
    laid = lay_over(silhouette, standard, bitting)
    if standard.sides == "split":
        # Which face is up is not known, and the target tells: the way that fits better is the way it lies.
        other = lay_over(turn_over(silhouette), standard, bitting)
        if other.log_evidence[0] > laid.log_evidence[0]:
            silhouette, laid = turn_over(silhouette), other
    heights = measure_roots(laid)
    cuts = tuple(_judge_cut(laid, cut, heights.get(cut, []), risk) for cut in range(laid.rows.shape[1]))
    # The fit moves the picture onto the standard; the cuts lie the other way.
    shift = -float(laid.fits.theta[0, worn.SHIFT])
    # The shift is fitted against the datum's own plane, whose place is known no better than this.
    shift_sd = math.hypot(
        math.sqrt(float(laid.fits.covariance[0, worn.SHIFT, worn.SHIFT])), laid.evidence.place_sd_mm
    )
    fit = draw_fit(silhouette, laid)
    findings = _find_pattern(standard, cuts, shift, shift_sd) + _find_burrs(standard, fit)
    return Inspection(
        verdict=_judge_all(standard, cuts, shift, shift_sd),
        cuts=cuts,
        limit_mm=standard.tolerance_mm,
        risk=risk,
        budget_mm=_list_budget(laid, cuts),
        shift_mm=shift,
        shift_sd_mm=shift_sd,
        findings=tuple(findings),
        fit=fit,
    )


def _judge_cut(laid: Weighed, cut: int, found: Sequence[tuple[float, float]], risk: float) -> InspectedCut:
    standard = laid.standard
    edge, index = divmod(cut, len(standard.positions_mm))
    name, place = name_cut(standard, edge, index), standard.positions_mm[index]
    target = standard.depths_mm[laid.rows[0, cut]]
    if not found:
        return InspectedCut(name, place, target, None, None, None, "undecided")
    # A mirror blade has two edges: the one further from its target is the one that counts.
    values = [(height, math.hypot(sd, FIT_SD_MM)) for height, sd in found]
    height, sd = max(values, key=lambda pair: abs(pair[0] - target))
    p = get_p_conform(height - target, sd, standard.tolerance_mm)
    return InspectedCut(name, place, target, height, sd, p, judge(p, risk))


def _judge_all(
    standard: BladeStandard, cuts: Sequence[InspectedCut], shift: float, shift_sd: float
) -> Verdict:
    verdicts = {cut.verdict for cut in cuts}
    if abs(shift) - SURE * shift_sd > MOST_SHIFT_SHARE * standard.flat_mm or "fail" in verdicts:
        return "fail"
    return "undecided" if "undecided" in verdicts else "pass"


def _find_pattern(
    standard: BladeStandard, cuts: Sequence[InspectedCut], shift: float, shift_sd: float
) -> list[str]:
    """Return what all cuts have in common, and what to adjust."""
    said = []
    if abs(shift) > SURE * shift_sd + 0.03:
        where = "far from" if shift > 0 else "near to"
        said.append(
            f"all cuts lie {abs(shift):.2f} mm too {where} the {standard.datum}: the key was not against its"
            " stop, or the datum is set wrongly"
        )
    seen = [(cut.position_mm, cut.measured_mm - cut.target_mm, cut.sd_mm) for cut in cuts
            if cut.measured_mm is not None and cut.sd_mm is not None]  # fmt: skip
    if len(seen) < 3:
        return said
    places, off, sds = (np.array(column) for column in zip(*seen, strict=True))
    # Medians of all slopes and of what is left: one wrong cut is no pattern (Theil 1950; Sen 1968).
    one, other = np.triu_indices(len(places), 1)
    apart = places[other] - places[one]
    slope = float(np.median((off[other] - off[one])[apart != 0] / apart[apart != 0]))
    level = float(np.median(off - slope * (places - places.mean())))
    left = off - level - slope * (places - places.mean())
    rest = 1.48 * float(np.median(np.abs(left)))
    tapered = slope * float(np.ptp(places))
    # What all cuts share is as sure as one of them; how they differ is surer.
    if abs(tapered) > max(4 * rest / math.sqrt(len(off)) * 1.8, 0.04):
        deeper = "tip" if (slope < 0) == (standard.datum == "shoulder") else "bow"
        said.append(
            f"cuts grow deeper toward the {deeper}, by {abs(tapered):.2f} mm over the blade: the key lay"
            " askew in its clamp"
        )
    elif abs(level) > SURE * float(sds.mean()) and abs(level) > 2 * rest:
        way, adjust = ("shallow", "deeper") if level > 0 else ("deep", "shallower")
        said.append(
            f"all cuts are {abs(level):.2f} mm too {way}: set the cutter {abs(level):.2f} mm {adjust},"
            " or check the blank"
        )
    else:
        said += [
            f"cut {cut.name} is {abs(cut.measured_mm - cut.target_mm):.2f} mm too"
            f" {'shallow' if cut.measured_mm > cut.target_mm else 'deep'}"
            for cut in cuts
            if cut.verdict == "fail" and cut.measured_mm is not None
        ]
    return said


def _find_burrs(standard: BladeStandard, fit: Fit) -> list[str]:
    """Return where the outline stands out over less than half a millimetre."""
    named: list[str] = []
    for trace in fit.traces:
        over = trace.measured_mm - trace.ideal_mm
        over = over - np.median(over)
        high = over > BURR_MM
        for start, stop in _list_runs(high):
            wide = float(trace.x_mm[stop - 1] - trace.x_mm[start])
            if wide < 0.5:
                named.append(f"{float(trace.x_mm[start:stop].mean()):.1f} mm")
    if not named:
        return []
    return [
        f"something stands out {join_words(named[:4])} from the {standard.datum}: a burr or a chip; brush the"
        " key and look again"
    ]


def _list_runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [(int(start), int(stop)) for start, stop in zip(edges[::2], edges[1::2], strict=True)]


def _list_budget(laid: Weighed, cuts: Sequence[InspectedCut]) -> dict[str, float]:
    """Return the parts of a height's standard deviation in mm, each alone."""
    sd = np.sqrt(np.diag(laid.fits.covariance[0]))
    target = float(np.mean([cut.target_mm for cut in cuts]))
    edges = 2.0 if laid.standard.sides == "single" else 1.0
    return {
        "scale": float(sd[worn.SCALE]) * target,
        "edge": float(sd[worn.BIAS]) * edges,
        "line": float(sd[worn.OFFSET]),
        "picture": FIT_SD_MM,
    }
