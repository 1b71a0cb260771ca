"""Observations files: what is known about one vehicle and its key, as JSON."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from bittern.core.errors import Fault, InputError, shorten
from bittern.engines.key.catalogue import STARTS
from bittern.engines.key.errors import ObservationError
from bittern.engines.key.evidence import HOWS, KINDS, Observation, Value, Vehicle, check_observation
from bittern.formats.texts import read_text

MOST_OBSERVATIONS = 200
"""More than anyone can make on one key."""
LONGEST_TEXT = 100
"""Longest text of a value, in characters."""
YEARS = (1900, 2100)
_LONE_HALF = re.compile("[\ud800-\udfff]")


class ObservationsError(InputError):
    """An observations file whose content cannot be used; carries every fault."""

    code = "input.observations"
    meaning = (
        "An observations file has unknown kinds, wrong types or values out of range; every fault is listed."
    )

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        first = self.faults[0]
        more = f" (and {len(self.faults) - 1} more faults)" if len(self.faults) > 1 else ""
        place = f"{first.file}: {first.where}" if first.file else first.where
        super().__init__(first.found, first.expected + more, where=place)

    def as_dict(self) -> dict[str, object]:
        """Return the error with its list of faults."""
        return {**super().as_dict(), "faults": [fault.as_dict() for fault in self.faults]}


@dataclass(frozen=True, slots=True)
class CaseFile:
    """The content of an observations file."""

    vehicle: Vehicle
    observations: tuple[Observation, ...]


def read_observations(path: Path) -> CaseFile:
    """Return the content of an observations file.

    Raises
    ------
    InputError
        Not there, too large, binary, or not JSON.
    ObservationsError
        JSON, but not observations; every fault is listed.
    """
    return parse_observations(read_text(path), file=path.name)


def parse_observations(text: str, *, file: str = "") -> CaseFile:
    """Return the observations written in ``text``; errors as :func:`read_observations`."""
    faults: list[Fault] = []

    def refuse(constant: str) -> object:
        raise ValueError(f"{constant} is not a JSON number")

    def pairs(members: list[tuple[str, object]]) -> dict[str, object]:
        found = dict(members)
        if len(found) < len(members):
            names = [name for name, _ in members]
            twice = sorted({name for name in names if names.count(name) > 1})
            faults.append(Fault(", ".join(twice), "the same key twice", "each key once", file))
        return found

    try:
        data = json.loads(text, parse_constant=refuse, object_pairs_hook=pairs)
    except (ValueError, RecursionError) as error:
        raise InputError(f"text that is not JSON ({error})", "one JSON object", where=file) from error
    case = _read_case(data, faults)
    if faults:
        raise ObservationsError([Fault(f.where, f.found, f.expected, file) for f in faults])
    return case


def format_observations(case: CaseFile) -> str:
    """Return the text of an observations file; reading it gives the same content."""
    vehicle: dict[str, object] = {
        key: value
        for key, value in (
            ("vin", case.vehicle.vin),
            ("make", case.vehicle.make),
            ("model", case.vehicle.model),
            ("year", case.vehicle.year),
            ("year_sure", case.vehicle.year_sure or None),
            ("start", case.vehicle.start),
        )
        if value not in ("", None)
    }
    observations = [
        {"kind": one.kind, "value": one.value, "how": one.how} | ({} if one.sd is None else {"sd": one.sd})
        for one in case.observations
    ]
    content = {"vehicle": vehicle, "observations": observations}
    return json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def write_observations(case: CaseFile, path: Path) -> None:
    """Write an observations file."""
    path.write_text(format_observations(case), encoding="utf-8", newline="\n")


def parse_observation(member: object, where: str, faults: list[Fault]) -> Observation | None:
    """Return one observation from its JSON object or a form's fields, or None after adding its faults."""
    before = len(faults)
    if not isinstance(member, Mapping):
        faults.append(Fault(where, shorten(member), "an object with kind, value and how"))
        return None
    kind, how, sd = member.get("kind"), member.get("how"), member.get("sd")
    if not isinstance(kind, str) or kind not in KINDS:
        faults.append(Fault(f"{where}.kind", _found(member, "kind"), f"one of {', '.join(KINDS)}"))
        kind = None
    if not isinstance(how, str) or how not in HOWS:
        faults.append(Fault(f"{where}.how", _found(member, "how"), f"one of {', '.join(HOWS)}"))
        how = None
    if "value" not in member:
        faults.append(Fault(f"{where}.value", "nothing", "a value, or null where it cannot be had"))
    if sd is not None and (kind not in ("frequency_hz", None) or not _is_number(sd) or not 0 < sd < 1e12):
        faults.append(Fault(f"{where}.sd", shorten(sd), "a number above 0, for frequency_hz only"))
    value = _read_value(kind, member.get("value"), f"{where}.value", faults) if kind else None
    if len(faults) > before or kind is None or how is None:
        return None
    one = Observation(kind, value, how, None if sd is None else float(sd))
    try:
        check_observation(one)
    except ObservationError as error:
        faults.append(Fault(f"{where}.value", error.found, error.expected))
        return None
    return one


def _read_case(data: object, faults: list[Fault]) -> CaseFile:
    if not isinstance(data, dict):
        faults.append(Fault("file", shorten(data), "an object with vehicle and observations"))
        return CaseFile(Vehicle(), ())
    given = data.get("vehicle")
    vehicle = _read_vehicle({} if given is None else given, faults)
    members = data.get("observations", [])
    if not isinstance(members, list):
        faults.append(Fault("observations", shorten(members), "a list of observations"))
        members = []
    if len(members) > MOST_OBSERVATIONS:
        expected = f"at most {MOST_OBSERVATIONS}"
        faults.append(Fault("observations", f"{len(members)} observations", expected))
        members = members[:MOST_OBSERVATIONS]
    found = [parse_observation(one, f"observations[{i}]", faults) for i, one in enumerate(members)]
    return CaseFile(vehicle, tuple(one for one in found if one is not None))


def _read_vehicle(data: object, faults: list[Fault]) -> Vehicle:
    if not isinstance(data, dict):
        faults.append(Fault("vehicle", shorten(data), "an object"))
        return Vehicle()
    texts: dict[str, str] = {}
    for key in ("vin", "make", "model", "start"):
        value = data.get(key)
        if value is not None and not _is_text(value):
            faults.append(
                Fault(f"vehicle.{key}", shorten(value), f"a text of at most {LONGEST_TEXT} characters")
            )
        texts[key] = value if isinstance(value, str) else ""
    if texts["start"] not in ("", *STARTS):
        faults.append(Fault("vehicle.start", shorten(texts["start"]), f"one of {', '.join(STARTS)}"))
    year = data.get("year")
    if isinstance(year, float) and year.is_integer():
        year = int(year)  # 2018.0 is the same JSON number as 2018
    first, last = YEARS
    if year is not None and not (isinstance(year, int) and type(year) is not bool and first <= year <= last):
        faults.append(Fault("vehicle.year", shorten(year), f"a whole number from {first} to {last}"))
        year = None
    sure = data.get("year_sure", False)
    if type(sure) is not bool:
        faults.append(Fault("vehicle.year_sure", shorten(sure), "true or false"))
        sure = False
    return Vehicle(texts["vin"], texts["make"], texts["model"], year, bool(sure), texts["start"])


def _read_value(kind: str, value: object, where: str, faults: list[Fault]) -> Value:
    """Return the value in the model's type; one of another type is a fault."""
    if value is None:
        return None
    if kind == "buttons":
        if isinstance(value, list | tuple) and all(_is_text(word) for word in value) and len(value) <= 100:
            return tuple(str(word) for word in value)
        faults.append(Fault(where, shorten(value), "a list of words"))
    elif kind in ("button_count", "frequency_hz"):
        if not _is_number(value):
            faults.append(Fault(where, shorten(value), "a number"))
        elif kind == "frequency_hz" and isinstance(value, int | float) and abs(value) < 1e12:
            return float(value)
        elif isinstance(value, int) or (isinstance(value, float) and value.is_integer()):
            return int(value)
        else:
            faults.append(
                Fault(where, shorten(value), "a whole number" if kind == "button_count" else "hertz")
            )
    elif _is_text(value):
        return str(value)
    else:
        faults.append(Fault(where, shorten(value), f"a text of at most {LONGEST_TEXT} characters"))
    return None


def _is_text(value: object) -> bool:
    # JSON can spell one half of a pair of surrogates; no text can hold it, and none could be shown.
    return isinstance(value, str) and len(value) <= LONGEST_TEXT and not _LONE_HALF.search(value)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _found(member: Mapping[object, object], key: str) -> str:
    return shorten(member[key]) if key in member else "nothing"
