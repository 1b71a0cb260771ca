"""The ``bittern`` command."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

import typer
from typer.exceptions import TyperException

from bittern import __version__
from bittern.cli.output import guard, tell, write

# name -> (module, attribute, help): imported only when the command is called, so that --help stays quick.
GROUPS = {
    "vin": ("bittern.cli.vin", "Check, correct and decode vehicle identification numbers."),
    "label": ("bittern.cli.label", "Read photos of labels: bar codes and print."),
    "blade": ("bittern.cli.blade", "Contours, charts and measurements of blades."),
    "cut": ("bittern.cli.cut", "Plan and check cutting programs, inspect finished keys."),
    "runsheet": ("bittern.cli.runsheet", "Check and rehearse pairing procedures."),
    "link": ("bittern.cli.link", "Read a vehicle's number and supply voltage; nothing is written."),
    "pack": ("bittern.cli.pack", "Check packs of catalogue data."),
    "job": ("bittern.cli.job", "Carry a job through its legs from the command line."),
    "log": ("bittern.cli.log", "Verify the jobs' logs."),
}
SINGLES = {
    "identify": ("bittern.cli.identify", "identify_command", "Which article does the vehicle accept?"),
    "card": (
        "bittern.cli.card",
        "card_command",
        "Write the measuring card for photos of keys.",
    ),
    "demo": ("bittern.cli.serve", "demo_command", "Serve the bench with the demo shop loaded."),
    "serve": ("bittern.cli.serve", "serve_command", "Serve the bench with the shop's own data."),
    "setup": ("bittern.cli.serve", "setup_command", "Prepare the shop's database and its first owner."),
}


def build_app(chosen: str | None) -> typer.Typer:
    """Return the application: ``chosen`` in full, every other command as a name with its help."""
    app = typer.Typer(
        add_completion=False,
        no_args_is_help=True,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        help="A bench for replacement vehicle keys: identify, promise, cut, pair, prove, hand over.",
    )

    @app.callback(invoke_without_command=True)
    def root(version: bool = typer.Option(False, "--version", help="Print the version and stop.")) -> None:
        if version:
            write(f"bittern {__version__}")
            raise typer.Exit

    for name, (module, text) in GROUPS.items():
        loaded = importlib.import_module(module).app if name == chosen else _empty_group()
        app.add_typer(loaded, name=name, help=text)
    for name, (module, attribute, text) in SINGLES.items():
        command = getattr(importlib.import_module(module), attribute) if name == chosen else _nothing
        app.command(name, help=text)(command)
    return app


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    chosen = next((word for word in words if not word.startswith("-")), None)
    app = build_app(chosen)
    try:
        # typer turns an interrupt into the exit code 130 that it returns.
        code = guard(lambda: app(words, prog_name="bittern", standalone_mode=False))
    except TyperException as error:
        # Where a command is missing the whole help is the message, and that is not one line.
        text = error.format_message()
        text = "no command" if text.startswith("Usage:") else " ".join(text.split())
        context = getattr(error, "ctx", None)
        tell(f"bittern: {text} (see '{context.command_path if context else 'bittern'} --help')")
        return 2
    except SystemExit:
        # typer leaves in this way only when the reader of its help has gone away (`bittern --help | head`).
        return 0
    except (typer.Abort, KeyboardInterrupt):
        code = 130
    if code == 130:
        tell("bittern: stopped")
    return code


def run() -> None:
    """Entry point of the installed command."""
    if sys.stdin is None:
        # Started with standard input closed: nothing comes, which every reader knows how to say.
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: PTH123, SIM115
    sys.exit(main())


def _empty_group() -> typer.Typer:
    group = typer.Typer(no_args_is_help=True)
    group.command("…")(_nothing)
    return group


def _nothing() -> None:
    """Stand for a command that was not asked for in this call; never run."""
