"""Code tables of the shop's own: sealed, one a blade standard, without their codes; each use on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from bittern.core.errors import shorten
from bittern.engines.blade.code_table import CodeTable
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.code_table import format_code_table, parse_code_table
from bittern.work.errors import NotYetError, WorkError
from bittern.work.people import Person, require
from bittern.work.ports import Desk

SEAL = "code table"
KEPT, USED, DROPPED = "kept", "used", "dropped"


class TableError(WorkError):
    """A code table for a blade that takes none, or a bench that keeps none."""

    code = "work.code-table"
    meaning = "A code table cannot be kept or used here."


@dataclass(frozen=True, slots=True)
class TableNote:
    """What was done with the table of a standard; ``job`` is 0 but for a use."""

    standard: str
    kind: str
    person: str
    at: datetime
    bittings: int
    job: int = 0


class TableStore(Protocol):
    """Keeps the tables under seal, and a note of everything that was done with them."""

    def keep(self, secret: str, note: TableNote) -> None:
        """Seal the table of ``note.standard`` in place of an earlier one, with the note."""
        ...

    def unseal(self, standard: str) -> str | None:
        """Return the table or None; raises SealBrokenError. The caller notes the use first."""
        ...

    def drop(self, note: TableNote) -> None:
        """Destroy the table of ``note.standard``, with the note."""
        ...

    def add_note(self, note: TableNote) -> None:
        """Keep a note."""
        ...

    def find(self, standard: str) -> TableNote | None:
        """Return the note of the table that is kept for ``standard``, or None."""
        ...

    def list_notes(self) -> Sequence[TableNote]:
        """Return all notes, newest first."""
        ...


def find_table(desk: Desk, standard: BladeStandard) -> TableNote | None:
    """Return who keeps a table for the standard since when, or None; the table stays sealed."""
    return desk.tables.find(standard.id) if desk.tables else None


def keep_table(desk: Desk, person: Person, standard_id: str, text: str, file: str) -> TableNote:
    """Keep the table written in ``text`` for a standard of the pack, its codes left out.

    Raises
    ------
    NotAllowedError
        Somebody who does not work at the bench.
    TableError
        No such edge blade in the pack.
    InputError, FaultsError
        As :func:`bittern.formats.code_table.parse_code_table`.
    """
    require(person, "bench")
    standard, tables = _find_standard(desk, standard_id), _get_store(desk)
    table = parse_code_table(text, file, standard)
    note = TableNote(standard.id, KEPT, person.login, desk.clock.now(), len(table.weights))
    with desk.store.transaction():
        tables.keep(format_code_table(table, standard), note)
    return note


def drop_table(desk: Desk, person: Person, standard_id: str) -> None:
    """Destroy the table of a standard; raises NotYetError where there is none."""
    require(person, "bench")
    tables = _get_store(desk)
    with desk.store.transaction():
        kept = tables.find(standard_id)
        if kept is None:
            raise NotYetError("no code table", f"one kept for {shorten(standard_id)}", where="table")
        tables.drop(TableNote(standard_id, DROPPED, person.login, desk.clock.now(), kept.bittings))


def use_table(desk: Desk, number: int, person: Person, standard: BladeStandard) -> CodeTable:
    """Return the table of the standard; the use is noted and in the job's log before the seal opens."""
    require(person, "look")
    tables = _get_store(desk)
    with desk.store.transaction():
        desk.store.load_for_change(number)
        kept = tables.find(standard.id)
        if kept is None:
            raise NotYetError("no code table", f"one kept for {standard.id}", where="use_table")
        now = desk.clock.now()
        tables.add_note(TableNote(standard.id, USED, person.login, now, kept.bittings, number))
        payload = {"name": SEAL, "reason": "ladders"}
        desk.store.append(number, at=now, person=person.login, kind="seal.looked", payload=payload)
        text = tables.unseal(standard.id) or ""
    return parse_code_table(text, SEAL, standard)


def _find_standard(desk: Desk, standard_id: str) -> BladeStandard:
    standard = desk.pack.blades.get(standard_id)
    if standard is None or standard.kind != "edge":
        raise TableError(shorten(standard_id), "an edge blade of the pack in use", where="standard")
    return standard


def _get_store(desk: Desk) -> TableStore:
    if desk.tables is None:
        raise TableError("a desk that keeps no code tables", "a shop's own data", where="table")
    return desk.tables
