"""Views of the shop's code tables: kept, looked over without being opened, destroyed."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods, require_POST

from bittern.bench.desk import open_desk
from bittern.bench.ladders.upload import FIELD, TableUpload
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.problem import Problem, describe_problem, show_problem
from bittern.bench.pages.traveller import keep_nowhere
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError, FaultsError, InputError
from bittern.formats.texts import TEXT_LIMIT_BYTES, decode_text
from bittern.work.code_tables import drop_table, keep_table
from bittern.work.errors import field_fault
from bittern.work.people import require
from bittern.work.ports import Desk

KIND_WORDS = {"kept": "kept", "used": "used for job", "dropped": "destroyed"}
MOST_FAULTS, MOST_NOTES = 40, 40


# The token stands in the form that carries the file: it is read only once it is known who asks.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def code_tables(request: HttpRequest) -> HttpResponse:
    """Show which blades have a code table, or keep one that comes as a file."""
    try:
        require(as_person(request.user), "bench")
        desk = open_desk()
    except BitternError as error:
        return show_problem(request, error)
    if request.method != "POST":
        return _show(request, desk)
    handler = TableUpload(request)
    request.upload_handlers = [handler]
    return _take(request, desk, handler)


@csrf_protect
def _take(request: HttpRequest, desk: Desk, handler: TableUpload) -> HttpResponse:
    upload: Any = request.FILES.get(FIELD)
    standard = str(request.POST.get("standard") or "")
    try:
        if handler.too_large:
            raise InputError(f"more than {TEXT_LIMIT_BYTES:,} bytes", "a smaller file", where=FIELD)
        if upload is None or not upload.size:
            raise InputError("no file", "a code table as CSV", where=FIELD)
        text = decode_text(upload.read(), "the table")
        keep_table(desk, as_person(request.user), standard, text, "the table")
    except BitternError as error:
        return _show(request, desk, describe_table_problem(error), standard)
    return redirect("code-tables")


@require_POST
def drop(request: HttpRequest) -> HttpResponse:
    """Destroy the table of a blade: fields standard, sure (ticked)."""
    person, typed = as_person(request.user), flatten_post(request.POST)
    standard = str(typed.get("standard") or "")
    try:
        require(person, "bench")
        desk = open_desk()
        if typed.get("sure") != "yes":
            raise field_fault("sure", "not ticked", "a tick that the table is destroyed")
        drop_table(desk, person, standard)
    except FaultsError as error:
        return _show(request, desk, describe_table_problem(error), standard)
    except BitternError as error:
        return show_problem(request, error)
    return redirect("code-tables")


def describe_table_problem(error: BitternError) -> Problem:
    """Return what is wrong with a table, row by row; of very many rows the first."""
    problem = describe_problem(error)
    if len(problem.faults) <= MOST_FAULTS:
        return problem
    more = f"and {len(problem.faults) - MOST_FAULTS:,} more rows"
    faults = (*problem.faults[:MOST_FAULTS], more)
    return Problem(problem.status, problem.title, problem.sentence, problem.hint, faults)


def _show(
    request: HttpRequest, desk: Desk, problem: Problem | None = None, standard: str = ""
) -> HttpResponse:
    edges = [blade for blade in desk.pack.blades.values() if blade.kind == "edge"]
    tables = desk.tables
    context = {
        "rows": [(blade, tables.find(blade.id) if tables else None) for blade in edges],
        "notes": [(note, KIND_WORDS[note.kind]) for note in tables.list_notes()[:MOST_NOTES]]
        if tables
        else [],
        "problem": problem,
        "chosen": standard,
    }
    status = problem.status if problem else 200
    return keep_nowhere(render(request, "ladders/tables.html", context, status=status))
