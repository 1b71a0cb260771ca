"""``bittern pack export-learnt``: what finished jobs proved, as a pack."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bittern.cli.output import JsonOption, emit


def export_learnt(
    out: Annotated[Path, typer.Option("--out", metavar="DIR|ZIP", help="A new folder, or a new file .zip.")],
    data: Annotated[
        Path | None, typer.Option("--data", metavar="DIR", help="The shop's data folder.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Write the shop's own fitments, learnt from finished jobs, as a pack without customer data."""
    from bittern.cli.handover import open_desk
    from bittern.formats.pack_export import export_pack
    from bittern.work.learnt_pack import make_learnt_pack

    pack = make_learnt_pack(open_desk(data))
    export_pack(pack, out)
    counts = {"articles": len(pack.articles), "fitments": len(pack.fitments)}
    said = ", ".join(f"{count} {name}" for name, count in counts.items())
    emit({"out": str(out), "counts": counts}, as_json=as_json, text=f"Wrote {out}: {said}.")
