"""``bittern cut solid``: the cut key as a solid, or its outline for other programs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.blade_options import BittingOption, StandardOption, bitting_text, get_allowed, get_blade
from bittern.cli.output import JsonOption, PackOption, emit, load_pack

if TYPE_CHECKING:
    from bittern.engines.blade.bitting import Bitting
    from bittern.engines.blade.standard import BladeStandard

KINDS = (".glb", ".dxf", ".svg")
NAMES = {"triangles": "triangles", "volume_mm3": "mm³", "lines": "lines", "arcs": "arcs"}


def solid(
    standard: StandardOption,
    bitting: BittingOption,
    out: Annotated[
        Path, typer.Option("--out", metavar="F.glb|F.dxf|F.svg", help="File to write; its ending decides.")
    ],
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the cut key as a solid (GLB), or its outline (DXF, SVG)."""
    from bittern.core.errors import InputError, shorten

    kind = out.suffix.lower()
    if kind not in KINDS:
        raise InputError(shorten(out.name), f"a name that ends in {', '.join(KINDS)}", where="--out")
    blade = get_blade(load_pack(pack), standard)
    cuts = get_allowed(blade, bitting, {"out": None}, as_json=as_json)
    data, facts = _make(kind, blade, cuts)
    try:
        out.write_bytes(data)
    except OSError as error:
        raise InputError(
            f"a place that cannot be written ({error.strerror})", "a file", where=str(out)
        ) from error
    told = {"standard": blade.id, "bitting": bitting_text(blade, cuts), "out": str(out), **facts}
    said = ", ".join(f"{value:g} {NAMES[name]}" for name, value in facts.items())
    emit(told, as_json=as_json, text=f"Wrote {out}: {said}.")


def _make(kind: str, blade: BladeStandard, cuts: Bitting) -> tuple[bytes, dict[str, float]]:
    """Return a file's bytes and what it holds."""
    if kind == ".glb":
        from bittern.engines.cutting.solid import build_key
        from bittern.formats.glb import write_glb

        mesh = build_key(blade, cuts)
        facts = {"triangles": len(mesh.triangles), "volume_mm3": round(mesh.get_volume_mm3(), 3)}
        return write_glb(mesh), facts
    from bittern.engines.cutting.contours import list_curves
    from bittern.formats.contour_drawing import draw_contours
    from bittern.formats.dxf import write_dxf

    curves = list_curves(blade, cuts)
    arcs = sum(curve.centre is not None for curve in curves)
    text = (
        write_dxf(curves, title=blade.title) if kind == ".dxf" else draw_contours(curves, title=blade.title)
    )
    return text.encode(), {"lines": len(curves) - arcs, "arcs": arcs}
