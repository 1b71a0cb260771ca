"""The one tree of errors.

Every error says what was found, what was expected, where, and what to do next. The same error is one line on
the command line, one JSON object, and one sentence beside a field on the screen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

FAULTS_SHOWN = 5
"""Faults named in an error's one line; the error itself carries them all."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in data that somebody gave us.

    Attributes
    ----------
    where
        Row, key, field or step inside the file or form.
    found
        What stands there, shortened for display.
    expected
        What should have stood there.
    file
        Path relative to the pack or the file's name; empty for a form.
    """

    where: str
    found: str
    expected: str
    file: str = ""

    def as_dict(self) -> dict[str, str]:
        """Return the fixed JSON shape ``file, where, found, expected``."""
        return {"file": self.file, "where": self.where, "found": self.found, "expected": self.expected}

    def __str__(self) -> str:
        place = f"{self.file}: {self.where}" if self.file else self.where
        return f"{place}: found {self.found}, expected {self.expected}"


class BitternError(Exception):
    """Base of every error that Bittern raises on purpose.

    Parameters
    ----------
    found, expected
        What stood there and what should have.
    where
        File, row, field, step or cut; empty when there is only one place it can be.
    hint
        The next action that mends it.
    """

    code: ClassVar[str] = "bittern"
    meaning: ClassVar[str] = "Something in Bittern went wrong."

    def __init__(self, found: str, expected: str, *, where: str = "", hint: str = "") -> None:
        super().__init__(found)
        self.found = found
        self.expected = expected
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        """Return the error as one line."""
        line = f"{self.where}: " if self.where else ""
        line += f"found {self.found}, expected {self.expected}"
        if self.hint:
            line += f" ({self.hint})"
        return " ".join(line.split())

    def as_dict(self) -> dict[str, object]:
        """Return the error as the one JSON shape used by the command line and the bench."""
        return {
            "code": self.code,
            "where": self.where,
            "found": self.found,
            "expected": self.expected,
            "hint": self.hint,
        }


class InputError(BitternError):
    """Input that cannot be read at all: exit code 2 on the command line."""

    code = "input"
    meaning = "The input cannot be read: a missing file, a wrong type, a size beyond the limit, a bad option."


class FaultsError(BitternError):
    """Readable input whose content is wrong; carries every fault, not just the first."""

    code = "faults"
    meaning = "The content was read and breaks the rules of its format; every fault is listed."

    def __init__(self, faults: Sequence[Fault], *, where: str = "", hint: str = "") -> None:
        self.faults = tuple(faults)
        first = self.faults[0]
        more = f" and {len(self.faults) - 1} more faults" if len(self.faults) > 1 else ""
        super().__init__(
            f"{first.found} at {first.file + ': ' if first.file else ''}{first.where}{more}",
            first.expected,
            where=where,
            hint=hint,
        )

    def __str__(self) -> str:
        """Return the first faults as one line, and how many more there are."""
        line = "; ".join(str(fault) for fault in self.faults[:FAULTS_SHOWN])
        if len(self.faults) > FAULTS_SHOWN:
            line += f"; and {len(self.faults) - FAULTS_SHOWN} more"
        if self.hint:
            line += f" ({self.hint})"
        return " ".join((f"{self.where}: " if self.where else "").split() + line.split())

    def as_dict(self) -> dict[str, object]:
        """Return the error with its list of faults."""
        return {**super().as_dict(), "faults": [fault.as_dict() for fault in self.faults]}


def shorten(value: object, limit: int = 60) -> str:
    """Return ``value`` quoted for an error message, on one line, at most ``limit`` characters of it.

    >>> shorten("abc")
    "'abc'"
    """
    text = repr(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"
