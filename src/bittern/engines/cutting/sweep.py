"""What a cutter leaves of a blade when it moves along a program as written, and what it meets on its way."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.errors import CutterError
from bittern.engines.cutting.fitting import fits_standard
from bittern.engines.cutting.forms import get_form
from bittern.engines.cutting.judging import Finding, judge
from bittern.engines.cutting.measuring import measure_errors
from bittern.engines.cutting.metal import find_islands, lay_metal
from bittern.engines.cutting.motion import Motion
from bittern.engines.cutting.slabs import cut_into_slabs
from bittern.engines.cutting.strokes import Floats, list_strokes
from bittern.engines.cutting.target import get_target
from bittern.engines.cutting.walls import measure_groove


@dataclass(frozen=True, slots=True)
class SweepResult:
    """What a program leaves, and what is to be said about it (formats.md, "A cutting program's frame").

    Attributes
    ----------
    root_error_mm
        Largest difference between outline and depth at the cuts' positions.
    worst_error_mm
        Largest difference between outline and ideal along h at the same x, from 0 to the blade's length.
    gouge_mm
        Most metal taken below the ideal, through or only part of the thickness deep; 0 without any.
    uncut_mm
        Most metal left above the ideal.
    unreachable_mm
        How much of that this cutter could not have reached.
    within
        Root error at most half the standard's tolerance and gouge at most 0.01 mm.
    roots_mm
        Height left at each cut's position, in the order of the positions.
    x_mm, left_mm, ideal_mm
        The outline left beside the ideal one, columns from 0 to the blade's length.
    findings
        What else was seen; see :class:`~bittern.engines.cutting.judging.Finding`.
    walls_mm, depth_mm
        Of a track's groove: its lower and upper wall at ``x_mm`` (infinite where there is none) and how deep
        it is at most; ``left_mm`` is its centre line, NaN where there is none.
    """

    root_error_mm: float
    worst_error_mm: float
    gouge_mm: float
    uncut_mm: float
    unreachable_mm: float
    within: bool
    roots_mm: tuple[float, ...]
    x_mm: Floats
    left_mm: Floats
    ideal_mm: Floats
    findings: tuple[Finding, ...]
    walls_mm: tuple[Floats, Floats] | None = None
    depth_mm: float | None = None

    @property
    def good(self) -> bool:
        """Whether the key comes out within tolerance and nothing spoils key, cutter or machine."""
        return self.within and not any(finding.spoils for finding in self.findings)

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape of ``cut check``."""
        return {
            "worst_error_mm": self.worst_error_mm,
            "root_error_mm": self.root_error_mm,
            "gouge_mm": self.gouge_mm,
            "within": self.within,
            "good": self.good,
            "uncut_mm": self.uncut_mm,
            "unreachable_mm": self.unreachable_mm,
            "roots_mm": list(self.roots_mm),
            **({} if self.depth_mm is None else {"groove_depth_mm": self.depth_mm}),
            "findings": [finding.as_dict() for finding in self.findings],
        }


def sweep(
    motion: Motion, standard: BladeStandard, bitting: Bitting, cutter: Cutter, *, edge: int = 0
) -> SweepResult:
    """Return what ``cutter`` leaves of a blank when it moves along a program, measured against the bitting.

    Parameters
    ----------
    motion
        The program as read.
    standard, bitting
        A sound standard and a complete bitting of it: the target.
    cutter
        A sound one.
    edge
        On a split blade 0 for A and 1 for B.

    Raises
    ------
    CutterError
        A wheel for a track.
    SweepError
        The program is too long.
    UnknownCutError
        A cut of that edge is unknown.

    Notes
    -----
    The blank is a rectangle from the datum to its length, up to the uncut edge, without a run-in at the tip.
    A wheel takes what lies above its form, whatever n is. An end mill takes its disc where n < 0, and is
    through where n is at most minus the thickness: the outline left is what is cut through, the gouge counts
    metal taken at any depth. At every column the heights that a stroke removes are computed in closed form
    (:mod:`.forms`), so nothing is stepped along the path. Between the columns (0.01 mm) the largest errors
    are sought ever closer, to about 1e-5 mm; at the roots they are exact. Rapid moves count like any other:
    what they hit is gone too.

    What the sweep cannot see: deflection, run-out, chatter, burrs, a key that shifts; the wheel's body
    beside its form; the clamp beyond the bow.
    """
    track = standard.kind == "track"
    if track and cutter.kind == "wheel":
        raise CutterError(cutter.id, fits_standard(cutter, standard))
    form, target = get_form(cutter), get_target(standard, bitting, edge)
    metal = lay_metal(form, cut_into_slabs(list_strokes(motion), cutter, target.depth_mm), target)
    metal.take_all(motion)
    islands = [] if track else find_islands(metal, bow_first=target.from_bow)
    errors = measure_groove(metal, target) if track else measure_errors(metal, target, islands)
    unreachable, findings = judge(motion, cutter, target, metal, errors, islands)
    return SweepResult(
        errors.root_error_mm,
        errors.worst_error_mm,
        errors.gouge_mm,
        errors.uncut_mm,
        unreachable,
        errors.is_within(standard.tolerance_mm),
        tuple(float(root) for root in errors.roots_mm),
        errors.x_mm,
        errors.left_mm,
        errors.ideal_mm,
        findings,
        errors.walls_mm,
        errors.depth_mm,
    )
