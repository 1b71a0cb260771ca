"""``bittern cut check``: a cutting program, swept as it is written, against the key that it should make."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.blade_options import BittingOption, StandardOption, bitting_text, get_allowed, get_blade
from bittern.cli.cut_options import EdgeOption, ToolOption, get_edge, get_tool
from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack, tell

if TYPE_CHECKING:
    from bittern.engines.cutting.sweep import SweepResult

NUMBERS = ("worst_error_mm", "root_error_mm", "gouge_mm")


def check(
    program: Annotated[Path, typer.Argument(metavar="F.nc", help="Program in ISO 6983 / RS-274.")],
    standard: StandardOption,
    bitting: BittingOption,
    tool: ToolOption,
    edge: EdgeOption = None,
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Sweep the cutter along a program and measure what it leaves."""
    from bittern.engines.cutting.errors import CutterError
    from bittern.engines.cutting.sweep import sweep
    from bittern.formats.program_reader import read_program
    from bittern.formats.texts import read_text

    loaded = load_pack(pack)
    blade, cutter = get_blade(loaded, standard), get_tool(loaded, tool)
    number = get_edge(blade, edge)
    nothing: dict[str, object] = {**dict.fromkeys(NUMBERS), "within": False, "findings": []}
    cuts = get_allowed(blade, bitting, nothing, as_json=as_json)
    motion = read_program(read_text(program), where=str(program))
    asked = {"standard": blade.id, "bitting": bitting_text(blade, cuts), "tool": cutter.id}
    try:
        result = sweep(motion, blade, cuts, cutter, edge=number)
    except CutterError as error:
        tell(f"bittern: {error}")
        if as_json:
            emit({**asked, **nothing, "warnings": list(error.reasons)}, as_json=True, text="")
        raise NoAnswer from None
    emit({**asked, **result.as_dict()}, as_json=as_json, text=lambda: _describe(result))
    if not result.good:
        raise NoAnswer


def _describe(result: SweepResult) -> str:
    within = "within" if result.within else "NOT within"
    lines = [
        f"Roots: {result.root_error_mm:.3f} mm off at most. Cut too deep: {result.gouge_mm:.3f} mm at most."
        f" The key is {within} its tolerance.",
        f"Whole outline: {result.worst_error_mm:.3f} mm off at most.",
    ]
    for finding in result.findings:
        place = f"line {finding.line}: " if finding.line else ""
        lines.append(f"{'FAULT' if finding.spoils else 'Note'}: {place}{finding.text}")
    return "\n".join(lines)
