"""Blade standards: ``<id>.toml``, one family of blades each."""

from __future__ import annotations

from pathlib import Path

from bittern.core.errors import Fault, FaultsError
from bittern.engines.blade.standard import BLADE_KINDS, DATUMS, SIDES, BladeStandard
from bittern.formats.texts import read_text
from bittern.formats.toml_files import TomlTable, parse_toml


def parse_blade(text: str, file: str) -> BladeStandard:
    """Return the blade standard written in ``text``; whether it is sound is the blade engine's question.

    Raises
    ------
    InputError
        The text is not TOML.
    FaultsError
        Keys are missing or of the wrong type; all of them are listed.
    """
    faults: list[Fault] = []
    top = TomlTable(parse_toml(text, file), file, faults)
    blank, cuts, rules = top.table("blank"), top.table("cuts"), top.table("rules")
    kind = top.choice("kind", BLADE_KINDS)
    track = kind == "track"
    standard = BladeStandard(
        id=top.identifier("id"),
        title=top.text("title"),
        kind=kind,
        datum=top.choice("datum", DATUMS),
        length_mm=blank.number("length"),
        width_mm=blank.number("width"),
        thickness_mm=blank.number("thickness"),
        positions_mm=cuts.numbers("positions"),
        depths_mm=cuts.numbers("depths"),
        labels=cuts.texts("labels"),
        flat_mm=cuts.number("flat", zero=True),
        # A groove's walls are square to the face: the key says nothing there and may be missing.
        angle_deg=cuts.number("angle", zero=True) if "angle" in cuts.data or not track else 0.0,
        tolerance_mm=cuts.number("tolerance", zero=True),
        macs=rules.whole("macs", least=1),
        sides=cuts.choice("sides", SIDES, default="single"),
        max_run=rules.maybe_whole("max_run", least=1),
        min_distinct=rules.maybe_whole("min_distinct", least=1),
        groove_width_mm=cuts.number("groove_width") if track or "groove_width" in cuts.data else None,
        groove_depth_mm=cuts.number("groove_depth") if track or "groove_depth" in cuts.data else None,
    )
    if faults:
        raise FaultsError(faults)
    return standard


def read_blade(path: Path) -> BladeStandard:
    """Return the blade standard in the file at ``path``; errors as :func:`parse_blade`."""
    return parse_blade(read_text(path), path.name)


def format_blade(standard: BladeStandard) -> str:
    """Return ``standard`` as TOML that :func:`parse_blade` reads back the same."""
    import tomli_w

    cuts: dict[str, object] = {
        "positions": list(standard.positions_mm),
        "depths": list(standard.depths_mm),
        "labels": list(standard.labels),
        "flat": standard.flat_mm,
        "angle": standard.angle_deg,
        "tolerance": standard.tolerance_mm,
        "sides": standard.sides,
    }
    for key, value in (
        ("groove_width", standard.groove_width_mm),
        ("groove_depth", standard.groove_depth_mm),
    ):
        if value is not None:
            cuts[key] = value
    rules = {"macs": standard.macs, "max_run": standard.max_run, "min_distinct": standard.min_distinct}
    return tomli_w.dumps(
        {
            "id": standard.id,
            "title": standard.title,
            "kind": standard.kind,
            "datum": standard.datum,
            "blank": {
                "length": standard.length_mm,
                "width": standard.width_mm,
                "thickness": standard.thickness_mm,
            },
            "cuts": cuts,
            "rules": {key: value for key, value in rules.items() if value is not None},
        }
    )
