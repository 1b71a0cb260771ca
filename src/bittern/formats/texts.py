"""Opening text files that others wrote: size, kind, place and encoding are checked first."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from pathlib import Path

from bittern.core.errors import InputError, shorten

TEXT_LIMIT_BYTES = 5_000_000
"""Largest text file read in one piece."""
LINE_LIMIT = 65_536
"""Longest line, in characters, of a file that is read line by line: longer ones are no table of ours."""
BYTE_ORDER_MARK = "\ufeff"
TEXT_FILE = "a text file"


def check_file(
    path: Path,
    *,
    limit_bytes: int = TEXT_LIMIT_BYTES,
    inside: Path | None = None,
    expected: str = TEXT_FILE,
) -> int:
    """Return the size of ``path`` in bytes if it may be opened.

    Parameters
    ----------
    inside
        Folder that the file, after following links, must lie in.
    expected
        What the file should be, for the error.

    Raises
    ------
    InputError
        No such file, not a plain file, too large, not to be reached, or a link that leads out of ``inside``.
    """
    name = str(path)
    try:
        resolved = path.resolve(strict=True)
        if inside is not None and not resolved.is_relative_to(inside.resolve(strict=True)):
            raise InputError("a link that leads out of the folder", "a file inside it", where=name)
        status = resolved.stat()
    except FileNotFoundError as error:
        raise InputError("no such file", expected, where=name) from error
    except (OSError, RuntimeError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"a file that cannot be reached ({reason})", expected, where=name) from error
    if not stat.S_ISREG(status.st_mode):
        raise InputError("something that is not a plain file", expected, where=name)
    if status.st_size > limit_bytes:
        of_text = " of text" if expected == TEXT_FILE else ""
        raise InputError(f"{status.st_size:,} bytes", f"at most {limit_bytes:,} bytes{of_text}", where=name)
    return status.st_size


def read_text(path: Path, *, limit_bytes: int = TEXT_LIMIT_BYTES, inside: Path | None = None) -> str:
    """Return the whole of a UTF-8 text file without its byte order mark.

    Raises
    ------
    InputError
        As :func:`check_file`; also for NUL bytes and for bytes that are not UTF-8.
    """
    check_file(path, limit_bytes=limit_bytes, inside=inside)
    try:
        with path.open("rb") as stream:
            raw = stream.read(limit_bytes + 1)
    except OSError as error:
        raise InputError(
            f"a file that cannot be read ({error.strerror})", TEXT_FILE, where=str(path)
        ) from error
    if len(raw) > limit_bytes:
        raise InputError(
            "a file that grew while it was read", f"at most {limit_bytes:,} bytes", where=str(path)
        )
    return decode_text(raw, str(path))


def decode_text(raw: bytes, file: str) -> str:
    """Return ``raw`` as text; a byte order mark is dropped.

    Raises
    ------
    InputError
        NUL bytes (a binary file), or bytes that are not UTF-8 (the position is named).
    """
    if b"\0" in raw:
        raise InputError("binary data (a NUL byte)", "UTF-8 text", where=file)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(
            f"bytes that are not UTF-8 in line {line}",
            "UTF-8 text",
            where=file,
            hint="save the file as UTF-8",
        ) from error


def stream_lines(path: Path, *, limit_bytes: int, inside: Path | None = None) -> Iterator[str]:
    """Yield the lines of a UTF-8 text file with their ends, never holding more than one of them.

    Raises
    ------
    InputError
        As :func:`read_text`; also for a line longer than ``LINE_LIMIT`` characters.
    """
    check_file(path, limit_bytes=limit_bytes, inside=inside)
    number = 0
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            while line := stream.readline(LINE_LIMIT + 1):
                number += 1
                if len(line) > LINE_LIMIT:
                    raise InputError(
                        f"line {number} of more than {LINE_LIMIT:,} characters: {shorten(line, 24)}",
                        "lines of a table",
                        where=str(path),
                    )
                if "\0" in line:
                    raise InputError(
                        f"binary data (a NUL byte) in line {number}", "UTF-8 text", where=str(path)
                    )
                yield line
    except UnicodeDecodeError as error:
        # The decoder works in blocks ahead of the lines, so only "after" can be promised.
        raise InputError(
            f"bytes that are not UTF-8 after line {number}",
            "UTF-8 text",
            where=str(path),
            hint="save the file as UTF-8",
        ) from error
    except OSError as error:
        raise InputError(
            f"a file that cannot be read ({error.strerror})", TEXT_FILE, where=str(path)
        ) from error
