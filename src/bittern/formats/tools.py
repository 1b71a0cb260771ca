"""Cutters: ``<id>.toml``, one tool each."""

from __future__ import annotations

from pathlib import Path

from bittern.core.errors import Fault, FaultsError
from bittern.engines.cutting.cutter import CUTTER_KINDS, MATERIALS, Cutter
from bittern.formats.texts import read_text
from bittern.formats.toml_files import TomlTable, parse_toml


def parse_tool(text: str, file: str) -> Cutter:
    """Return the cutter written in ``text``.

    Raises
    ------
    InputError
        The text is not TOML.
    FaultsError
        Keys are missing or of the wrong type, or an end mill has a flat or an angle; all faults are listed.
    """
    faults: list[Fault] = []
    top = TomlTable(parse_toml(text, file), file, faults)
    kind = top.choice("kind", CUTTER_KINDS)
    wheel = kind == "wheel"
    if not wheel:
        for key in ("flat", "angle"):
            if key in top.data:
                top.note(key, str(top.data[key]), "no such key: an end mill has neither flat nor angle")
    cutter = Cutter(
        id=top.identifier("id"),
        kind=kind,
        diameter_mm=top.number("diameter"),
        teeth=top.whole("teeth", least=1),
        material=top.choice("material", MATERIALS),
        flat_mm=top.number("flat", zero=True) if wheel else None,
        angle_deg=top.number("angle") if wheel else None,
    )
    if faults:
        raise FaultsError(faults)
    return cutter


def read_tool(path: Path) -> Cutter:
    """Return the cutter in the file at ``path``; errors as :func:`parse_tool`."""
    return parse_tool(read_text(path), path.name)


def format_tool(cutter: Cutter) -> str:
    """Return ``cutter`` as TOML that :func:`parse_tool` reads back the same."""
    import tomli_w

    table = {
        "id": cutter.id,
        "kind": cutter.kind,
        "flat": cutter.flat_mm,
        "angle": cutter.angle_deg,
        "diameter": cutter.diameter_mm,
        "teeth": cutter.teeth,
        "material": cutter.material,
    }
    return tomli_w.dumps({key: value for key, value in table.items() if value is not None})
