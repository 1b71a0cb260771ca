"""``bittern log``: are the jobs' logs as they were written?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bittern.cli.output import JsonOption, NoAnswer, emit

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)


@app.callback()
def root() -> None:
    """Keep ``verify`` a command of its own while it is the only one."""


@app.command(
    "verify", help="Find entries that were changed, removed or reordered, and jobs that are missing."
)
def verify_command(
    data: Annotated[
        Path | None, typer.Option("--data", metavar="DIR", help="The shop's data folder.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Verify every job's log; exit 1 when something is found."""
    from bittern.cli.handover import verify_log

    report = verify_log(data)

    def write() -> str:
        head = f"{report.entries} entries of {report.jobs} jobs: " + (
            "all as they were written." if report.ok else f"{len(report.faults)} faults."
        )
        return "\n".join(
            [head, *(f"job {f.job}, entry {f.sequence or '-'}: {f.problem}" for f in report.faults)]
        )

    emit(report.as_dict(), as_json=as_json, text=write)
    if not report.ok:
        raise NoAnswer
