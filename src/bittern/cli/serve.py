"""``bittern demo``, ``bittern serve`` and ``bittern setup``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from bittern.cli.output import tell, write
from bittern.core.errors import InputError

PortOption = Annotated[
    int,
    typer.Option(
        "--port", metavar="N", envvar="PORT", min=0, max=65535, help="Port to serve on; 0 takes a free one."
    ),
]
DataOption = Annotated[
    Path | None,
    typer.Option("--data", metavar="DIR", help="The shop's data folder; var without it, or BITTERN_DATA."),
]
DemoDataOption = Annotated[
    Path | None, typer.Option("--data", metavar="DIR", help="The demo's data folder; var/demo without it.")
]


def demo_command(port: PortOption = 8000, data: DemoDataOption = None) -> None:
    """Serve the demo shop."""
    from bittern.cli.handover import demo

    demo(port, data, write)


def serve_command(port: PortOption = 8000, data: DataOption = None) -> None:
    """Serve the shop's own data."""
    from bittern.cli.handover import serve

    serve(port, data, write)


def setup_command(
    data: DataOption = None,
    login: Annotated[
        str, typer.Option("--login", metavar="LOGIN", help="Login name of the owner; asked for without it.")
    ] = "",
    name: Annotated[
        str,
        typer.Option("--name", metavar="NAME", help="The owner's name on papers; the login name without it."),
    ] = "",
    reset: Annotated[
        bool, typer.Option("--reset", help="Give the owner with this login name a new password.")
    ] = False,
) -> None:
    """Prepare the database, then add an owner, whose password is asked for or read from standard input."""
    from bittern.cli import handover

    has_owner = handover.setup(data)
    if has_owner and not login:
        write("The data folder is ready; it has an owner already.")
        return
    login = login or _ask("Login name of the owner: ")
    password = _ask_password()
    if reset:
        handover.reset_owner(login, password)
    else:
        handover.add_owner(login, name, password)
    write(f"Ready: {login} can log in as owner. 'bittern serve' serves the bench.")


def _ask(question: str) -> str:
    sys.stderr.write(question)
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line.strip():
        raise InputError("nothing", "an answer on standard input", where=question.rstrip(": "))
    return line.strip()


def _ask_password() -> str:
    """Return the password, typed unseen twice, or the next line of standard input."""
    if not sys.stdin.isatty():
        line = sys.stdin.readline().rstrip("\r\n")
        if not line:
            raise InputError("nothing", "the password on standard input", where="password")
        return line
    from getpass import getpass

    first = getpass("Password: ")
    if first != getpass("Once more: "):
        tell("The two differ.")
        raise InputError("two different passwords", "the same twice", where="password")
    return first
