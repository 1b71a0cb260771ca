"""CSV of unknown making: its encoding and separator are found out, then it is read row by row."""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bittern.core.errors import InputError

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_SAMPLE_BYTES = 131_072
_BLOCK_BYTES = 1 << 20
# In an odd number of bytes either half of UTF-16 is mostly NUL where the text is mostly Latin.
_MOSTLY = 0.4
_CONTROLS = {chr(code) for code in range(32)} - set("\t\n\r\f")
_OTHER_FILES = {
    b"%PDF": "a PDF document",
    b"\xd0\xcf\x11\xe0": "a spreadsheet of the old binary kind, or one with a password",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"\x1f\x8b": "a compressed file",
    b"{\\rtf": "a text document",
}


@dataclass(frozen=True, slots=True)
class CsvTable:
    """The rows, each text with the letter ``t`` before it, and how the file was understood."""

    rows: Iterator[list[str]]
    about: tuple[str, ...]


def open_csv(path: Path, name: str) -> CsvTable:
    """Return the table in ``path``; ``InputError`` for a file that is none, now or while it is read."""
    with path.open("rb") as stream:
        sample = stream.read(_SAMPLE_BYTES)
    found = next((word for start, word in _OTHER_FILES.items() if sample.startswith(start)), "")
    if found:
        raise InputError(found, "a table as CSV or XLSX", where=name, hint="save the list as XLSX or CSV")
    encoding, called = find_encoding(path, sample, name)
    text = codecs.getincrementaldecoder(encoding)("replace").decode(sample)
    if odd := sorted(_CONTROLS & set(text)):
        raise InputError(f"a control character ({odd[0]!r})", "a table as CSV or XLSX", where=name)
    separator = find_separator(text)
    return CsvTable(
        _read(path, name, encoding, separator), (f"text in {called}", f"parted by {SEPARATORS[separator]}")
    )


def find_encoding(path: Path, sample: bytes, name: str) -> tuple[str, str]:
    """Return Python's and people's name of the file's encoding.

    A byte order mark decides; then NUL bytes in every other place (UTF-16); then whether all of the file is
    valid UTF-8, which text in another encoding is not by chance; what is left is Windows-1252.
    """
    for mark, encoding, called in (
        (codecs.BOM_UTF8, "utf-8-sig", "UTF-8"),
        (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
        (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
    ):
        if sample.startswith(mark):
            return encoding, called
    half = max(1, len(sample) // 2)
    for first, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        if sample[first::2].count(0) > _MOSTLY * half and sample[1 - first :: 2].count(0) == 0:
            return encoding, "UTF-16"
    if b"\0" in sample:
        raise InputError("binary data (a NUL byte)", "a table as CSV or XLSX", where=name)
    if _is_valid(path, "utf-8"):
        return "utf-8", "UTF-8"
    if _is_valid(path, "cp1252"):
        return "cp1252", "Windows-1252"
    raise InputError(
        "bytes that are neither UTF-8 nor UTF-16 nor Windows-1252",
        "a table as CSV or XLSX",
        where=name,
        hint="save the list as XLSX, or as CSV in UTF-8",
    )


def _is_valid(path: Path, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        with path.open("rb") as stream:
            while block := stream.read(_BLOCK_BYTES):
                decoder.decode(block)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def find_separator(text: str) -> str:
    """Return the sign that parts the text into the most even rows; a comma where none does.

    >>> find_separator("make;price\\nQuillmoor;12,50\\n")
    ';'
    """
    # The last line of a sample may be torn.
    lines = text[: text.rfind("\n") + 1] or text
    best, best_score = ",", (0.0, 0)
    for separator in SEPARATORS:
        widths = Counter[int]()
        try:
            for row in csv.reader(io.StringIO(lines, newline=""), delimiter=separator, strict=True):
                if any(row):
                    widths[len(row)] += 1
                if widths.total() == 200:
                    break
        except csv.Error as error:
            # A quotation mark where only a separator may stand: this is not the one. A torn end is no proof.
            if not widths or "expected after" in str(error):
                continue
        if not widths:
            continue
        width, count = max(widths.items(), key=lambda pair: (pair[1], pair[0]))
        # Even rows count before many columns: a decimal comma parts some cells of some rows.
        score = (round(count / widths.total(), 1), width)
        if width > 1 and score > best_score:
            best, best_score = separator, score
    return best


def _read(path: Path, name: str, encoding: str, separator: str) -> Iterator[list[str]]:
    with path.open(encoding=encoding, newline="") as stream:
        rows = csv.reader(_check_lines(stream, name), delimiter=separator, strict=True)
        try:
            for row in rows:
                yield ["t" + cell.strip() for cell in row]
        except csv.Error as error:
            raise InputError(
                f"a table that cannot be read near line {rows.line_num} ({error})",
                "CSV (RFC 4180)",
                where=name,
                hint="a quotation mark may lack its partner",
            ) from error
        except UnicodeDecodeError as error:
            raise InputError(
                f"bytes that are no text after line {rows.line_num}", "one encoding throughout", where=name
            ) from error


def _check_lines(stream: io.TextIOWrapper, name: str) -> Iterator[str]:
    limit = 65_536
    number = 0
    while line := stream.readline(limit + 1):
        number += 1
        if len(line) > limit:
            raise InputError(
                f"line {number} of more than {limit:,} characters", "lines of a table", where=name
            )
        if "\0" in line:
            raise InputError(f"binary data (a NUL byte) in line {number}", "text", where=name)
        yield line
