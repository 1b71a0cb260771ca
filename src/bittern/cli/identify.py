"""``bittern identify``: which article does the vehicle accept, how sure is that, and what to ask next."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import JsonOption, PackOption, emit, load_pack

if TYPE_CHECKING:
    from bittern.engines.key.identification import Identification


def identify_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Observations, as JSON.")],
    json: JsonOption = False,
    pack: PackOption = None,
) -> None:
    """Say which article the vehicle accepts."""
    from bittern.engines.key.identification import identify
    from bittern.formats.observations import read_observations
    from bittern.work.vehicle import complete_vehicle

    case = read_observations(file)
    shelf = load_pack(pack)
    vehicle, taken = complete_vehicle(case.vehicle, shelf)
    found = identify(shelf.catalogue, vehicle, case.observations)
    found = replace(found, assumed=(*taken, *found.assumed))
    emit(found.as_dict(), as_json=json, text=lambda: describe(found))


def describe(found: Identification) -> str:
    """Return the answer for a person: candidates with reasons, the rest, and the next act."""
    lines = []
    for one in found.candidates:
        lines.append(f"{one.probability:6.1%}  {one.article}")
        lines += [f"          {reason}" for reason in one.because]
    lines.append(f"{found.outside_pack:6.1%}  not in this pack")
    lines += [f"          {reason}" for reason in found.outside_because]
    lines += [f"Assumed: {one}." for one in found.assumed]
    lines += found.conflicts
    if found.stop:
        lines.append(found.stop.text)
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
