"""``bittern identify``: which article does the vehicle accept, how sure is that, and what to ask next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import JsonOption, PackOption, emit, load_pack

if TYPE_CHECKING:
    from bittern.engines.key.evidence import Vehicle
    from bittern.engines.key.identification import Identification
    from bittern.formats.packs import Pack


def identify_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Observations, as JSON.")],
    json: JsonOption = False,
    pack: PackOption = None,
) -> None:
    """Say which article the vehicle accepts."""
    from bittern.engines.key.identification import identify
    from bittern.formats.observations import read_observations

    case = read_observations(file)
    shelf = load_pack(pack)
    vehicle, taken = complete_vehicle(case.vehicle, shelf)
    found = identify(shelf.catalogue, vehicle, case.observations)
    found = replace(found, assumed=(*taken, *found.assumed))
    emit(found.as_dict(), as_json=json, text=lambda: describe(found))


def complete_vehicle(vehicle: Vehicle, pack: Pack) -> tuple[Vehicle, Sequence[str]]:
    """Return the vehicle with what its number says where nothing was given, and what was taken from it."""
    from bittern.engines.vehicle.decode import decode_vin
    from bittern.engines.vehicle.errors import NotANumberError

    if not vehicle.vin.strip():
        return vehicle, ()
    try:
        number = decode_vin(vehicle.vin, pack.numbers, spans=pack.spans)
    except NotANumberError:
        number = None
    if number is None or not number.report.valid:
        return vehicle, ("the vehicle number is not valid, so nothing is taken from it",)
    taken = []
    for name in ("make", "model"):
        given, decoded = getattr(vehicle, name), getattr(number, name)
        if decoded and not given.strip():
            vehicle = replace(vehicle, **{name: decoded})
            taken.append(f"{name} {decoded} taken from the vehicle number")
        elif decoded and decoded.casefold() != given.strip().casefold():
            taken.append(f"the vehicle number says {name} {decoded}, {given} was given and is used")
    start = number.attributes.get("start")
    if isinstance(start, str) and not vehicle.start:
        vehicle = replace(vehicle, start=start)
        taken.append(f"{start} start taken from the vehicle number")
    year, year_sure = vehicle.year, vehicle.year_sure
    if year is not None and year in number.model_years:
        year_sure = True
    elif number.model_year is not None and not year_sure:
        if year is None or abs(year - number.model_year) == 1:
            year, year_sure = number.model_year, True
            taken.append(f"model year {year} taken from the vehicle number")
        else:
            taken.append(f"the vehicle number says {number.model_year}, {year} was given and is used")
    return replace(vehicle, year=year, year_sure=year_sure), taken


def describe(found: Identification) -> str:
    """Return the answer for a person: candidates with reasons, the rest, and the next act."""
    lines = []
    for one in found.candidates:
        lines.append(f"{one.probability:6.1%}  {one.article}")
        lines += [f"          {reason}" for reason in one.because]
    lines.append(f"{found.outside_pack:6.1%}  not in this pack")
    lines += [f"          {reason}" for reason in found.outside_because]
    lines += [f"Assumed: {one}." for one in found.assumed]
    if found.settled:
        lines.append(f"Order {found.order}." if found.order else "It is not in this pack: look elsewhere.")
    elif not found.ask:
        lines.append("Undecided: no question left would settle it. Order nothing on this evidence.")
    else:
        lines.append("Ask next, best first:")
        lines += [
            f"  {ask.text} {ask.where} (saves {ask.expected_saving:.2f}, costs {ask.cost:.2f})"
            for ask in found.ask
        ]
    return "\n".join(lines)
