"""Columns of a list read as the fields they mean: each distinct text once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.key.catalogue import ARTICLE_KINDS, STARTS
from bittern.formats.spreadsheets import DATE, NUMBER, Column, Sheet
from bittern.work.supplier import amounts
from bittern.work.supplier.cells import (
    EMPTY,
    ERROR_CELLS,
    Cell,
    is_nothing,
    read_buttons,
    read_choice,
    read_fcc_id,
    read_identifier,
    read_reference,
    read_text,
)
from bittern.work.supplier.columns import find_unit, name_columns, sample_values
from bittern.work.supplier.fields import FIELD_WORDS, IDENTIFIERS, YEARS
from bittern.work.supplier.years import read_year, read_years

LOST_ZEROS = "shorter than the others: leading zeros may have been lost in a spreadsheet"
WAS_NUMBER = "a number in the spreadsheet: leading zeros, had there been any, are lost"
WAS_DATE = "years as text: the spreadsheet has made a date of it"
MOST_OF = 0.8


@dataclass(frozen=True, slots=True)
class Settings:
    """What a list is read with.

    Attributes
    ----------
    currency
        The pack's.
    latest
        The latest model year: an open end reaches to it.
    supplier
        Whose list it is, for articles whose row does not say.
    """

    currency: str
    latest: int
    supplier: str = ""


@dataclass(frozen=True, slots=True)
class FieldColumn:
    """A column read as ``field``: a cell for each distinct text, a code for each row below the header."""

    field: str
    name: str
    column: Column
    codes: NDArray[np.int32]
    cells: tuple[Cell, ...]

    @property
    def faulty(self) -> NDArray[np.bool_]:
        """Which rows hold a fault."""
        wrong = np.array([bool(cell.expected) for cell in self.cells], dtype=np.bool_)
        return wrong[self.codes]


def read_fields(
    sheet: Sheet, header: int | None, mapping: Mapping[int, str], settings: Settings
) -> dict[str, FieldColumn]:
    """Return the mapped columns by field."""
    names = name_columns(sheet, header)
    first = 0 if header is None else header + 1
    found = {}
    for place, field in mapping.items():
        if field in FIELD_WORDS:
            column = sheet.columns[place]
            title = "" if header is None else column[header]
            cells = _read_column(column, field, title, header, settings)
            found[field] = FieldColumn(field, names[place], column, column.codes[first:], cells)
    return found


def _read_column(
    column: Column, field: str, title: str, header: int | None, settings: Settings
) -> tuple[Cell, ...]:
    sample = sample_values(column, header)
    read = _choose_reader(field, title, amounts.find_decimal_sign(sample), settings)
    short = _find_short(column) if field in IDENTIFIERS else frozenset()
    cells = []
    for text, kind in zip(column.values, column.kinds, strict=True):
        cell = EMPTY
        if text in ERROR_CELLS:
            cell = Cell(expected="a value: a formula of the spreadsheet failed here")
        elif kind == DATE and field == YEARS:
            cell = Cell(expected=WAS_DATE)
        elif kind == DATE and field in ("year_from", "year_to"):
            cell = Cell(text[:4], "the year of a date")
        elif not is_nothing(text):
            cell = read(text)
            if field in IDENTIFIERS and not cell.expected and not cell.note:
                lost = WAS_NUMBER if kind == NUMBER else LOST_ZEROS if text in short else ""
                cell = Cell(cell.value, lost) if lost else cell
        cells.append(cell)
    return tuple(cells)


def _choose_reader(field: str, title: str, sign: str, settings: Settings) -> Callable[[str], Cell]:
    unit = find_unit(title)
    readers: dict[str, Callable[[str], Cell]] = {
        "article": read_identifier,
        "fcc_id": read_fcc_id,
        "frequency_hz": lambda text: amounts.read_frequency(text, unit, sign),
        "buttons": read_buttons,
        "kind": lambda text: read_choice("kind", text, " or ".join(ARTICLE_KINDS)),
        "start": lambda text: read_choice("start", text, " or ".join(STARTS)),
        "modulation": _read_modulation,
        "blade": read_reference,
        "runsheet": read_reference,
        "cost": lambda text: amounts.read_money(text, settings.currency, sign),
        "price": lambda text: amounts.read_money(text, settings.currency, sign),
        "years": lambda text: read_years(text, settings.latest),
        "year_from": lambda text: read_year(text, settings.latest),
        "year_to": lambda text: read_year(text, settings.latest),
        "share": amounts.read_share,
    }
    return readers.get(field, read_text)


def _read_modulation(text: str) -> Cell:
    cell = read_choice("modulation", text, "")
    return cell if cell.value else read_text(text)


def _find_short(column: Column) -> frozenset[str]:
    """Return the numerals that are shorter than most of the column's, which all have one length."""
    numerals = [text for text in column.values if text.isdigit() and text.isascii()]
    lengths = Counter(map(len, numerals))
    if not lengths:
        return frozenset()
    length, count = lengths.most_common(1)[0]
    if count < MOST_OF * len(numerals):
        return frozenset()
    return frozenset(text for text in numerals if len(text) < length)
