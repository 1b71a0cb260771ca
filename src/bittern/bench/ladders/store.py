"""The store of code tables on Django's models, the same on SQLite and PostgreSQL."""

from __future__ import annotations

from collections.abc import Sequence

from bittern.bench.jobs.sealing import Box, close_box, open_box
from bittern.bench.ladders.models import CodeTableRecord, TableNoteRecord
from bittern.work.code_tables import KEPT, SEAL, TableNote

MOST_NOTES = 500


class DjangoTables:
    """Keeps code tables; implements :class:`bittern.work.code_tables.TableStore`."""

    def keep(self, secret: str, note: TableNote) -> None:
        """Encrypt a table and keep it in place of an earlier one; inside a transaction."""
        box = close_box(secret.encode(), SEAL, note.standard)
        CodeTableRecord.objects.update_or_create(
            standard=note.standard,
            defaults={
                "nonce": box.nonce,
                "ciphertext": box.ciphertext,
                "bittings": note.bittings,
                "person": note.person,
                "kept_at": note.at,
            },
        )
        self.add_note(note)

    def unseal(self, standard: str) -> str | None:
        """Return the table or None; raises SealBrokenError."""
        row = CodeTableRecord.objects.filter(standard=standard).first()
        if row is None:
            return None
        return open_box(Box(bytes(row.nonce), bytes(row.ciphertext)), SEAL, standard).decode()

    def drop(self, note: TableNote) -> None:
        """Destroy a table; inside a transaction."""
        CodeTableRecord.objects.filter(standard=note.standard).delete()
        self.add_note(note)

    def add_note(self, note: TableNote) -> None:
        """Keep a note."""
        TableNoteRecord.objects.create(
            standard=note.standard,
            kind=note.kind,
            person=note.person,
            at=note.at,
            bittings=note.bittings,
            job=note.job,
        )

    def find(self, standard: str) -> TableNote | None:
        """Return the note of the table that is kept, or None; it stays sealed."""
        row = CodeTableRecord.objects.filter(standard=standard).defer("nonce", "ciphertext").first()
        return TableNote(standard, KEPT, row.person, row.kept_at, row.bittings) if row else None

    def list_notes(self) -> Sequence[TableNote]:
        """Return the latest notes, newest first."""
        rows = TableNoteRecord.objects.all()[:MOST_NOTES]
        return [TableNote(one.standard, one.kind, one.person, one.at, one.bittings, one.job) for one in rows]
