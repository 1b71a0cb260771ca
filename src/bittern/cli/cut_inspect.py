"""``bittern cut inspect``: a scan or photo of a finished key against its target."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.blade_options import BittingOption, StandardOption, bitting_text, get_allowed, get_blade
from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack

if TYPE_CHECKING:
    from bittern.engines.cutting.inspection import Inspection


def inspect(
    image: Annotated[
        Path,
        typer.Argument(
            metavar="IMAGE", help="Scan of the finished key, or a photo of it on the measuring card."
        ),
    ],
    standard: StandardOption,
    bitting: BittingOption,
    dpi: Annotated[
        float | None,
        typer.Option("--dpi", metavar="N", help="The scan's dots per inch; without it: the measuring card."),
    ] = None,
    risk: Annotated[
        float, typer.Option("--risk", metavar="R", help="Share of wrong verdicts that is accepted.")
    ] = 0.05,
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Measure a finished key: pass, fail or undecided, and what to adjust."""
    from bittern.core.errors import InputError
    from bittern.formats.images import read_file
    from bittern.work.blade_picture import check_dpi, inspect_blade_picture

    blade = get_blade(load_pack(pack), standard)
    nothing: dict[str, object] = {"verdict": None, "cuts": []}
    target = get_allowed(blade, bitting, nothing, as_json=as_json)
    check_dpi(dpi)
    if not 0.0001 <= risk <= 0.5:
        raise InputError(f"a risk of {risk:g}", "0.0001 to 0.5", where="--risk")
    found = inspect_blade_picture(read_file(image), blade, target, dpi=dpi, risk=risk, where=str(image))
    inspection = found.inspection
    emit(
        {
            "standard": blade.id,
            "bitting": bitting_text(blade, target),
            **inspection.as_dict(),
            "scale_from": found.flat.scale_from,
        },
        as_json=as_json,
        text=lambda: f"Scale: {found.flat.scale_from}.\n{_describe(inspection)}",
    )
    if inspection.verdict == "fail":
        raise NoAnswer


def _describe(inspection: Inspection) -> str:
    lines = [
        f"Verdict: {inspection.verdict}   (within {inspection.limit_mm:g} mm, risk {inspection.risk:.0%};"
        f" the whole key conforms with probability {inspection.p_conform:.3f})"
    ]
    for cut in inspection.cuts:
        if cut.measured_mm is None or cut.sd_mm is None or cut.p_conform is None:
            lines.append(f"  cut {cut.name}: not seen")
            continue
        lines.append(
            f"  cut {cut.name}: {cut.measured_mm:.3f} mm ± {cut.sd_mm:.3f}, target {cut.target_mm:g}:"
            f" {cut.verdict} ({cut.p_conform:.3f})"
        )
    way = "further from" if inspection.shift_mm > 0 else "nearer to"
    lines.append(
        f"  along the blade: {abs(inspection.shift_mm):.2f} mm ± {inspection.shift_sd_mm:.2f} {way} the"
        f" datum, up to {inspection.shift_limit_mm:.2f} mm is right"
    )
    parts = ", ".join(f"{name} {part:.3f}" for name, part in inspection.budget_mm.items())
    lines.append(f"  a height's doubt, mm: {parts}; together {inspection.sd_mm:.3f}")
    return "\n".join([*lines, *inspection.findings, *inspection.notes])
