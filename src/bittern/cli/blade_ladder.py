"""``bittern blade ladder``: the fewest blanks that cover every bitting which is left."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.blade_options import StandardOption, get_allowed, get_blade
from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack
from bittern.core.errors import InputError

if TYPE_CHECKING:
    from bittern.engines.blade.code_table import CodeTable
    from bittern.engines.blade.ladder import LadderPlan
    from bittern.engines.blade.measurement import Measurement
    from bittern.engines.blade.standard import BladeStandard


def ladder(
    standard: StandardOption,
    known: Annotated[
        str,
        typer.Option(
            "--known",
            metavar="B",
            help="Labels parted by spaces, ? for an unknown cut; without it all are.",
        ),
    ] = "",
    table: Annotated[
        Path | None,
        typer.Option("--table", metavar="F.csv", help="Code table of your own: only its bittings remain."),
    ] = None,
    reading: Annotated[
        Path | None,
        typer.Option(
            "--reading", metavar="F.json", help="What blade read or measure printed with --json: its chances."
        ),
    ] = None,
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan the fewest blanks that cover every bitting which is left."""
    from bittern.engines.blade.bitting import write_unknown
    from bittern.engines.blade.ladder import plan_ladders
    from bittern.engines.blade.weighing import weigh_remaining

    if not known and table is None and reading is None:
        raise InputError("nothing", "known cuts, a table or a reading", where="--known")
    blade = get_blade(load_pack(pack), standard)
    nothing = {"remaining": 0, "blanks": 0, "lower_bound": 0, "ladders": [], "expected_cuttings": None}
    cuts = get_allowed(blade, known or write_unknown(blade), nothing, as_json=as_json)
    codes, measured = _read_table(table, blade), _read_reading(reading, blade)
    weighing = weigh_remaining(blade, cuts, table=codes, reading=measured)
    if weighing is None:
        plan = plan_ladders(blade, cuts)
    else:
        plan = plan_ladders(blade, cuts, weighing.weights, covered=weighing.covered)
    data: dict[str, object] = {"standard": blade.id, **plan.as_dict()}
    if codes is not None:
        data["table"] = {"rows": codes.rows, "bittings": len(codes.weights)}
    emit(data, as_json=as_json, text=lambda: _describe_plan(plan))
    if plan.blanks is None or not plan.remaining:
        raise NoAnswer


def _read_table(path: Path | None, blade: BladeStandard) -> CodeTable | None:
    from bittern.formats.code_table import read_code_table

    return None if path is None else read_code_table(path, blade)


def _read_reading(path: Path | None, blade: BladeStandard) -> Measurement | None:
    from bittern.formats.measurements import read_measurement

    return None if path is None else read_measurement(path, blade)


def _describe_plan(plan: LadderPlan) -> str:
    left = f"{plan.remaining:,} bitting{'s are' if plan.remaining != 1 else ' is'} left."
    if plan.blanks is None or not plan.remaining:
        return "\n".join([left, *plan.problems])
    proof = (
        f", and no plan needs fewer: no two of the {plan.blanks} bittings marked * can be cut from one blank"
    )
    lines = [
        f"{left} {plan.blanks} blanks at most{proof}." if plan.blanks > 1 else f"{left} 1 blank is enough.",
        f"On average {plan.expected_cuttings:.1f} cuttings up to the right one.",
    ]
    for number, rungs in enumerate(plan.ladders, 1):
        lines.append(f"Blank {number}:")
        lines += [f"  {rung}{' *' if plan.blanks > 1 and rung in plan.proof else ''}" for rung in rungs]
    if plan.covered < 1.0:
        lines.append(f"Left out: bittings with a chance of {_say(1.0 - plan.covered)} in all.")
    if plan.helps and plan.blanks > 1:
        best = plan.helps[0]
        lines.append(f"Knowing cut {best.cut} as well would leave {best.expected_remaining:.1f} on average.")
    return "\n".join([*lines, *plan.problems])


def _say(chance: float) -> str:
    return "under 0.0001" if chance < 0.0001 else f"{chance:.4f}"
