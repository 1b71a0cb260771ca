"""The process that reads one sheet: ``python -m bittern.formats.spreadsheet_reader FILE SHEET``.

Prints a line of JSON about the file, then lists of rows, then null. It stands alone, so that what it loads is
small and its limits mean something.
"""

from __future__ import annotations

import contextlib
import json
import resource
import sys
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta

MEMORY_LIMIT_BYTES = 2_500_000_000
SECONDS_LIMIT = 300
_BATCH = 2_000


def main(path: str, sheet: str) -> None:
    """Print the sheet."""
    _limit(resource.RLIMIT_AS, MEMORY_LIMIT_BYTES)
    _limit(resource.RLIMIT_CPU, SECONDS_LIMIT)
    _limit(resource.RLIMIT_CORE, 0)
    import python_calamine as calamine

    try:
        book = calamine.CalamineWorkbook.from_path(path)
        names = book.sheet_names
        if not names or (sheet and sheet not in names):
            _say({"error": f"no sheet {sheet!r}" if sheet else "no sheet", "expected": _list(names)})
            return
        chosen = sheet or names[0]
        table = book.get_sheet_by_name(chosen)
    except (calamine.CalamineError, ValueError, OSError) as error:
        _say({"error": f"a damaged file ({error})", "expected": "a spreadsheet as XLSX"})
        return
    _say({"sheet": chosen, "sheets": names})
    # The library leaves out empty columns before the first cell, but not empty rows.
    before = ["t"] * (table.start[1] if table.start else 0)
    batch: list[list[str]] = []
    for row in table.iter_rows() if table.start else ():
        batch.append(before + [_write(cell) for cell in row])
        if len(batch) == _BATCH:
            _say(batch)
            batch = []
    if batch:
        _say(batch)
    _say(None)


def _write(cell: object) -> str:
    """Return a cell as text, the letter of its kind before it."""
    if isinstance(cell, str):
        return "t" + cell.strip()
    if isinstance(cell, bool):
        return "n" + ("yes" if cell else "no")
    if isinstance(cell, int | float):
        whole = isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15
        return f"n{int(cell) if whole else cell!r}"
    if isinstance(cell, datetime) and cell.time() == time():
        return "d" + cell.date().isoformat()
    if isinstance(cell, date | time):
        return "d" + cell.isoformat()
    return f"d{cell}" if isinstance(cell, timedelta) else f"t{cell}"


def _say(value: object) -> None:
    sys.stdout.write(json.dumps(value, separators=(",", ":")) + "\n")


def _list(names: Iterable[str]) -> str:
    shown = list(_first(names, 10))
    return f"one of {', '.join(map(repr, shown))}" if shown else "a sheet with a table"


def _first(names: Iterable[str], most: int) -> Iterator[str]:
    for place, name in enumerate(names):
        if place == most:
            return
        yield name


def _limit(what: int, most: int) -> None:
    with contextlib.suppress(ValueError, OSError):
        hard = resource.getrlimit(what)[1]
        resource.setrlimit(what, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
