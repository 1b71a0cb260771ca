"""Caliper readings: ``position,height_mm,sd_mm``, one row a reading, with an optional column ``edge``."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from bittern.core.errors import Fault, FaultsError, InputError, shorten
from bittern.engines.blade.bitting import EDGE_NAMES, count_edges
from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.texts import read_text

COLUMNS = ("position", "height_mm", "sd_mm")
EDGE_COLUMN = "edge"
ROW_LIMIT = 1000
# A place in mm names the cut it was meant for; a caliper's jaw is not set more closely than this.
PLACE_MM = 0.3

_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,9}(?:\.[0-9]{0,25})?|\.[0-9]{1,25})(?:[eE][+-]?[0-9]{1,2})?", re.ASCII)
_NAMED = re.compile(r"([AB])([0-9]{1,4})", re.ASCII)


@dataclass(frozen=True, slots=True)
class CaliperSheet:
    """The readings of one file, and how its column ``position`` was understood."""

    readings: tuple[Reading, ...]
    positions_as: str


@dataclass(frozen=True, slots=True)
class _Row:
    where: str
    position: str
    edge: str
    height_mm: float
    sd_mm: float


def read_caliper(path: Path, standard: BladeStandard) -> CaliperSheet:
    """Return the readings in the file at ``path``; errors as :func:`parse_caliper`.

    Raises
    ------
    InputError
        No such file, over 5 MB, binary, not UTF-8.
    """
    return parse_caliper(read_text(path), path.name, standard)


def parse_caliper(text: str, file: str, standard: BladeStandard) -> CaliperSheet:
    """Return the readings written in ``text``.

    Parameters
    ----------
    text
        CSV (RFC 4180) with a header. ``position`` is the cut's number from 1, as the bitting is written (on a
        split blade A1, B1 …, or the number beside a column ``edge`` of A or B, or the number counted on from
        edge A to edge B). Numbers that all lie on the standard's positions and are written with a decimal
        point are places in mm from the datum, and so are whole ones that are every position and cannot all
        be cut numbers; ``positions_as`` says what was assumed.
    file
        Name for messages.
    standard
        Gives the number of cuts and their positions.

    Raises
    ------
    InputError
        The text is no CSV, or the header lacks a column.
    FaultsError
        Rows that cannot be read, belong to no cut, or are the second of their cut; all are listed.
    """
    faults: list[Fault] = []
    rows = _read_rows(text, file, faults)
    readings: list[Reading] = []
    in_mm = _are_places(standard, rows)
    seen: dict[int, str] = {}
    for row in rows:
        cut, expected = _find_cut(standard, row, in_mm=in_mm)
        if cut is None:
            faults.append(Fault(f"{row.where}, position", _say(row), expected, file))
        elif cut in seen:
            faults.append(
                Fault(f"{row.where}, position", f"{_say(row)} again", f"once, as in {seen[cut]}", file)
            )
        else:
            seen[cut] = row.where
            readings.append(Reading(cut, row.height_mm, row.sd_mm))
    if not rows and not faults:
        faults.append(Fault("row 2", "no readings", "one row a cut", file))
    if faults:
        raise FaultsError(faults, where=file)
    return CaliperSheet(tuple(readings), "mm from the datum" if in_mm else "cut numbers")


def format_caliper(readings: Sequence[Reading], standard: BladeStandard) -> str:
    """Return ``readings`` as CSV that :func:`parse_caliper` reads back the same."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    split = count_edges(standard) == 2
    writer.writerow([*COLUMNS, EDGE_COLUMN] if split else COLUMNS)
    for reading in readings:
        edge, index = divmod(reading.cut, len(standard.positions_mm))
        row = [str(index + 1), f"{reading.height_mm:.6f}", f"{reading.sd_mm:.6f}"]
        writer.writerow([*row, EDGE_NAMES[edge]] if split else row)
    return out.getvalue()


def _read_rows(text: str, file: str, faults: list[Fault]) -> list[_Row]:
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[_Row] = []
    try:
        header = [name.strip() for name in next(lines, [])]
        for name in COLUMNS:
            if header.count(name) != 1:
                raise InputError(
                    f"a header of {shorten(','.join(header))}", f"the columns {','.join(COLUMNS)}", where=file
                )
        for number, values in enumerate(lines, 2):
            if not any(value.strip() for value in values):
                continue
            if len(rows) >= ROW_LIMIT:
                raise InputError(f"more than {ROW_LIMIT} readings", "one a cut", where=file)
            row = _read_row(header, [value.strip() for value in values], f"row {number}", file, faults)
            if row is not None:
                rows.append(row)
    except csv.Error as error:
        raise InputError(
            f"a table that cannot be read near line {lines.line_num} ({error})", "CSV (RFC 4180)", where=file
        ) from error
    return rows


def _read_row(
    header: Sequence[str], values: Sequence[str], where: str, file: str, faults: list[Fault]
) -> _Row | None:
    if len(values) != len(header):
        faults.append(Fault(where, f"{len(values)} fields", f"{len(header)} as in the header", file))
        return None
    fields = dict(zip(header, values, strict=True))
    before = len(faults)
    numbers = {}
    for name, expected in (("height_mm", "a length in mm"), ("sd_mm", "a length in mm above 0")):
        value = _to_number(fields[name])
        if value is None or (name == "sd_mm" and value <= 0):
            faults.append(Fault(f"{where}, {name}", _describe(fields[name]), expected, file))
        else:
            numbers[name] = value
    if len(faults) > before:
        return None
    return _Row(
        where, fields["position"], fields.get(EDGE_COLUMN, ""), numbers["height_mm"], numbers["sd_mm"]
    )


def _are_places(standard: BladeStandard, rows: Sequence[_Row]) -> bool:
    """Whether the positions are places in mm rather than cut numbers."""
    places = [_find_place(standard, _to_number(row.position)) for row in rows]
    if not places or None in places:
        return False
    if any("." in row.position for row in rows):
        return True
    # Whole numbers: 9 on a blade of eight cuts is sooner a slip of the pen than a place, so they count as
    # places only when together they are every cut's and cannot all be numbers.
    as_numbers = all(_find_cut(standard, row, in_mm=False)[0] is not None for row in rows)
    return not as_numbers and set(places) == set(range(len(standard.positions_mm)))


def _find_cut(standard: BladeStandard, row: _Row, *, in_mm: bool) -> tuple[int | None, str]:
    """Return the cut that a row means, counted from 0 along the bitting, or None and what was expected."""
    count, edges = len(standard.positions_mm), count_edges(standard)
    edge = 0
    named = _NAMED.fullmatch(row.position)
    number = _to_number(named[2] if named else row.position)
    letter = (named[1] if named else row.edge) if edges == 2 else ""
    if edges == 2 and letter not in ("", *EDGE_NAMES):
        return None, "edge A or B"
    if (named and (edges == 1 or row.edge not in ("", named[1]))) or number is None:
        return None, f"a cut's number, 1 to {count}"
    if letter:
        edge = EDGE_NAMES.index(letter)
    if in_mm:
        if edges == 2 and not letter:
            return None, "a column edge with A or B beside a place in mm"
        place = _find_place(standard, number)
        return (None if place is None else edge * count + place), "the position of a cut in mm"
    most = count if letter else count * edges
    if number != int(number) or not 1 <= number <= most:
        return None, f"a cut's number, 1 to {most}"
    return edge * count + int(number) - 1, ""


def _find_place(standard: BladeStandard, x_mm: float | None) -> int | None:
    if x_mm is None:
        return None
    distances = [abs(x_mm - x) for x in standard.positions_mm]
    nearest = distances.index(min(distances))
    return nearest if distances[nearest] <= PLACE_MM else None


def _to_number(text: str) -> float | None:
    return float(text) if _NUMBER.fullmatch(text) else None


def _say(row: _Row) -> str:
    return _describe(f"{row.position} {row.edge}".strip())


def _describe(text: str) -> str:
    return shorten(text) if text else "nothing"
