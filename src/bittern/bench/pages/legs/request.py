"""The Request leg: who wants what, and may they have it."""

from __future__ import annotations

from typing import Any

from bittern.work.documents import DOCUMENTS
from bittern.work.facts import JobFile
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.request import CAUTION, WANTS


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return what the Request leg shows."""
    return {
        "caution": CAUTION,
        "documents": DOCUMENTS,
        "shown": [DOCUMENTS.get(one, one) for one in job.authority.documents] if job.authority else [],
        "wants": WANTS,
        "initial": {
            "change-request": job.request.model_dump(),
            "record-authority": {"holder": job.request.customer},
        },
    }
