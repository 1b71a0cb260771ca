"""``bittern label``: read photos of labels."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack

if TYPE_CHECKING:
    from bittern.work.label import LabelReading, ReadIdentifier, ReadNumber

app = typer.Typer(no_args_is_help=True)


@app.callback()
def labels() -> None:
    """Read photos of labels."""


@app.command()
def read(
    image: Annotated[Path, typer.Argument(metavar="IMAGE", help="Photo of a label: JPEG, PNG, WebP or BMP.")],
    json: JsonOption = False,
    pack: PackOption = None,
) -> None:
    """Find vehicle numbers and FCC identifiers in a photo, from its bar codes and its print."""
    from bittern.formats.images import read_picture

    pixels = read_picture(image)
    shelf = load_pack(pack)
    from bittern.work.label import read_label

    reading = read_label(pixels, shelf)
    emit(reading.as_dict(), as_json=json, text=lambda: describe_reading(reading))
    if not (reading.vins or reading.fcc_ids or reading.barcodes or reading.lines):
        raise NoAnswer


def describe_reading(reading: LabelReading) -> str:
    """Return the reading for a person."""
    parts = [_describe_number(one) for one in reading.vins]
    parts += [_describe_identifier(one) for one in reading.fcc_ids]
    for code in reading.barcodes:
        parts.append(f"{code.symbology}: {code.text}")
    parts += [f"Print: {line.text}  ({line.confidence:.0%})" for line in reading.lines]
    if not parts:
        return (
            "Nothing could be read. Go closer, hold the camera straight on, take light from the side,"
            " and take the cover off."
        )
    return "\n".join([*parts, "Compare with the label before using any of it."])


def _describe_number(one: ReadNumber) -> str:
    state = "valid" if one.valid else "not valid"
    lines = [f"Vehicle number: {one.vin}  {state}, {_describe_source(one.source, one.confidence)}"]
    lines += [f"  ({change})" for change in one.changed]
    lines += [
        f"  Perhaps {other.vin}  {other.probability:.1%}  {'; '.join(other.changes)}"
        for other in one.suggestions
    ]
    return "\n".join(lines)


def _describe_identifier(one: ReadIdentifier) -> str:
    lines = [f"FCC identifier: {one.text}  {_describe_source(one.source, one.confidence)}"]
    lines += [f"  ({change})" for change in one.changed]
    if one.alternatives:
        lines.append(f"  Or {', '.join(one.alternatives)}: 0 and O, 1 and I look the same")
    return "\n".join(lines)


def _describe_source(source: str, confidence: float | None) -> str:
    return f"from {source}" if confidence is None else f"from print, the reader's score {confidence:.0%}"
