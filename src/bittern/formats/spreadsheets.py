"""Suppliers' spreadsheets: a CSV or XLSX file of unknown making, read into columns of distinct values.

A list of a million rows repeats the same few thousand makes, models and years: each column keeps every text
once and, for each row, the text's place. Whatever is done with a cell later is then done once a text.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bittern.core.errors import InputError
from bittern.formats.spreadsheet_csv import open_csv
from bittern.formats.spreadsheet_xlsx import is_zip, open_xlsx
from bittern.formats.texts import check_file

WEB_LIMIT_BYTES = 50_000_000
"""Largest file that the bench takes from a browser."""
FILE_LIMIT_BYTES = 200_000_000
"""Largest file that the command takes."""
ROWS_LIMIT = 1_048_576
"""Rows of a sheet in the usual spreadsheet programs, the header among them."""
COLUMNS_LIMIT = 200
BATCH_ROWS = 20_000
TEXT, NUMBER, DATE = "t", "n", "d"
"""What a cell is: a text, a number or truth value as the spreadsheet keeps it, or a date or time. CSV has
texts alone."""

Tell = Callable[[int], None]
"""Called with the count of rows read so far; may raise to end the reading."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: ``values[codes[i]]`` is the text of row i, and ``kinds`` says what each text was."""

    codes: NDArray[np.int32]
    values: tuple[str, ...]
    kinds: str

    def __getitem__(self, row: int) -> str:
        return self.values[int(self.codes[row])]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as it stands in the file, nothing interpreted.

    Attributes
    ----------
    columns
        All of one length; row i of them is row i + 1 of the spreadsheet.
    sheet, sheets
        Name of the sheet read and of all there are; empty for CSV.
    about
        How the file was understood, in words: its encoding and separator.
    """

    file: str
    columns: tuple[Column, ...]
    rows: int
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    about: tuple[str, ...] = ()

    def row(self, place: int) -> tuple[str, ...]:
        """Return the texts of one row."""
        return tuple(column[place] for column in self.columns)

    def rows_with_kinds(self, most: int) -> list[list[str]]:
        """Return the first rows, each text with the letter of its kind before it."""
        return [
            [
                column.kinds[code] + column.values[code]
                for column in self.columns
                for code in [column.codes[place]]
            ]
            for place in range(min(most, self.rows))
        ]


class _Places(dict[str, int]):
    """The place of each text in order of first sight."""

    def __missing__(self, text: str) -> int:
        place = self[text] = len(self)
        return place


class _Encoder:
    """Grows the columns, a batch of rows at a time."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.rows = 0
        self.places: list[_Places] = []
        self.codes: list[array[int]] = []

    def add(self, rows: list[list[str]]) -> None:
        """Add rows whose texts begin with the letter of their kind."""
        widest = max(map(len, rows))
        if widest > COLUMNS_LIMIT:
            row = next(i for i, row in enumerate(rows) if len(row) == widest)
            raise InputError(
                f"{widest:,} columns in row {self.rows + row + 1}",
                f"a table of at most {COLUMNS_LIMIT} columns",
                where=self.file,
            )
        while len(self.places) < widest:
            self.places.append(_Places({TEXT: 0}))
            self.codes.append(array("i", bytes(4 * self.rows)))
        width = len(self.places)
        blank = [TEXT] * width
        whole = [row if len(row) == width else row + blank[len(row) :] for row in rows]
        for places, codes, cells in zip(self.places, self.codes, zip(*whole, strict=True), strict=True):
            codes.extend(map(places.__getitem__, cells))
        self.rows += len(rows)

    def finish(self) -> tuple[Column, ...]:
        """Return the columns."""
        columns = []
        while self.codes:
            codes, places = self.codes.pop(0), self.places.pop(0)
            columns.append(
                Column(
                    np.frombuffer(codes, dtype=np.int32),
                    tuple(text[1:] for text in places),
                    "".join(text[0] for text in places),
                )
            )
        return tuple(columns)


def read_sheet(
    path: Path,
    *,
    name: str = "",
    sheet: str = "",
    limit_bytes: int = FILE_LIMIT_BYTES,
    most_rows: int | None = None,
    tell: Tell | None = None,
) -> Sheet:
    """Return the table in a CSV or XLSX file.

    Parameters
    ----------
    name
        What the file is called in errors; its own name without it.
    sheet
        Name of the sheet of an XLSX file; the first one without it.
    most_rows
        Read no more rows than these: enough to show what the table is.

    Raises
    ------
    InputError
        The file is no such table, damaged, made to do harm, or beyond a limit; always one error.
    """
    name = name or path.name
    size = check_file(path, limit_bytes=limit_bytes, expected="a list as CSV or XLSX")
    if not size:
        raise InputError("an empty file", "a table as CSV or XLSX", where=name)
    if is_zip(path):
        with open_xlsx(path, name, sheet) as source:
            columns, count = _encode(source.rows, name, most_rows, tell)
            return Sheet(name, columns, count, source.sheet, source.sheets, ("a spreadsheet (XLSX)",))
    if sheet:
        raise InputError("a file without sheets", "no sheet to be named", where=name)
    table = open_csv(path, name)
    columns, count = _encode(table.rows, name, most_rows, tell)
    return Sheet(name, columns, count, about=table.about)


def make_sheet(
    file: str, rows: list[list[str]], sheet: str = "", sheets: Iterable[str] = (), about: Iterable[str] = ()
) -> Sheet:
    """Return the table of rows such as :meth:`Sheet.rows_with_kinds` gives."""
    columns, count = _encode(iter(rows), file, None, None)
    return Sheet(file, columns, count, sheet, tuple(sheets), tuple(about))


def _encode(
    rows: Iterator[list[str]], name: str, most_rows: int | None, tell: Tell | None
) -> tuple[tuple[Column, ...], int]:
    encoder = _Encoder(name)
    left = rows if most_rows is None else islice(rows, most_rows)
    for batch in _cut(left):
        encoder.add(batch)
        if encoder.rows > ROWS_LIMIT:
            raise InputError(
                f"more than {ROWS_LIMIT:,} rows", f"at most {ROWS_LIMIT:,}, the header among them", where=name
            )
        if tell:
            tell(encoder.rows)
    if not encoder.places:
        raise InputError("no cell with anything in it", "a table with a header and rows", where=name)
    return encoder.finish(), encoder.rows


def _cut(rows: Iterable[list[str]]) -> Iterator[list[list[str]]]:
    """Yield the rows in batches, without those at the end that are empty."""
    waiting: list[list[str]] = []
    source = iter(rows)
    while batch := list(islice(source, BATCH_ROWS)):
        waiting += batch
        full = len(waiting)
        while full and not any(len(cell) > 1 for cell in waiting[full - 1]):
            full -= 1
        if full:
            yield waiting[:full]
            waiting = waiting[full:]
        if len(waiting) > ROWS_LIMIT:
            return
