"""The first rows of a list as they are and as they will be."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.work.supplier.cells import Cell
from bittern.work.supplier.fields import FIELD_WORDS, FIELDS
from bittern.work.supplier.lists import Choices, Look
from bittern.work.supplier.reading import Settings, read_fields

ROWS = 8


@dataclass(frozen=True, slots=True)
class PreviewCell:
    """One cell before and after."""

    before: str
    cell: Cell


@dataclass(frozen=True, slots=True)
class PreviewRow:
    """One row of the spreadsheet."""

    row: int
    cells: tuple[PreviewCell, ...]


@dataclass(frozen=True, slots=True)
class Preview:
    """Names of column and field, then rows."""

    heads: tuple[tuple[str, str], ...]
    rows: tuple[PreviewRow, ...]


def make_preview(look: Look, choices: Choices, settings: Settings, most: int = ROWS) -> Preview:
    """Return the first rows with anything in them, a column for each field in the pack's order."""
    fields = read_fields(look.sheet, look.header, look.mapping(choices), settings)
    columns = [fields[name] for name in FIELDS if name in fields]
    first = 0 if look.header is None else look.header + 1
    rows: list[PreviewRow] = []
    for place in range(look.sheet.rows - first):
        cells = tuple(
            PreviewCell(column.column.values[code], column.cells[code])
            for column in columns
            for code in [int(column.codes[place])]
        )
        if any(cell.before for cell in cells):
            rows.append(PreviewRow(place + first + 1, cells))
        if len(rows) == most:
            break
    return Preview(tuple((column.name, FIELD_WORDS[column.field]) for column in columns), tuple(rows))
