"""``bittern cut``: programs for blades, and finished keys against their target."""

from __future__ import annotations

import typer

from bittern.cli.cut_check import check
from bittern.cli.cut_inspect import inspect
from bittern.cli.cut_plan import plan
from bittern.cli.cut_solid import solid

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)
app.command()(plan)
app.command()(check)
app.command()(inspect)
app.command()(solid)
