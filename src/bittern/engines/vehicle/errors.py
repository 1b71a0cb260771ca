"""What can go wrong with a vehicle number before any rule is tried."""

from __future__ import annotations

from bittern.core.errors import InputError


class VehicleError(InputError):
    """Base of what the vehicle engine refuses to read."""

    code = "vehicle"
    meaning = "What was given about the vehicle cannot be read."


class NotANumberError(VehicleError):
    """The text cannot be a vehicle number at all: empty, or far too long."""

    code = "vehicle.not-a-number"
    meaning = "The text cannot be a vehicle identification number: it is empty or far too long."
