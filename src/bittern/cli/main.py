"""The ``bittern`` command."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

import typer
from typer.exceptions import TyperException

from bittern import __version__
from bittern.cli.output import guard, tell

# name -> (module, attribute, help): imported only when the command is called, so that --help stays quick.
GROUPS = {
    "vin": ("bittern.cli.vin", "Check, correct and decode vehicle identification numbers."),
    "blade": ("bittern.cli.blade", "Contours, charts and measurements of blades."),
    "runsheet": ("bittern.cli.runsheet", "Check and rehearse pairing procedures."),
    "pack": ("bittern.cli.pack", "Check packs of catalogue data."),
    "job": ("bittern.cli.job", "Carry a job through its legs from the command line."),
    "log": ("bittern.cli.log", "Verify the jobs' logs."),
}
SINGLES = {
    "identify": ("bittern.cli.identify", "identify_command", "Which article does the vehicle accept?"),
    "demo": ("bittern.cli.serve", "demo_command", "Serve the bench with the demo shop loaded."),
    "serve": ("bittern.cli.serve", "serve_command", "Serve the bench with the shop's own data."),
    "setup": ("bittern.cli.serve", "setup_command", "Prepare the shop's database and its first owner."),
}


def build_app(chosen: str | None) -> typer.Typer:
    """Return the application with ``chosen`` loaded in full and every other command as a name with its help."""
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
            sys.stdout.write(f"bittern {__version__}\n")
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
        return guard(lambda: app(words, prog_name="bittern", standalone_mode=False))
    except typer.Exit as stop:
        return stop.exit_code
    except TyperException as error:
        # With no words at all the usage text itself is the message; every other misuse is one line.
        text = error.format_message()
        if not words or not text.strip():
            return 2
        tell(f"bittern: {' '.join(text.split())} (see 'bittern {chosen or ''} --help')".replace("  ", " "))
        return 2
    except (typer.Abort, KeyboardInterrupt):
        tell("bittern: stopped")
        return 130
    except BrokenPipeError:
        # The reader went away (`bittern … | head`): nothing more to say, and nothing to complain about at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def run() -> None:
    """Entry point of the installed command."""
    sys.exit(main())


def _empty_group() -> typer.Typer:
    group = typer.Typer(no_args_is_help=True)
    group.command("…")(_nothing)
    return group


def _nothing() -> None:
    """Stand for a command that was not asked for in this call; never run."""
