"""Lists on record: kept, found, laid over the pack, taken off again."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from bittern.bench.packs.models import (
    ACTIVE,
    DISCARDED,
    DRAFT,
    FAILED,
    FILE,
    IDLE,
    LAYER,
    RUNNING,
    UNDONE,
    ListEvent,
    ListPart,
    SuppliersList,
)
from bittern.formats.list_layers import Layer, read_layer
from bittern.formats.spreadsheets import Sheet, make_sheet
from bittern.work.errors import ConflictError
from bittern.work.supplier.lists import Choices

PIECE_BYTES = 1_000_000
SAMPLE_ROWS = 500
SAMPLE_CHARACTERS = 500
STILL = timedelta(seconds=120)
"""A run that has not moved for so long has died with its process; the longest step of a list of a million
rows takes a few seconds."""
KEPT = timedelta(days=30)
"""The file of a list that nobody has imported is kept for so long."""


def keep_file(name: str, size: int, person: str, pieces: Iterable[bytes], sheet: Sheet) -> SuppliersList:
    """Keep a file and its first rows; nothing of it counts before it is imported."""
    now = timezone.now()
    with transaction.atomic():
        row = SuppliersList.objects.create(
            name=name[:200], size=size, person=person, uploaded_at=now, sample=write_sample(sheet)
        )
        _keep_pieces(row, FILE, pieces)
        ListEvent.objects.create(list=row, at=now, person=person, kind="uploaded")
    return row


def write_sample(sheet: Sheet) -> str:
    """Return the first rows as JSON."""
    rows = [[cell[:SAMPLE_CHARACTERS] for cell in row] for row in sheet.rows_with_kinds(SAMPLE_ROWS)]
    names = {"sheet": sheet.sheet, "sheets": sheet.sheets, "about": sheet.about}
    return json.dumps({"file": sheet.file, "rows": rows, **names})


def read_sample(row: SuppliersList) -> Sheet:
    """Return the first rows."""
    return make_sheet(**json.loads(row.sample))


def write_file(row: SuppliersList, path: Path) -> None:
    """Write the list's file to ``path``."""
    with path.open("wb") as stream:
        for piece in _find_pieces(row, FILE):
            stream.write(piece)


def save_choices(row: SuppliersList, choices: Choices) -> None:
    """Keep what was chosen."""
    said = asdict(choices)
    said["mapping"] = {str(place): field for place, field in (choices.mapping or {}).items()}
    row.choices = json.dumps(said, sort_keys=True)
    SuppliersList.objects.filter(pk=row.pk, state=DRAFT).update(choices=row.choices)


def load_choices(row: SuppliersList) -> Choices:
    """Return what was chosen."""
    said = json.loads(row.choices or "{}")
    mapping = said.pop("mapping", None)
    return Choices(
        **said, mapping=None if mapping is None else {int(place): field for place, field in mapping.items()}
    )


def find_active() -> tuple[int, ...]:
    """Return the lists that lie over the pack, in their order."""
    return tuple(SuppliersList.objects.filter(state=ACTIVE).order_by("place").values_list("pk", flat=True))


def load_layer(pk: int) -> Layer:
    """Return a list's layer."""
    return read_layer(b"".join(_find_pieces(SuppliersList(pk=pk), LAYER)))


def activate(row: SuppliersList, mark: str, layer: Layer, report: dict[str, Any], person: str) -> None:
    """Lay the list over the pack; all of it or nothing, and only if the run that made it still counts.

    Raises
    ------
    ConflictError
        The run was cancelled or overtaken.
    """
    raw, now = layer.as_bytes(), timezone.now()
    pieces = (raw[at : at + PIECE_BYTES] for at in range(0, len(raw), PIECE_BYTES))
    with transaction.atomic():
        _check_run(row, mark)
        row.parts.all().delete()
        _keep_pieces(row, LAYER, pieces, packed=True)
        place = (SuppliersList.objects.aggregate(last=Max("place"))["last"] or 0) + 1
        ListEvent.objects.create(list=row, at=now, person=person, kind="imported")
        # Written last: what stands before it counts for nothing without it.
        SuppliersList.objects.filter(pk=row.pk).update(
            state=ACTIVE, place=place, report=json.dumps(report), run_state=IDLE, run_mark=""
        )


def keep_report(row: SuppliersList, mark: str, report: dict[str, Any]) -> None:
    """Keep what a check found, if its run still counts."""
    SuppliersList.objects.filter(pk=row.pk, run_mark=mark, run_state=RUNNING).update(
        report=json.dumps(report), run_state=IDLE, run_mark=""
    )


def change_state(row: SuppliersList, before: str, after: str, person: str, kind: str) -> None:
    """Take a list off the pack or lay it on again, at its old place.

    Raises
    ------
    ConflictError
        Somebody else has done so in the meantime.
    """
    with transaction.atomic():
        if not SuppliersList.objects.filter(pk=row.pk, state=before).update(state=after):
            raise ConflictError(f"a list that is no longer {before}", "the list as the page showed it")
        ListEvent.objects.create(list=row, at=timezone.now(), person=person, kind=kind)


def undo(row: SuppliersList, person: str) -> None:
    """Take the list off the pack; the rest is as if it had never been read."""
    change_state(row, ACTIVE, UNDONE, person, "undone")


def redo(row: SuppliersList, person: str) -> None:
    """Lay the list over the pack again, where it lay."""
    change_state(row, UNDONE, ACTIVE, person, "redone")


def discard(row: SuppliersList, person: str) -> None:
    """Throw a list away that was not imported; the file goes, the record stays."""
    with transaction.atomic():
        change_state(row, DRAFT, DISCARDED, person, "discarded")
        row.parts.all().delete()
        SuppliersList.objects.filter(pk=row.pk).update(sample="", run_state=IDLE, run_mark="")


def sweep(now: datetime | None = None) -> None:
    """Note runs that died with their process; let go of files that nobody came back for."""
    now = now or timezone.now()
    SuppliersList.objects.filter(run_state=RUNNING, beat_at__lt=now - STILL).update(
        run_state=FAILED,
        run_mark="",
        run_problem="The program stopped while it worked; nothing was imported.",
    )
    old = SuppliersList.objects.filter(state=DRAFT, uploaded_at__lt=now - KEPT).exclude(run_state=RUNNING)
    for row in old:
        discard(row, row.person)


def _check_run(row: SuppliersList, mark: str) -> None:
    # The update locks the row until the transaction ends.
    counts = SuppliersList.objects.filter(pk=row.pk, state=DRAFT, run_state=RUNNING, run_mark=mark)
    if not counts.update(beat_at=timezone.now()):
        raise ConflictError("a run that no longer counts", "the latest run of this list")


def _keep_pieces(row: SuppliersList, role: str, pieces: Iterable[bytes], *, packed: bool = False) -> None:
    for place, piece in enumerate(pieces):
        content = piece if packed else zlib.compress(piece, 1)
        ListPart.objects.create(list=row, role=role, place=place, content=content)


def _find_pieces(row: SuppliersList, role: str) -> Iterator[bytes]:
    parts = ListPart.objects.filter(list_id=row.pk, role=role).order_by("place")
    for content in parts.values_list("content", flat=True).iterator(chunk_size=4):
        piece = bytes(content)
        yield piece if role == LAYER else zlib.decompress(piece)
