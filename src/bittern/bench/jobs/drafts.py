"""Drafts: what a person has typed and not sent, kept encrypted, as a form may hold a bitting."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet

from bittern.bench.jobs.models import Draft
from bittern.bench.jobs.rows import write_canonical
from bittern.bench.jobs.sealing import Box, close_box, open_box


def keep_draft(number: int | None, form: str, login: str, data: Mapping[str, object], at: datetime) -> None:
    """Keep the form's fields for this person, in place of earlier ones; no number: the form of a new job.

    The job must exist, or IntegrityError is raised.
    """
    box = close_box(write_canonical(data).encode(), "draft", number or 0, form, login)
    _find(number, login).update_or_create(
        form=form,
        person=login,
        defaults={"nonce": box.nonce, "ciphertext": box.ciphertext, "changed_at": at},
        create_defaults={
            "job_id": number,
            "nonce": box.nonce,
            "ciphertext": box.ciphertext,
            "changed_at": at,
        },
    )


def find_drafts(number: int | None, login: str) -> dict[str, dict[str, Any]]:
    """Return this person's drafts on the job: form → fields, in one query; raises SealBrokenError."""
    found = {}
    for draft in _find(number, login):
        box = Box(bytes(draft.nonce), bytes(draft.ciphertext))
        found[draft.form] = json.loads(open_box(box, "draft", number or 0, draft.form, login))
    return found


def drop_draft(number: int | None, form: str, login: str) -> None:
    """Remove this person's draft of the form, if there is one."""
    _find(number, login).filter(form=form).delete()


def _find(number: int | None, login: str) -> QuerySet[Draft]:
    drafts = Draft.objects.filter(person=login)
    return drafts.filter(job__isnull=True) if number is None else drafts.filter(job_id=number)
