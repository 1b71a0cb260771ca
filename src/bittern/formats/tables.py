"""CSV tables: read row by row with limits, written so that they read back the same.

RFC 4180 with a header row; the order of the columns is free and unknown columns are left alone. Rows are
counted as a spreadsheet counts them: the header is row 1.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from pathlib import Path

from bittern.core.errors import Fault, InputError, shorten
from bittern.formats.texts import stream_lines

TABLE_LIMIT_BYTES = 200_000_000
"""Largest table: it is read row by row, so the limit for files in one piece does not bind (a million fitments
take about 90 MB)."""

_WHOLE = re.compile(r"[0-9]{1,9}", re.ASCII)
_NUMBER = re.compile(r"[0-9]{1,17}(?:\.[0-9]{1,25})?(?:[eE][+-]?[0-9]{1,2})?", re.ASCII)
_MONEY = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,4})?", re.ASCII)


def read_table(
    path: Path, file: str, columns: Sequence[str], faults: list[Fault], *, inside: Path | None = None
) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield ``(row, values)`` with the values in the order of ``columns``, spaces around them removed.

    Rows that have more or fewer fields than the header are noted in ``faults`` and passed over, and so is the
    whole table if a column is missing or stands there twice. Empty rows are passed over in silence.

    Raises
    ------
    InputError
        The file is no CSV, or :func:`bittern.formats.texts.stream_lines` refuses it.
    """
    rows = csv.reader(stream_lines(path, limit_bytes=TABLE_LIMIT_BYTES, inside=inside), strict=True)
    try:
        header = [name.strip() for name in next(rows, [])]
        places = _find_places(header, columns, file, faults)
        if places is None:
            return
        width = len(header)
        for row, values in enumerate(rows, start=2):
            if len(values) == width:
                yield row, tuple([values[place].strip() for place in places])
            elif values:
                faults.append(Fault(f"row {row}", f"{len(values)} fields", f"{width} as in the header", file))
    except csv.Error as error:
        raise InputError(
            f"a table that cannot be read near line {rows.line_num} ({error})",
            "CSV (RFC 4180)",
            where=str(path),
        ) from error


def _find_places(
    header: list[str], columns: Sequence[str], file: str, faults: list[Fault]
) -> list[int] | None:
    """Return where each column stands, or None after noting what is wrong with the header."""
    before = len(faults)
    for name in columns:
        count = header.count(name)
        if count != 1:
            found = "no such column" if count == 0 else f"{count} such columns"
            faults.append(Fault(f"row 1, column {name}", found, "one column of this name", file))
    return [header.index(name) for name in columns] if len(faults) == before else None


def to_whole(text: str) -> int | None:
    """Return a whole number without sign, or None.

    >>> to_whole("2018"), to_whole("20.5")
    (2018, None)
    """
    return int(text) if _WHOLE.fullmatch(text) else None


def to_number(text: str) -> float | None:
    """Return a decimal number without sign, or None.

    >>> to_number("433.92e6"), to_number("nan")
    (433920000.0, None)
    """
    return float(text) if _NUMBER.fullmatch(text) else None


def to_money(text: str) -> Decimal | None:
    """Return an amount of money as an exact decimal, or None.

    >>> to_money("18.50"), to_money("18,50")
    (Decimal('18.50'), None)
    """
    return Decimal(text) if _MONEY.fullmatch(text) else None


def format_number(value: float) -> str:
    """Return the shortest text that reads back as ``value``, without a needless ``.0``.

    >>> format_number(433920000.0), format_number(0.35)
    ('433920000', '0.35')
    """
    return str(int(value)) if value.is_integer() and value < 1e15 else repr(value)


def format_table(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a CSV table with its header."""
    return "".join(",".join(map(_quote, row)) + "\n" for row in (columns, *rows))


def _quote(field: str) -> str:
    # Not csv.writer: where lines end in a line feed it leaves a lone carriage return bare, which ends a row.
    if any(sign in field for sign in ',"\r\n'):
        return '"' + field.replace('"', '""') + '"'
    return field


def describe(text: str) -> str:
    """Return a field as an error message shows it."""
    return shorten(text) if text else "nothing"
