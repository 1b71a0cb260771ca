"""The answer of ``bittern runsheet check``: faults, figures, and what matters most."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from bittern.core.errors import Fault

if TYPE_CHECKING:
    from bittern.engines.pairing.sheet import RunSheet

_NO_DETAIL: dict[str, object] = {"ends": [], "gains": [], "matters_most": []}


def describe_check(sheet: RunSheet | None, faults: list[Fault], cautions: list[str]) -> dict[str, object]:
    """Return the JSON of ``check``; figures that the faults make meaningless are null."""
    from bittern.engines.pairing.chain import analyse_sheet, find_outcome_chances
    from bittern.engines.pairing.errors import SheetUnsoundError

    chances: dict[str, float | None] = {"good": None, "unchanged": None, "stranded": None}
    time_s: dict[str, float | None] = {"mean": None, "p50": None, "p90": None}
    if sheet is not None:
        try:
            chances |= find_outcome_chances(sheet)
            figures = analyse_sheet(sheet)
            time_s = {"mean": figures.time_mean_s, "p50": figures.time_p50_s, "p90": figures.time_p90_s}
        except SheetUnsoundError:
            # The faults say why.
            time_s = dict.fromkeys(time_s)
    steps = sheet.steps.values() if sheet else ()
    detail = _describe_detail(sheet) if sheet and time_s["mean"] is not None else _NO_DETAIL
    return {
        "ok": not faults,
        "id": sheet.id if sheet else None,
        "faults": [fault.as_dict() for fault in faults],
        "cautions": cautions,
        **{f"p_{outcome}": chance for outcome, chance in chances.items()},
        "time_s": time_s,
        "points_of_no_return": [step.id for step in steps if step.no_return],
        "census": sheet.census if sheet else None,
        **detail,
    }


def _describe_detail(sheet: RunSheet) -> dict[str, object]:
    """Return where each path leaves the keys, and what would make the sheet end better, most worth first."""
    from bittern.engines.pairing.census_paths import follow_census
    from bittern.engines.pairing.value import find_gains, pick_gains, word_gain

    ends: list[dict[str, object]] = [
        {
            "end": one.end,
            "outcome": one.outcome,
            "passed_no_return": one.passed,
            "works": {"old_here": one.here, "old_away": one.away, "new": one.new},
            "path": list(one.path),
        }
        for one in follow_census(sheet)
    ]
    found = find_gains(sheet)
    gains = [asdict(gain) for gain in found]
    return {"ends": ends, "gains": gains, "matters_most": [word_gain(one) for one in pick_gains(found, 3)]}


def print_check(data: dict[str, object]) -> str:
    """Return the answer of ``check`` for a person."""
    faults, cautions, time_s = data["faults"], data["cautions"], data["time_s"]
    assert isinstance(faults, list) and isinstance(cautions, list) and isinstance(time_s, dict)
    count = f"{len(faults)} fault" + ("" if len(faults) == 1 else "s")
    lines = [f"{data['id'] or 'run sheet'}: " + ("sound" if data["ok"] else count)]
    lines += [f"  fault: {Fault(**fault)}" for fault in faults]
    lines += [f"  caution: {caution}" for caution in cautions]
    if data["p_good"] is not None:
        lines += [f"  {name:<10}{data[f'p_{name}']:8.2%}" for name in ("good", "unchanged", "stranded")]
    if time_s["mean"] is not None:
        lines.append("  time      " + ", ".join(f"{name} {value:.0f} s" for name, value in time_s.items()))
    points, most = data["points_of_no_return"], data["matters_most"]
    assert isinstance(points, list) and isinstance(most, list)
    lines.append("  points of no return: " + (", ".join(points) or "none") + f"; census: {data['census']}")
    if most:
        lines += ["  what matters most:", *(f"    {sentence}" for sentence in most)]
    return "\n".join(lines)
