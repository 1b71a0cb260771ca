"""What a pack says about vehicle numbers: the make and model behind a number's first eight characters."""

from __future__ import annotations

from dataclasses import dataclass

ANY = "*"
"""In ``vds``: any character."""


@dataclass(frozen=True, slots=True)
class NumberPattern:
    """One row of a pack's ``numbers.csv``.

    Attributes
    ----------
    wmi
        World manufacturer identifier, positions 1 to 3; six characters for a low-volume maker, whose third
        is 9 and whose last three are the number's positions 12 to 14 (49 CFR 565.15(a)).
    vds
        Positions 4 to 8, five characters; ``*`` stands for any character.
    make, model
        As the pack's fitments write them.
    trim
        Empty where the row does not tell.
    start
        ``turn``, ``push``, or empty where the row does not tell.
    """

    wmi: str
    vds: str
    make: str
    model: str
    trim: str = ""
    start: str = ""

    @property
    def fixed(self) -> int:
        """How many characters the row fixes; the more, the more specific it is.

        >>> NumberPattern("ZZ1", "AB***", "Heron", "Marsh").fixed
        5
        """
        return len(self.wmi) + sum(character != ANY for character in self.vds)

    def matches(self, vin: str) -> bool:
        """Say whether the 17 characters of ``vin`` fit the row.

        >>> NumberPattern("ZZ1", "AB***", "Heron", "Marsh").matches("ZZ1AB0000H0000001")
        True
        """
        wmi = vin[:3] if len(self.wmi) == 3 else vin[:3] + vin[11:14]
        return wmi == self.wmi and all(
            wanted in (ANY, found) for wanted, found in zip(self.vds, vin[3:8], strict=True)
        )
