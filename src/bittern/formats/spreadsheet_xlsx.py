"""XLSX of unknown making (ECMA-376, Office Open XML), read in a process of its own with limits.

A file of a few hundred bytes can name one cell in the last row of the last column, and the library that reads
it lays out every cell before it: half a terabyte. An allocation that fails ends the whole process, so it is
not ours that reads. Sizes are checked before, as the archive states them; the limits of the process bind
whatever it states.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from bittern.core.errors import InputError

UNPACKED_LIMIT_BYTES = 800_000_000
"""Largest sum of the archive's parts: a million rows of ten columns take about half of it."""
PARTS_LIMIT = 5_000
EXPECTED = "a spreadsheet as XLSX"


@dataclass(frozen=True, slots=True)
class XlsxTable:
    """The rows, each text with the letter of its kind before it."""

    rows: Iterator[list[str]]
    sheet: str
    sheets: tuple[str, ...]


def is_zip(path: Path) -> bool:
    """Say whether the file begins as a ZIP archive does."""
    with path.open("rb") as stream:
        return stream.read(4) in (b"PK\x03\x04", b"PK\x05\x06")


@contextlib.contextmanager
def open_xlsx(path: Path, name: str, sheet: str) -> Iterator[XlsxTable]:
    """Yield the table of a sheet; ``InputError`` for a file that is none, now or while it is read."""
    _check_archive(path, name)
    words = [sys.executable, "-I", "-m", "bittern.formats.spreadsheet_reader", str(path.absolute()), sheet]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as reader:  # noqa: S603
        try:
            assert reader.stdout is not None
            head = _read_line(reader, reader.stdout, name)
            if not isinstance(head, dict):
                raise InputError("a spreadsheet that cannot be read", EXPECTED, where=name)
            if "error" in head:
                raise InputError(str(head["error"]), str(head["expected"]), where=name)
            rows = _read_rows(reader, reader.stdout, name)
            yield XlsxTable(rows, str(head["sheet"]), tuple(head["sheets"]))
        finally:
            reader.kill()


def _check_archive(path: Path, name: str) -> None:
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            names = {part.filename for part in parts}
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise InputError(f"a damaged file ({error})", EXPECTED, where=name) from error
    if "[Content_Types].xml" not in names or not any(one.startswith("xl/") for one in names):
        raise InputError("an archive of another kind", EXPECTED, where=name)
    if any(part.flag_bits & 1 for part in parts):
        raise InputError("a file with a password", f"{EXPECTED} without one", where=name)
    total = sum(part.file_size for part in parts)
    if len(parts) > PARTS_LIMIT or total > UNPACKED_LIMIT_BYTES:
        raise InputError(
            f"{total:,} bytes in {len(parts):,} parts once unpacked",
            f"at most {UNPACKED_LIMIT_BYTES:,} bytes in {PARTS_LIMIT:,} parts",
            where=name,
        )


def _read_rows(reader: subprocess.Popen[bytes], stream: IO[bytes], name: str) -> Iterator[list[str]]:
    while True:
        rows = _read_line(reader, stream, name)
        if not isinstance(rows, list):
            return
        yield from rows


def _read_line(reader: subprocess.Popen[bytes], stream: IO[bytes], name: str) -> object:
    line = stream.readline()
    if not line:
        # Ended by a limit, or by a file that upset it: either way there is nothing to be had.
        raise InputError(
            "a spreadsheet too large or too damaged to be read",
            f"{EXPECTED}, its cells close together",
            where=name,
            hint="copy the rows into a new sheet, or save the list as CSV",
        )
    return json.loads(line)
