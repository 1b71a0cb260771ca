"""Lists of jobs for Today and for search, from columns alone: no facts are read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from bittern.bench.jobs import rows
from bittern.bench.jobs.models import Job
from bittern.work.nextstep import WAITS

MOST_TEXT = 100


@dataclass(frozen=True, slots=True)
class JobLine:
    """A job as one line of a list."""

    number: int
    state: str
    want: str
    waits_for: str
    customer: str
    phone: str
    plate: str
    vin: str
    make: str
    model: str
    year: int | None
    article: str
    opened_at: datetime
    closed_at: datetime | None
    last_at: datetime
    waits_since: datetime


def list_open() -> dict[str, list[JobLine]]:
    """Return the open jobs by what they wait for, in the traveller's order, longest waiting first; one query.

    Only waits that some job has are there.
    """
    lines = _read(Job.objects.filter(state="open").order_by("waits_since", "number"))
    groups: dict[str, list[JobLine]] = {wait: [] for wait in WAITS}
    for line in lines:
        groups.setdefault(line.waits_for, []).append(line)
    return {wait: group for wait, group in groups.items() if group}


def search(text: str, limit: int = 50) -> list[JobLine]:
    """Return the jobs whose customer, plate, vehicle number, telephone or job number matches, newest first.

    Case, accents, blanks and hyphens do not matter; part of a name, plate, vehicle or telephone number will
    do. The job of exactly that number comes before all others.
    """
    text = text[:MOST_TEXT].replace("\x00", "")
    name, bare, digits = rows.fold_name(text), rows.strip_mark(text), rows.strip_phone(text)
    wanted = Q()
    if name:
        wanted |= Q(customer_key__contains=name)
    if bare:
        wanted |= Q(plate_key__contains=bare) | Q(vin_key__contains=bare)
    # Fewer digits are in half of all telephone numbers.
    if len(digits) >= 4:
        wanted |= Q(phone_key__contains=digits)
    number = _read_number(text)
    if number:
        wanted |= Q(number=number)
    if not wanted:
        return []
    found = _read(Job.objects.filter(wanted).order_by("-number")[:limit])
    if number and number not in (line.number for line in found):
        found = [*_read(Job.objects.filter(number=number)), *found][:limit]
    return sorted(found, key=lambda line: line.number != number)


def _read_number(text: str) -> int | None:
    word = text.strip().lstrip("#").strip()
    return int(word) if word.isascii() and word.isdigit() and len(word) < 10 else None


def _read(jobs: QuerySet[Job]) -> list[JobLine]:
    names = list(JobLine.__slots__)
    return [JobLine(**row) for row in jobs.values(*names)]
