"""The Handover leg: what the sheet says, keys counted, the signature."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from bittern.work.facts import JobFile
from bittern.work.handover import compose_sheet
from bittern.work.legs import TITLES
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.settled import LEGS, is_settled

ACT = "sign"


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return the sheet, and the legs that must be settled before it can be signed."""
    has_sheet = job.key is not None and job.promise is not None
    return {
        "sheet": compose_sheet(job, desk.terms, timezone.get_current_timezone()) if has_sheet else None,
        "waiting": [TITLES[leg][0] for leg in LEGS[:-1] if not is_settled(job, leg)],
        "initial": {ACT: {"signed_by": job.request.customer}},
    }
