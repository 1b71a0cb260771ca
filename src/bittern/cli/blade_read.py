"""``bittern blade read``: a bitting from a scan or a photo of a key."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.blade_options import describe_measurement, get_blade
from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack

if TYPE_CHECKING:
    from bittern.engines.blade.standard import BladeStandard
    from bittern.formats.packs import Pack
    from bittern.work.blade_picture import PictureReading


def read(
    image: Annotated[
        Path, typer.Argument(metavar="IMAGE", help="Scan of a key, or a photo of one on the measuring card.")
    ],
    standard: Annotated[
        str,
        typer.Option("--standard", metavar="S|any", help="Id of the blade standard, or any: they compete."),
    ],
    dpi: Annotated[
        float | None,
        typer.Option("--dpi", metavar="N", help="The scan's dots per inch; without it: the measuring card."),
    ] = None,
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read the bitting that the factory cut from a picture of a key, worn or not."""
    from bittern.formats.images import read_file
    from bittern.work.blade_picture import check_dpi, read_blade_picture

    standards = choose_standards(load_pack(pack), standard)
    check_dpi(dpi)
    found = read_blade_picture(read_file(image), standards, dpi=dpi, where=str(image))
    measured = found.measurement
    emit(
        {**measured.as_dict(), **_describe_scale(found)},
        as_json=as_json,
        text=lambda: f"Scale: {found.flat.scale_from}.\n{describe_measurement(measured)}",
    )
    if not measured.allowed:
        raise NoAnswer


def choose_standards(pack: Pack, name: str) -> tuple[BladeStandard, ...]:
    """Return the standard of that id, or with ``any`` all edge blades of the pack."""
    if name != "any":
        return (get_blade(pack, name),)
    return tuple(blade for blade in pack.blades.values() if blade.kind == "edge")


def _describe_scale(found: PictureReading) -> dict[str, object]:
    flat, fit = found.flat, found.measurement.fit
    return {
        "scale_from": flat.scale_from,
        "pixels_per_mm": flat.pixels_per_mm,
        "card_residual_mm": flat.residual_mm,
        "residual_mm": fit.residual_mm if fit else None,
    }
