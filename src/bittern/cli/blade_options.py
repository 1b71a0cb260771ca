"""What the commands of ``bittern blade`` share: their options, and a bitting read from the command line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import NoAnswer, emit, tell

if TYPE_CHECKING:
    from bittern.engines.blade.bitting import Bitting
    from bittern.engines.blade.measurement import Measurement
    from bittern.engines.blade.standard import BladeStandard
    from bittern.formats.packs import Pack

StandardOption = Annotated[
    str, typer.Option("--standard", metavar="S", help="Id of the blade standard in the pack.")
]
BittingOption = Annotated[
    str, typer.Option("--bitting", metavar="B", help="Labels parted by spaces, such as '2 1 3 4'.")
]


def get_blade(pack: Pack, blade_id: str) -> BladeStandard:
    """Return a pack's blade standard, or raise the error that lists those it has."""
    from bittern.core.errors import InputError, shorten

    try:
        return pack.blades[blade_id]
    except KeyError:
        known = ", ".join(sorted(pack.blades)) or "none: the pack has no blades"
        raise InputError(
            shorten(blade_id), f"a blade standard of the pack: {known}", where="--standard"
        ) from None


def bitting_text(blade: BladeStandard, cuts: Bitting) -> str:
    """Return a bitting as it is written."""
    from bittern.engines.blade.bitting import format_bitting

    return format_bitting(blade, cuts)


def get_allowed(blade: BladeStandard, text: str, nothing: Mapping[str, object], *, as_json: bool) -> Bitting:
    """Return a bitting that the rules allow; a broken rule is printed and ends the command with a "no".

    ``nothing`` holds the command's own keys of the JSON, so that they are there in a "no" too.
    """
    from bittern.engines.blade.bitting import find_violations, parse_bitting

    cuts = parse_bitting(blade, text)
    violations = find_violations(blade, cuts)
    if violations:
        problems = [str(violation) for violation in violations]
        data = {
            "standard": blade.id,
            "bitting": bitting_text(blade, cuts),
            **nothing,
            "allowed": False,
            "violations": [violation.as_dict() for violation in violations],
            "problems": problems,
        }
        for problem in problems:
            tell(f"bittern: {problem}")
        if as_json:
            emit(data, as_json=True, text="")
        raise NoAnswer
    return cuts


def describe_measurement(measured: Measurement) -> str:
    """Return a measurement in words, its cuts a line each."""
    lines = [
        f"{measured.bitting}   (standard {measured.standard}, sure to {say_sureness(measured.probability)})"
    ]
    for cut in measured.cuts:
        if cut.depth_mm is None or cut.distance_mm is None:
            lines.append(f"  cut {cut.name}: ?  not measured")
        else:
            lines.append(
                f"  cut {cut.name}: {cut.label}  {cut.depth_mm:.2f} mm, {cut.distance_mm:.2f} mm from the"
                f" nearest depth, probability {say_sureness(cut.probability)}"
            )
    lines += [f"Next: {bitting} ({probability:.2g})" for bitting, probability, _ in measured.runners_up[:3]]
    if measured.wear_mm is not None:
        lines.append(f"Worn by {measured.wear_mm:.2f} mm in the mean over the roots.")
    if measured.p_none > 0.001:
        lines.append(f"None of these standards: {measured.p_none:.3f}.")
    return "\n".join([*lines, *measured.assumed, *measured.problems])


def say_sureness(probability: float) -> str:
    """Return a probability with four places."""
    # Rounding must not make a certainty.
    return "above 0.9999" if probability > 0.9999 else f"{probability:.4f}"
