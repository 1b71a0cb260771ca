"""What was found while a list was read: faults by row, what was changed or assumed, what was passed over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bittern.core.errors import Fault, shorten
from bittern.work.supplier.reading import FieldColumn

FAULTS_KEPT = 500
NOTES_KEPT = 300


@dataclass(frozen=True, slots=True)
class Note:
    """One thing that was changed or assumed, and for how many rows."""

    column: str
    found: str
    becomes: str
    why: str
    rows: int
    first_row: int

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape."""
        return {
            "column": self.column,
            "found": self.found,
            "becomes": self.becomes,
            "why": self.why,
            "rows": self.rows,
            "first_row": self.first_row,
        }


@dataclass(slots=True)
class Findings:
    """Collects faults and notes; ``rows`` are spreadsheet rows, the first one 1.

    ``fault_count`` counts all faults, of which the first of each column are kept.
    """

    file: str
    first_row: int
    faults: list[tuple[int, Fault]] = field(default_factory=list)
    fault_count: int = 0
    notes: list[Note] = field(default_factory=list)
    bad: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))

    def add_faults(
        self,
        places: NDArray[np.intp],
        column: str,
        found: Sequence[str] | str,
        expected: Sequence[str] | str,
    ) -> None:
        """Note a fault in each of these rows; texts may be one for all, or one for each of the first rows."""
        self.fault_count += len(places)
        self.bad[places] = True
        for i, place in enumerate(places[:FAULTS_KEPT]):
            row = int(place) + self.first_row
            self.faults.append(
                (
                    row,
                    Fault(
                        f"row {row}, column {column}",
                        found if isinstance(found, str) else found[i],
                        expected if isinstance(expected, str) else expected[i],
                        self.file,
                    ),
                )
            )

    def add_column(self, column: FieldColumn) -> None:
        """Note the faults and changes of a column that was read."""
        places = np.flatnonzero(column.faulty)
        shown = [int(code) for code in column.codes[places[:FAULTS_KEPT]]]
        self.add_faults(
            places,
            column.name,
            [shorten(column.column.values[code]) for code in shown],
            [column.cells[code].expected for code in shown],
        )
        counts = np.bincount(column.codes, minlength=len(column.cells))
        noted = [code for code, cell in enumerate(column.cells) if cell.note and counts[code]]
        if not noted:
            return
        noted.sort(key=lambda code: -counts[code])
        kept = noted[:NOTES_KEPT]
        first = {code: int(np.argmax(column.codes == code)) for code in kept}
        for code in kept:
            cell = column.cells[code]
            self.notes.append(
                Note(
                    column.name,
                    shorten(column.column.values[code]),
                    cell.value,
                    cell.note,
                    int(counts[code]),
                    first[code] + self.first_row,
                )
            )

    def add_note(self, column: str, found: str, becomes: str, why: str, places: NDArray[np.intp]) -> None:
        """Note something assumed for these rows, if there are any."""
        if len(places):
            self.notes.append(Note(column, found, becomes, why, len(places), int(places[0]) + self.first_row))

    def list_faults(self) -> tuple[Fault, ...]:
        """Return the faults kept, in order of their rows."""
        return tuple(fault for _, fault in sorted(self.faults, key=lambda pair: pair[0])[:FAULTS_KEPT])


@dataclass(frozen=True, slots=True)
class ListReport:
    """What a list holds and what is wrong with it.

    Attributes
    ----------
    rows, blank, bad
        Rows below the header; those with nothing in them; those left out for a fault.
    articles, fitments, repeated
        What is left once repeated rows are one.
    """

    rows: int
    blank: int
    bad: int
    articles: int
    fitments: int
    repeated: int
    fault_count: int
    faults: tuple[Fault, ...]
    notes: tuple[Note, ...]
    ignored: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape."""
        return {
            "rows": self.rows,
            "blank": self.blank,
            "left_out": self.bad,
            "articles": self.articles,
            "fitments": self.fitments,
            "repeated": self.repeated,
            "fault_count": self.fault_count,
            "faults": [fault.as_dict() for fault in self.faults],
            "notes": [note.as_dict() for note in self.notes],
            "ignored": list(self.ignored),
        }
