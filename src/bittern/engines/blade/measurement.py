"""What a reading says: a bitting, how sure each cut is, what else it could be, what to measure again."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CutEstimate:
    """What is known of one cut; ``label`` is ``?`` where there is no usable reading.

    ``depth_mm`` is the height at the cut's centre as the key is now, ``distance_mm`` how far that is from the
    nearest depth; the factory's height follows from the label.
    """

    name: str
    label: str
    probability: float
    depth_mm: float | None
    sd_mm: float | None
    distance_mm: float | None
    by_label: dict[str, float]
    doubt: str = ""

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape of one of ``cuts``."""
        return {
            "cut": self.name,
            "label": self.label,
            "probability": self.probability,
            "depth_mm": self.depth_mm,
            "sd_mm": self.sd_mm,
            "distance_mm": self.distance_mm,
            "by_label": self.by_label,
        }


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One measured edge in the blade's own frame beside the ideal outline of the bitting.

    Attributes
    ----------
    edge
        0 for the upper edge (A), 1 for the lower edge of a ``mirror`` or ``split`` blade (B).
    x_mm, measured_mm, sd_mm, ideal_mm
        Each of shape (n,). Heights count as the standard's depths do (edge B away from the centre line, so
        positive too); NaN where nothing was seen.
    """

    edge: int
    x_mm: Floats
    measured_mm: Floats
    sd_mm: Floats
    ideal_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """How the blade lies in the picture that was read, and how well the bitting explains it.

    Attributes
    ----------
    to_picture
        Shape (2, 3): the affine map from (x_mm, height_mm) of the blade (heights signed: edge B is negative)
        to (column, row) of the flat picture, in pixels, (0, 0) the middle of the upper left pixel.
    traces
        The edges that carry cuts.
    residual_mm
        Root mean square of measured minus explained, wear included.
    """

    to_picture: Floats
    traces: tuple[Trace, ...]
    residual_mm: float


@dataclass(frozen=True, slots=True)
class Measurement:
    """A bitting from readings: the fields of ``blade read`` and ``blade measure``.

    Attributes
    ----------
    probability
        That the whole bitting is right and the blade of this standard.
    runners_up
        Next best bittings as (bitting, probability, allowed by the rules); of another standard where the
        text begins with its id and a colon.
    problems
        What is wrong or in doubt, in words; empty means: believe it.
    p_none
        That the blade is of none of the standards asked about.
    by_standard
        Probability of each standard that competed.
    wear_mm
        Mean loss of height over the cuts' roots since the factory; None where it was not estimated.
    assumed
        What was taken for granted, in words (which edge is A, which scale).
    fit
        For drawing; None for caliper readings.
    """

    standard: str
    bitting: str
    probability: float
    cuts: tuple[CutEstimate, ...]
    runners_up: tuple[tuple[str, float, bool], ...]
    allowed: bool
    problems: tuple[str, ...]
    p_none: float = 0.0
    by_standard: dict[str, float] = field(default_factory=dict)
    wear_mm: float | None = None
    wear_sd_mm: float | None = None
    assumed: tuple[str, ...] = ()
    fit: Fit | None = None

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape, with more keys after it."""
        return {
            "standard": self.standard,
            "bitting": self.bitting,
            "probability": self.probability,
            "cuts": [cut.as_dict() for cut in self.cuts],
            "runners_up": [
                {"bitting": bitting, "probability": probability, "allowed": allowed}
                for bitting, probability, allowed in self.runners_up
            ],
            "allowed": self.allowed,
            "problems": list(self.problems),
            "p_none": self.p_none,
            "by_standard": self.by_standard,
            "wear_mm": self.wear_mm,
            "wear_sd_mm": self.wear_sd_mm,
            "assumed": list(self.assumed),
        }
