"""A code table of the user's own: ``bitting`` with optional columns ``code`` and ``weight``, one row a code.

The codes are passed over: they are neither read into memory as values nor kept, shown or looked up. What
ladders need is which bittings were ever used.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from bittern.core.errors import Fault, FaultsError, InputError, shorten
from bittern.engines.blade.bitting import Bitting, find_violations, format_bitting, read_bitting
from bittern.engines.blade.code_table import CodeTable
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.tables import format_number, format_table
from bittern.formats.texts import read_text

BITTING, CODE, WEIGHT = "bitting", "code", "weight"
COLUMNS = (BITTING, CODE, WEIGHT)
ROW_LIMIT = 200_000

_NUMBER = re.compile(r"(?:[0-9]{1,9}(?:\.[0-9]{0,25})?|\.[0-9]{1,25})(?:[eE][+-]?[0-9]{1,2})?", re.ASCII)


def read_code_table(path: Path, standard: BladeStandard) -> CodeTable:
    """Return the table in the file at ``path``; errors as :func:`parse_code_table`.

    Raises
    ------
    InputError
        No such file, over 5 MB, binary, not UTF-8.
    """
    return parse_code_table(read_text(path), path.name, standard)


def parse_code_table(text: str, file: str, standard: BladeStandard) -> CodeTable:
    """Return the table written in ``text``.

    Parameters
    ----------
    text
        CSV (RFC 4180) with a header. ``bitting`` is written as anywhere, every cut known; ``weight`` says how
        often it was used, above 0, 1 where the column is missing or the field empty. A bitting that stands
        in several rows counts their sum. Other columns are left alone.
    file
        Name for messages.
    standard
        Gives labels, number of cuts and rules.

    Raises
    ------
    InputError
        The text is no CSV, has no column ``bitting`` or one of the three twice, or more than
        :data:`ROW_LIMIT` rows.
    FaultsError
        Rows that write no whole bitting, break a rule of the standard or have no weight; all are listed.
    """
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    faults: list[Fault] = []
    weights: dict[Bitting, float] = {}
    rows = 0
    try:
        header = [name.strip() for name in next(lines, [])]
        places = _find_places(header, file)
        for number, values in enumerate(lines, 2):
            if not any(value.strip() for value in values):
                continue
            rows += 1
            if rows > ROW_LIMIT:
                raise InputError(f"more than {ROW_LIMIT:,} rows", "a code table of one series", where=file)
            if len(values) != len(header):
                found = f"{len(values)} fields"
                faults.append(Fault(f"row {number}", found, f"{len(header)} as in the header", file))
                continue
            bitting = _read_bitting(standard, values[places[BITTING]], number, file, faults)
            weight = _read_weight(values[places[WEIGHT]] if WEIGHT in places else "", number, file, faults)
            if bitting is not None and weight is not None:
                weights[bitting] = weights.get(bitting, 0.0) + weight
    except csv.Error as error:
        raise InputError(
            f"a table that cannot be read near line {lines.line_num} ({error})", "CSV (RFC 4180)", where=file
        ) from error
    if not rows:
        faults.append(Fault("row 2", "no bittings", "one row a code", file))
    if faults:
        raise FaultsError(faults, where=file)
    return CodeTable(standard.id, weights, rows)


def format_code_table(table: CodeTable, standard: BladeStandard) -> str:
    """Return the table as CSV that :func:`parse_code_table` reads back, without codes, each bitting once."""
    rows = [
        (format_bitting(standard, bitting), format_number(weight))
        for bitting, weight in table.weights.items()
    ]
    return format_table((BITTING, WEIGHT), rows)


def _find_places(header: Sequence[str], file: str) -> Mapping[str, int]:
    for name in COLUMNS:
        count = header.count(name)
        if count > 1 or (name == BITTING and not count):
            found = shorten(",".join(header)) if any(header) else "no header"
            raise InputError(
                f"a header of {found}" if any(header) else found,
                f"one column {BITTING}, and at most one {CODE} and one {WEIGHT}",
                where=file,
            )
    return {name: header.index(name) for name in COLUMNS if name in header}


def _read_bitting(
    standard: BladeStandard, text: str, number: int, file: str, faults: list[Fault]
) -> Bitting | None:
    where = f"row {number}, {BITTING}"
    if not text.strip():
        faults.append(Fault(where, "nothing", "a bitting", file))
        return None
    bitting, violations = read_bitting(standard, text)
    if bitting is not None and not bitting.complete:
        faults.append(Fault(where, "an unknown cut", "every cut of the bitting", file))
        return None
    violations = violations or (find_violations(standard, bitting) if bitting else [])
    for violation in violations:
        # Elsewhere a cut may be unknown; here none may.
        expected = " ".join(standard.labels) if violation.rule == "label" else violation.expected
        faults.append(Fault(where, violation.found, expected, file))
    return None if violations else bitting


def _read_weight(text: str, number: int, file: str, faults: list[Fault]) -> float | None:
    text = text.strip()
    if not text:
        return 1.0
    value = float(text) if _NUMBER.fullmatch(text) else 0.0
    if not 0.0 < value < float("inf"):
        faults.append(Fault(f"row {number}, {WEIGHT}", shorten(text), "a number above 0", file))
        return None
    return value
