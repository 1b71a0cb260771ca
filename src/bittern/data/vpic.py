"""The public vPIC data of the US road-safety authority, offline, through the library ultravin.

This is the only module that knows the library. The data are what makers report for vehicles sold in the
United States; for others they hold the maker, often the plant, and little else.

The library resolves years with the system's clock (no number is decoded to a year more than two ahead);
``now`` freezes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from types import MappingProxyType
from typing import Any

from bittern.data.errors import VpicMissingError

# Error codes of the vPIC decoding procedure, as the data's own texts describe them.
CODE_CLEAN = 0
CODES_DOES_NOT_FIT = frozenset({2, 3, 4, 5, 14})
CODE_MAKER_UNKNOWN = 7

# Reports about the decoding rather than about the vehicle, and what stands in the result's own fields.
_NOT_ATTRIBUTES = frozenset(
    {
        "Suggested VIN", "Error Code", "Possible Values", "Additional Error Text", "Error Text",
        "Vehicle Descriptor", "Make", "Model", "Model Year",
    }
)  # fmt: skip
_SAYS_NOTHING = ("", "Not Applicable")
_HEAVIEST_LIGHT_CLASS = 2  # class 2 ends at 10,000 lb (4,536 kg)


@dataclass(frozen=True, slots=True)
class VpicAnswer:
    """What the data say about one number, taken for one model year.

    Attributes
    ----------
    maker
        The registered manufacturer; None where the identifier is not in the data.
    make, model, model_year
        None where the data are silent.
    light
        True for a passenger car, or a multipurpose vehicle or truck of at most 10,000 lb gross weight
        rating; False for any other; None where the data do not tell.
    attributes
        Everything else the data say, by the data's own names; several values as a tuple.
    codes
        The procedure's codes; 0 is clean.
    possible
        Positions that do not fit what the maker reported, with the characters that would.
    """

    maker: str | None
    make: str | None
    model: str | None
    model_year: int | None
    light: bool | None
    attributes: Mapping[str, str | tuple[str, ...]] = field(default_factory=dict)
    codes: tuple[int, ...] = ()
    possible: str = ""

    @property
    def fits(self) -> bool:
        """Whether every character is one that the maker reported."""
        return self.maker is not None and not CODES_DOES_NOT_FIT.intersection(self.codes)


def look_up(vin: str, *, year: int | None = None, now: datetime | None = None) -> VpicAnswer:
    """Return what the data say about ``vin``.

    Parameters
    ----------
    vin
        17 characters of the alphabet of vehicle numbers.
    year
        A model year to try as well; it wins where the data fit it at least as well.
    now
        The instant whose data and years hold; the present without it.
    """
    raw = _library().decode(vin, year=year, now=now)
    found: dict[str, Any] = raw["attributes"]
    codes = tuple(raw["error_codes"])
    attributes = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in found.items()
        if name not in _NOT_ATTRIBUTES and value and value not in _SAYS_NOTHING
    }
    return VpicAnswer(
        maker=None if CODE_MAKER_UNKNOWN in codes else found.get("Manufacturer Name") or None,
        make=found.get("Make") or None,
        model=found.get("Model") or None,
        model_year=raw["model_year"],
        light=_is_light(found.get("Vehicle Type", ""), found.get("Gross Vehicle Weight Rating From", "")),
        attributes=MappingProxyType(attributes),
        codes=codes,
        possible=found.get("Possible Values", ""),
    )


def fitting(vins: Iterable[str], *, now: datetime | None = None) -> frozenset[str]:
    """Return those of ``vins`` of which every character is one that the maker reported."""
    numbers = list(vins)
    return frozenset(
        vin
        for vin, raw in zip(numbers, _library().decode_batch(numbers, now=now), strict=True)
        if not CODES_DOES_NOT_FIT.intersection(raw["error_codes"])
        and CODE_MAKER_UNKNOWN not in raw["error_codes"]
    )


@cache
def known_wmis() -> frozenset[str]:
    """Return every maker's identifier in the data: three characters, six for low-volume makers."""
    return frozenset(vin[:3] + (vin[11:14] if vin[2] == "9" else "") for vin in _library().sweep(["wmi"]))


def knows_wmi(wmi: str) -> bool:
    """Say whether a maker stands behind ``wmi``, three characters or a low-volume maker's six.

    >>> knows_wmi("1M8"), knows_wmi("00X")
    (True, False)
    """
    return wmi.upper() in known_wmis()


def data_month() -> str:
    """Return the month of the data, e.g. ``2026-10``."""
    return str(_library().provenance()["data_month"]).replace("_", "-")


def _is_light(vehicle_type: str, weight: str) -> bool | None:
    if vehicle_type == "PASSENGER CAR":
        return True
    if vehicle_type in ("TRUCK", "MULTIPURPOSE PASSENGER VEHICLE (MPV)"):
        number = weight.removeprefix("Class ")[:1]
        return int(number) <= _HEAVIEST_LIGHT_CLASS if number.isdecimal() else None
    return False if vehicle_type else None


@cache
def _library() -> Any:
    # Imported late: the data weigh 95 MB and most commands do not need them.
    try:
        import ultravin
    except ImportError as error:
        raise VpicMissingError(
            f"no library for vPIC ({error})", "the package ultravin", hint="run `make setup`"
        ) from error
    return ultravin
