"""Errors of the Cutting engine."""

from __future__ import annotations

from collections.abc import Sequence

from bittern.core.errors import BitternError


class CuttingError(BitternError):
    """Base of the Cutting engine's errors."""

    code = "cutting"
    meaning = "Something about cutting a blade is wrong."


class CutterError(CuttingError):
    """A cutter that cannot make the blade; carries every reason."""

    code = "cutting.cutter"
    meaning = "The cutter cannot make blades of the standard: its form, its size or the blade's shoulder."

    def __init__(self, cutter: str, reasons: Sequence[str], *, expected: str = "a cutter that fits") -> None:
        self.reasons = tuple(reasons)
        super().__init__(f"cutter {cutter}: {'; '.join(reasons)}", expected, where="tool")


class TravelError(CuttingError):
    """A program that would leave the machine's travel."""

    code = "cutting.travel"
    meaning = "The program needs a place beyond the machine's travel as its profile gives it."


class SweepError(CuttingError):
    """A program that cannot be swept."""

    code = "cutting.sweep"
    meaning = "The program is too long to be swept, or has an arc that no key needs."
