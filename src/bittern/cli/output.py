"""What every command shares: ``--json``, ``--pack``, printing, and the way an error becomes an exit code.

Exit 0: done. Exit 1: done, and the answer is a "no" (raise :class:`NoAnswer` after :func:`emit`). Exit 2: bad usage or
unreadable input; every :class:`~bittern.core.errors.BitternError` that reaches :func:`guard` ends there with one line on
standard error. A ``check`` command therefore catches ``FaultsError`` itself, emits the faults and raises ``NoAnswer``.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.core.errors import BitternError

if TYPE_CHECKING:
    from bittern.formats.packs import Pack

JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object on standard output.")]
PackOption = Annotated[
    Path | None,
    typer.Option("--pack", metavar="DIR", help="Folder of the pack to use; the demo pack without it."),
]


class NoAnswer(Exception):
    """The command is done and its answer is a "no": exit code 1."""


def emit(data: Mapping[str, object], *, as_json: bool, text: str | Callable[[], str]) -> None:
    """Print ``data`` as one JSON object, or ``text`` for a person, on standard output."""
    if as_json:
        sys.stdout.write(json.dumps(data, ensure_ascii=False, allow_nan=False, default=_plain) + "\n")
    else:
        sys.stdout.write((text if isinstance(text, str) else text()).rstrip("\n") + "\n")


def tell(line: str) -> None:
    """Print a message or progress on standard error."""
    sys.stderr.write(line + "\n")


def load_pack(folder: Path | None) -> Pack:
    """Return the pack in ``folder``, or the demo pack."""
    from bittern.formats.packs import read_pack

    if folder is None:
        from bittern.demo import PACK_DIR

        folder = PACK_DIR
    return read_pack(folder)


def guard(command: Callable[[], object]) -> int:
    """Run ``command`` and return its exit code; errors become one line on standard error."""
    try:
        command()
    except NoAnswer:
        return 1
    except BitternError as error:
        tell(f"bittern: {error}")
        return 2
    return 0


def _plain(value: object) -> object:
    if isinstance(value, tuple | set | frozenset):
        return list(value)
    return str(value)
