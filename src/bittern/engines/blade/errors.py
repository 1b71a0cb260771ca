"""What can go wrong in the Blade engine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from bittern.core.errors import BitternError

if TYPE_CHECKING:
    from bittern.engines.blade.bitting import Violation


class BladeError(BitternError):
    """Base of the Blade engine's errors."""

    code = "blade"
    meaning = "Something about a blade is wrong."


class BittingError(BladeError):
    """A bitting that cannot be read, or one that the standard's rules forbid; carries every violation."""

    code = "blade.bitting"
    meaning = "The bitting is not written in the standard's labels, or the standard's rules forbid it."

    def __init__(self, violations: Sequence[Violation], *, where: str = "bitting", hint: str = "") -> None:
        self.violations = tuple(violations)
        first = self.violations[0]
        more = len(self.violations) - 1
        super().__init__(
            first.found + (f" (and {more} more)" if more else ""), first.expected, where=where, hint=hint
        )

    def as_dict(self) -> dict[str, object]:
        """Return the error with its list of violations."""
        return {**super().as_dict(), "violations": [violation.as_dict() for violation in self.violations]}


class UnknownCutError(BladeError):
    """A shape was asked of a bitting that still has unknown cuts."""

    code = "blade.unknown-cut"
    meaning = "A blade whose cuts are not all known has no outline, chart or cutting list."


class StepError(BladeError):
    """A sampling step that is too fine, too coarse in number of points, or no length at all."""

    code = "blade.step"
    meaning = "The step between points of a contour is below 0.001 mm or asks for too many points."


class ReadingError(BladeError):
    """A caliper reading that belongs to no cut, or two that belong to the same."""

    code = "blade.reading"
    meaning = "A caliper reading cannot be given to exactly one cut of the standard."


class LadderError(BladeError):
    """Ladders asked of a blade that cannot be cut deeper, or with weights that are none."""

    code = "blade.ladder"
    meaning = "Ladders need an edge blade, and weights above 0 for whole bittings of its standard."


class PictureError(BladeError):
    """A picture of a key that cannot be measured: no key, two, cut off, blurred, or no card."""

    code = "blade.picture"
    meaning = "The picture shows no key that can be measured; it says why and what to do."


class CardError(PictureError):
    """The measuring card is not seen well enough."""

    code = "blade.card"
    meaning = "The measuring card in the photo is missing, cut off, bent, too small or blurred."
