"""The store of run sheets on Django's models, the same on SQLite and PostgreSQL."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager

from django.db import IntegrityError, transaction
from django.db.models import OuterRef, Subquery

from bittern.bench.runsheets.models import (
    SheetDraftRecord,
    SheetName,
    SheetNoteRecord,
    SheetVersionRecord,
)
from bittern.work.sheets import SheetDraft, SheetNote, SheetVersion

MOST_NOTES = 500
_COLUMNS = (
    "sheet",
    "number",
    "text",
    "person",
    "at",
    "line",
    "origin",
    "base_text",
    "approved_by",
    "approved_at",
    "approval",
)


class DjangoSheets:
    """Keeps run sheets; implements :class:`bittern.work.sheets.SheetStore`."""

    def transaction(self) -> AbstractContextManager[None]:
        """Open a transaction."""
        return transaction.atomic()

    def hold(self, sheet: str, *, create: bool = False) -> bool:
        """Lock the sheet until the transaction ends; return whether it is there."""
        if create:
            SheetName.objects.get_or_create(sheet=sheet)
        return SheetName.objects.select_for_update().filter(sheet=sheet).first() is not None

    def names(self) -> Sequence[str]:
        """Return the ids of the shop's own sheets."""
        return list(SheetName.objects.order_by("sheet").values_list("sheet", flat=True))

    def versions(self, sheet: str) -> Sequence[SheetVersion]:
        """Return the versions of a sheet, newest first."""
        return [_read(row) for row in SheetVersionRecord.objects.filter(sheet=sheet).order_by("-number")]

    def all_in_use(self) -> Mapping[str, SheetVersion]:
        """Return the version in use of every sheet that has one approved: one query."""
        of_sheet = SheetVersionRecord.objects.filter(sheet=OuterRef("sheet")).order_by("-approval")
        rows = SheetVersionRecord.objects.filter(
            approval__gt=0, approval=Subquery(of_sheet.values("approval")[:1])
        )
        return {row.sheet: _read(row) for row in rows.order_by("sheet")}

    def add(self, version: SheetVersion) -> None:
        """Keep a new version; inside a transaction that holds the sheet."""
        SheetVersionRecord.objects.create(**{name: getattr(version, name) for name in _COLUMNS})

    def set_approval(self, version: SheetVersion) -> None:
        """Keep the approval of a version, and nothing else of it."""
        SheetVersionRecord.objects.filter(sheet=version.sheet, number=version.number).update(
            approved_by=version.approved_by, approved_at=version.approved_at, approval=version.approval
        )

    def add_note(self, note: SheetNote) -> None:
        """Keep a note."""
        SheetNoteRecord.objects.create(
            at=note.at,
            person=note.person,
            sheet=note.sheet,
            number=note.number,
            act=note.act,
            what=note.what[:200],
        )

    def notes(self, sheet: str) -> Sequence[SheetNote]:
        """Return the latest notes of a sheet, newest first."""
        rows = SheetNoteRecord.objects.filter(sheet=sheet).order_by("-id")[:MOST_NOTES]
        return [SheetNote(row.at, row.person, row.sheet, row.number, row.act, row.what) for row in rows]

    def find_draft(self, sheet: str, person: str) -> SheetDraft | None:
        """Return what this person is writing."""
        row = SheetDraftRecord.objects.filter(sheet=sheet, person=person).first()
        return _read_draft(row) if row else None

    def drafts(self, person: str) -> Sequence[SheetDraft]:
        """Return everything that this person is writing, by sheet."""
        return [_read_draft(row) for row in SheetDraftRecord.objects.filter(person=person).order_by("sheet")]

    def keep_draft(self, draft: SheetDraft, turn: int) -> bool:
        """Keep a draft if the kept one stands at ``turn`` (0: there is none); return whether it did."""
        values = {
            "document": json.dumps(draft.document),
            "based_on": draft.based_on,
            "turn": draft.turn,
            "at": draft.at,
        }
        if turn:
            rows = SheetDraftRecord.objects.filter(sheet=draft.sheet, person=draft.person, turn=turn)
            return bool(rows.update(**values))
        try:
            with transaction.atomic():
                SheetDraftRecord.objects.create(sheet=draft.sheet, person=draft.person, **values)
        except IntegrityError:
            # Another tab was first.
            return False
        return True

    def drop_draft(self, sheet: str, person: str) -> None:
        """Remove a draft."""
        SheetDraftRecord.objects.filter(sheet=sheet, person=person).delete()


def _read(row: SheetVersionRecord) -> SheetVersion:
    return SheetVersion(**{name: getattr(row, name) for name in _COLUMNS})


def _read_draft(row: SheetDraftRecord) -> SheetDraft:
    document: Mapping[str, object] = json.loads(row.document)
    return SheetDraft(row.sheet, row.person, document, row.based_on, row.turn, row.at)
