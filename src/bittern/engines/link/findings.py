"""What was read of a vehicle: the number on board and the supply voltage, unit by unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from bittern.engines.link.exchange import UnitFault


@dataclass(frozen=True, slots=True)
class Findings:
    """What the units said.

    Attributes
    ----------
    bits
        Length of the identifiers that the vehicle answers to: 11 or 29.
    units
        Names of the units that answered, by the identifier of their answers.
    numbers
        The number on board by unit, as it was sent.
    volts
        The supply voltage in volts by unit.
    faults
        What went wrong, refusals too.
    """

    bits: int
    units: tuple[str, ...] = ()
    numbers: Mapping[str, str] = field(default_factory=dict)
    volts: Mapping[str, float] = field(default_factory=dict)
    faults: tuple[UnitFault, ...] = ()

    @property
    def number(self) -> str | None:
        """The number on board; None where no unit gave one, or two units gave different ones."""
        different = set(self.numbers.values())
        return next(iter(different)) if len(different) == 1 else None

    @property
    def supply_volts(self) -> float | None:
        """The lowest of the voltages that the units measured, in volts; None where none did."""
        return min(self.volts.values(), default=None)

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        return {
            "bits": self.bits,
            "units": list(self.units),
            "number": self.number,
            "numbers": dict(self.numbers),
            "supply_v": self.supply_volts,
            "volts": dict(self.volts),
            "faults": [{"unit": fault.unit, "found": fault.found} for fault in self.faults],
        }
