"""``bittern card``: the measuring card as a file to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bittern.cli.output import JsonOption, emit

OutOption = Annotated[
    Path, typer.Option("--out", metavar="F.pdf|F.png", help="File to write; its ending says which kind.")
]
DpiOption = Annotated[
    int | None,
    typer.Option("--dpi", metavar="N", help="Dots per inch of a PNG, 50 to 2400."),
]
PaperOption = Annotated[
    str | None, typer.Option("--paper", metavar="a4|letter", help="Sheet of a PDF; a4 without it.")
]


def card_command(
    out: OutOption, dpi: DpiOption = None, paper: PaperOption = None, as_json: JsonOption = False
) -> None:
    """Write the measuring card for photos of keys, true to scale."""
    from bittern.core.errors import InputError, shorten
    from bittern.engines.blade.picture.board import BAR, CARD, FIELD
    from bittern.formats.card import USUAL_DPI, check_dpi, render_pdf, render_png

    kind = out.suffix.lower().removeprefix(".")
    if kind not in ("pdf", "png"):
        raise InputError(shorten(out.name), "a name that ends in .pdf or .png", where="--out")
    if kind == "png" and paper is not None:
        raise InputError("--paper with a PNG", "--paper with a PDF only", hint="the PNG is the card alone")
    paper = "a4" if paper is None else paper
    dpi = USUAL_DPI if dpi is None else dpi
    check_dpi(dpi)
    raw = render_pdf(paper) if kind == "pdf" else render_png(dpi)
    try:
        out.write_bytes(raw)
    except OSError as error:
        raise InputError(
            f"a place that cannot be written ({error.strerror})", "a file", where=str(out)
        ) from error
    data = {
        "out": str(out),
        "width_mm": CARD.width_mm,
        "height_mm": CARD.height_mm,
        "field_mm": [FIELD.width_mm, FIELD.height_mm],
        "bar_mm": BAR.width_mm,
        "paper": paper if kind == "pdf" else None,
        "dpi": dpi if kind == "png" else None,
    }
    emit(data, as_json=as_json, text=f"Wrote {out}. Print it at 100 %; its bar must then be 100.0 mm long.")
