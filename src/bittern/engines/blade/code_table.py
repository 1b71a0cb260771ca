"""A code table: the bittings that a maker used for a series, with how often; never the codes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bittern.engines.blade.bitting import Bitting


@dataclass(frozen=True, slots=True)
class CodeTable:
    """What is left of a maker's list once its codes are forgotten.

    Attributes
    ----------
    standard
        Id of the blade standard whose bittings these are.
    weights
        How likely each bitting is, above 0 and in any unit; a bitting that is not in it was never used.
    rows
        Rows of the list; one bitting may stand in several.
    """

    standard: str
    weights: Mapping[Bitting, float]
    rows: int
