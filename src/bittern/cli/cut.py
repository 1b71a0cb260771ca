"""``bittern cut``: finished keys against their target."""

from __future__ import annotations

import typer

from bittern.cli.cut_inspect import inspect

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)
app.command()(inspect)


@app.callback()
def cut() -> None:
    """Keep the group a group while it has one command."""
