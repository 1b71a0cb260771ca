"""``bittern pack``: check packs of catalogue data, read suppliers' lists into them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import JsonOption, NoAnswer, emit
from bittern.cli.pack_export import export_learnt
from bittern.cli.pack_import import import_list

if TYPE_CHECKING:
    from bittern.formats.packs import PackReport

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)


@app.callback()
def group() -> None:
    """Check packs of catalogue data; read suppliers' lists into them."""


@app.command()
def check(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder of the pack.")],
    as_json: JsonOption = False,
) -> None:
    """Read every file of a pack and list every fault."""
    from bittern.formats.packs import check_pack

    report = check_pack(folder)
    emit(report.as_dict(), as_json=as_json, text=lambda: describe(report))
    if not report.ok:
        raise NoAnswer


app.command("import")(import_list)
app.command("export-learnt")(export_learnt)


def describe(report: PackReport) -> str:
    """Return the report for a person: one line a fault, then what was read."""
    lines = [str(fault) for fault in report.faults]
    held = ", ".join(f"{count} {name}" for name, count in report.counts.items())
    verdict = "No fault" if report.ok else f"{len(lines)} fault" + ("s" if len(lines) > 1 else "")
    return "\n".join([*lines, f"{verdict} in {held}."])
