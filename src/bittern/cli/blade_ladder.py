"""``bittern blade ladder``: the fewest blanks that cover every bitting which is left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.blade_options import StandardOption, get_allowed, get_blade
from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack

if TYPE_CHECKING:
    from bittern.engines.blade.ladder import LadderPlan


def ladder(
    standard: StandardOption,
    known: Annotated[
        str, typer.Option("--known", metavar="B", help="Labels parted by spaces, ? for an unknown cut.")
    ],
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan the fewest blanks that cover every bitting which is left."""
    from bittern.engines.blade.ladder import plan_ladders

    blade = get_blade(load_pack(pack), standard)
    nothing = {"remaining": 0, "blanks": 0, "lower_bound": 0, "ladders": [], "expected_cuttings": None}
    plan = plan_ladders(blade, get_allowed(blade, known, nothing, as_json=as_json))
    emit({"standard": blade.id, **plan.as_dict()}, as_json=as_json, text=lambda: _describe_plan(plan))
    if plan.blanks is None or not plan.remaining:
        raise NoAnswer


def _describe_plan(plan: LadderPlan) -> str:
    left = f"{plan.remaining:,} bitting{'s are' if plan.remaining != 1 else ' is'} left."
    if plan.blanks is None or not plan.remaining:
        return "\n".join([left, *plan.problems])
    lines = [
        f"{left} {plan.blanks} blank{'s' if plan.blanks != 1 else ''} at most, and no plan needs fewer:"
        f" no two of the {len(plan.proof)} bittings marked * can be cut from one blank.",
        f"On average {plan.expected_cuttings:.1f} cuttings up to the right one.",
    ]
    for number, rungs in enumerate(plan.ladders, 1):
        lines.append(f"Blank {number}:")
        lines += [f"  {rung}{' *' if rung in plan.proof else ''}" for rung in rungs]
    return "\n".join([*lines, *plan.problems])
