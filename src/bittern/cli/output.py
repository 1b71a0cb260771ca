"""What every command shares: ``--json``, ``--pack``, printing, and the way an error becomes an exit code.

Exit 0: done. Exit 1: done, and the answer is a "no" (raise :class:`NoAnswer` after :func:`emit`). Exit 2:
bad usage or unreadable input; every :class:`~bittern.core.errors.BitternError` that reaches :func:`guard`
ends there with one line on standard error. A ``check`` command therefore catches ``FaultsError`` itself,
emits the faults and raises ``NoAnswer``.
"""

from __future__ import annotations

import codecs
import contextlib
import json
import os
import re
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.core.errors import BitternError, InputError

if TYPE_CHECKING:
    from bittern.formats.packs import Pack

JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object on standard output.")]
PackOption = Annotated[
    Path | None,
    typer.Option("--pack", metavar="DIR", help="Folder of the pack to use; the demo pack without it."),
]

# Half of a pair that stands alone: a name of bytes that are no UTF-8, which no text on the outside can hold.
_LONE_HALF = re.compile("[\ud800-\udfff]")


class NoAnswer(Exception):  # noqa: N818 - an answer, not an error
    """The command is done and its answer is a "no": exit code 1."""


def emit(data: Mapping[str, object], *, as_json: bool, text: str | Callable[[], str]) -> None:
    """Print ``data`` as one JSON object, or ``text`` for a person, on standard output."""
    if as_json:
        # JSON is UTF-8 (RFC 8259); where standard output is not, its own escapes say the same.
        plain = _get_encoding() != "utf-8"
        write(json.dumps(data, ensure_ascii=plain, allow_nan=False, default=_plain))
    else:
        write((text if isinstance(text, str) else text()).rstrip("\n"))


def write(text: str) -> None:
    """Print ``text`` and a line's end on standard output, at once.

    A reader that has gone away (``bittern … | head``) is no fault: the rest goes nowhere, and the answer
    stands. What the terminal's encoding lacks is written as an escape.

    Raises
    ------
    InputError
        Standard output is closed.
    OSError
        It cannot be written: :func:`guard` says so.
    """
    if sys.stdout is None:
        raise InputError("a closed stream", "a place to write to", where="standard output")
    encoding = _get_encoding()
    shown = _LONE_HALF.sub("\ufffd", text).encode(encoding, "backslashreplace").decode(encoding)
    try:
        sys.stdout.write(shown + "\n")
        sys.stdout.flush()
    except BrokenPipeError:
        drop_output()


def drop_output() -> None:
    """Send nowhere what is still unwritten on standard output, lest the interpreter fail on it at its end."""
    with open(os.devnull, "w") as nowhere:  # noqa: PTH123
        os.dup2(nowhere.fileno(), sys.stdout.fileno())


def tell(line: str) -> None:
    """Print a message or progress on standard error; where there is none, the exit code has to say it."""
    if sys.stderr is not None:
        with contextlib.suppress(OSError):
            sys.stderr.write(line + "\n")
            sys.stderr.flush()


def load_pack(folder: Path | None) -> Pack:
    """Return the pack in ``folder``, or the demo pack."""
    from bittern.formats.packs import read_pack

    if folder is None:
        from bittern.demo import PACK_DIR

        folder = PACK_DIR
    return read_pack(folder)


def guard(command: Callable[[], object]) -> int:
    """Run ``command`` and return its exit code, its own if it has one.

    Errors become one line on standard error.
    """
    try:
        code = command()
    except NoAnswer:
        return 1
    except BitternError as error:
        tell(f"bittern: {error}")
        return 2
    except OSError as error:
        # Foreseen nowhere closer: above all a full disk under standard output.
        if error.filename is None:
            drop_output()
        place = error.filename or "standard output"
        reason = error.strerror or error
        tell(f"bittern: {place}: found a place that cannot be used ({reason}), expected another")
        return 2
    return code if isinstance(code, int) else 0


def _get_encoding() -> str:
    """Return the name of standard output's encoding as the codecs know it; one without any holds all."""
    return codecs.lookup(getattr(sys.stdout, "encoding", None) or "utf-8").name


def _plain(value: object) -> object:
    if isinstance(value, tuple | set | frozenset):
        return list(value)
    return str(value)
