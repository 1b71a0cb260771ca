"""The store of rehearsals on Django's models, the same on SQLite and PostgreSQL."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager

from django.db import transaction

from bittern.bench.rehearsals.models import RehearsalRecord
from bittern.work.errors import ConflictError
from bittern.work.rehearsals import Rehearsal

MOST_LISTED = 200
MOST_COUNTED = 20_000
_AS_JSON = ("faults", "vehicle", "events", "shown", "reasons")
_AS_IT_IS = (
    "person",
    "place",
    "title",
    "family",
    "sheet",
    "sheet_text",
    "seed",
    "begun_at",
    "ended_at",
    "points",
    "success",
)
# What a list does not need, and what may be long.
_LONG = ("sheet_text", "vehicle", "events", "shown")


class DjangoRehearsals:
    """Keeps rehearsals; implements :class:`bittern.work.rehearsals.RehearsalStore`."""

    def transaction(self) -> AbstractContextManager[None]:
        """Open a transaction."""
        return transaction.atomic()

    def add(self, rehearsal: Rehearsal) -> int:
        """Keep a new rehearsal and return its number."""
        return int(RehearsalRecord.objects.create(**_write(rehearsal)).pk)

    def find(self, number: int, *, hold: bool = False) -> Rehearsal | None:
        """Return a rehearsal or None; with ``hold`` its row is locked until the transaction ends."""
        rows = RehearsalRecord.objects.filter(pk=number)
        row = (rows.select_for_update() if hold else rows).first()
        return _read(row) if row else None

    def save(self, rehearsal: Rehearsal) -> None:
        """Keep a change; raises ConflictError when the stored one is another by now."""
        rows = RehearsalRecord.objects.filter(pk=rehearsal.id, version=rehearsal.version)
        if not rows.update(**_write(rehearsal), version=rehearsal.version + 1):
            raise ConflictError(
                f"version {rehearsal.version} of rehearsal {rehearsal.id}",
                "the stored one",
                hint="look at the page again: something was done there in the meantime",
            )

    def list_of(self, person: str) -> Sequence[Rehearsal]:
        """Return the latest rehearsals of a person, newest first."""
        rows = RehearsalRecord.objects.filter(person=person).order_by("-id").defer(*_LONG)
        return [_read(row, whole=False) for row in rows[:MOST_LISTED]]

    def list_started(self) -> Sequence[Rehearsal]:
        """Return the latest rehearsals whose run was begun, oldest first."""
        rows = RehearsalRecord.objects.exclude(events="[]").order_by("-id").defer(*_LONG)
        return [_read(row, whole=False) for row in reversed(rows[:MOST_COUNTED])]


def _write(one: Rehearsal) -> dict[str, object]:
    values: dict[str, object] = {name: getattr(one, name) for name in _AS_IT_IS}
    for name in _AS_JSON:
        value = getattr(one, name)
        values[name] = json.dumps(list(value) if isinstance(value, tuple) else value or {}, sort_keys=True)
    return values


def _read(row: RehearsalRecord, *, whole: bool = True) -> Rehearsal:
    return Rehearsal(
        id=row.pk,
        person=row.person,
        title=row.title,
        family=row.family,
        sheet=row.sheet,
        sheet_text=row.sheet_text if whole else "",
        seed=row.seed,
        begun_at=row.begun_at,
        place=row.place,
        faults=_read_list(row.faults),
        vehicle=json.loads(row.vehicle) if whole else None,
        events=_read_list(row.events) if whole else (),
        shown=_read_list(row.shown) if whole else (),
        ended_at=row.ended_at,
        points=row.points,
        success=row.success,
        reasons=_read_list(row.reasons),
        version=row.version,
    )


def _read_list(text: str) -> tuple:  # type: ignore[type-arg]
    found: Iterable[object] = json.loads(text)
    return tuple(found)
