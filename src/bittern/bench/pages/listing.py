"""Today and search: jobs in one line each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bittern.bench.jobs import listing, rows
from bittern.bench.jobs.models import Job
from bittern.work.nextstep import WAITS, find_next

ROWS_A_GROUP = 20
ROWS_FOUND = 40
LONGEST_QUERY = 60


@dataclass(frozen=True, slots=True)
class Row:
    """One job as a line: what to do next, for whom, on which vehicle, since when."""

    number: int
    customer: str
    vehicle: str
    plate: str
    say: str
    since: datetime
    since_word: str


@dataclass(frozen=True, slots=True)
class Group:
    """The jobs that wait for one thing, longest waiting first."""

    wait: str
    title: str
    rows: tuple[Row, ...]
    count: int

    @property
    def more(self) -> int:
        """How many are not shown."""
        return self.count - len(self.rows)


@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """Show the open jobs by what they wait for."""
    return render(request, "pages/today.html", {"groups": list_groups()})


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """Find jobs, closed ones too; a fragment while one types on Today."""
    query = " ".join(request.GET.get("q", "").replace("\x00", "").split())[:LONGEST_QUERY]
    lines = listing.search(query, ROWS_FOUND + 1) if query else []
    context = {
        "query": query,
        "rows": make_rows(lines[:ROWS_FOUND]),
        "more": len(lines) > ROWS_FOUND,
    }
    part = request.headers.get("HX-Target") == "found"
    return render(request, "parts/found.html" if part else "pages/search.html", context)


def list_groups() -> list[Group]:
    """Return the open jobs by what they wait for; two queries."""
    waiting = listing.list_open()
    shown = {wait: lines[:ROWS_A_GROUP] for wait, lines in waiting.items()}
    made = {row.number: row for row in make_rows(line for lines in shown.values() for line in lines)}
    return [
        Group(
            wait,
            WAITS.get(wait, "Something else"),
            tuple(made[line.number] for line in shown[wait]),
            len(lines),
        )
        for wait, lines in waiting.items()
    ]


def make_rows(lines: Iterable[listing.JobLine]) -> list[Row]:
    """Return lines for the page; the facts of open jobs are read, for they say what to do next."""
    lines = list(lines)
    wanted = [line.number for line in lines if line.state == "open"]
    facts = dict(Job.objects.filter(number__in=wanted).values_list("number", "facts")) if wanted else {}
    return [_make_row(line, facts.get(line.number, "")) for line in lines]


def _make_row(line: listing.JobLine, facts: str) -> Row:
    vehicle = " ".join(str(part) for part in (line.make, line.model, line.year or "") if part)
    if line.state != "open":
        say, since, word = line.state.capitalize(), line.closed_at or line.last_at, "on"
    else:
        step = find_next(rows.read_facts(facts)) if facts else None
        say, since, word = step.say if step else "Nothing more to do.", line.waits_since, "waits since"
    return Row(line.number, line.customer, vehicle, line.plate, say, since, word)
