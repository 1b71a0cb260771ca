"""Views that make a version: one begun, one from a file, one with what real runs taught."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods, require_POST

from bittern.bench.desk import open_desk
from bittern.bench.packs.receiving import clean_name
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.problem import show_problem
from bittern.bench.people.models import as_person
from bittern.bench.runsheets.list_page import BEGIN, IMPORT
from bittern.bench.runsheets.runs_page import TAKE, build_runs
from bittern.bench.runsheets.upload import FIELD, LIMIT_BYTES, SheetUpload
from bittern.bench.runsheets.views import describe_trouble, show_list
from bittern.core.errors import BitternError, InputError
from bittern.formats.texts import decode_text
from bittern.work.errors import NotAllowedError
from bittern.work.people import require
from bittern.work.sheet_new import begin_sheet, import_sheet, take_proposals


@require_POST
def new_sheet(request: HttpRequest) -> HttpResponse:
    """Begin a sheet, from scratch or like another, and open it for writing."""
    person, typed = as_person(request.user), flatten_post(request.POST)
    try:
        version = begin_sheet(open_desk(), person, typed)
    except NotAllowedError as error:
        return show_problem(request, error)
    except BitternError as error:
        return show_list(request, BEGIN, typed, error)
    return redirect("run-sheet-edit", version.sheet)


# The token stands in the form that carries the file: it is read only once it is known who asks.
@csrf_exempt
@require_POST
def import_file(request: HttpRequest) -> HttpResponse:
    """Take a sheet's file as a new version."""
    try:
        require(as_person(request.user), "bench")
    except NotAllowedError as error:
        return show_problem(request, error)
    handler = SheetUpload(request)
    request.upload_handlers = [handler]
    return _take_file(request, handler)


@csrf_protect
def _take_file(request: HttpRequest, handler: SheetUpload) -> HttpResponse:
    upload: Any = request.FILES.get(FIELD)
    try:
        if handler.too_large:
            raise InputError(f"more than {LIMIT_BYTES:,} bytes", f"at most {LIMIT_BYTES:,}", where=FIELD)
        if upload is None or not upload.size:
            raise InputError("no file", "a run sheet as TOML", where=FIELD)
        name = clean_name(handler.file_name or "")
        text = decode_text(upload.read(), name)
        version = import_sheet(open_desk(), as_person(request.user), text, name)
    except BitternError as error:
        return show_list(request, IMPORT, {}, error)
    messages.success(request, f"Read in as version {version.number}. It is not in use before it is approved.")
    return redirect(f"{reverse('run-sheet', args=[version.sheet])}?version={version.number}")


@require_http_methods(["GET", "HEAD", "POST"])
def runs(request: HttpRequest, sheet: str) -> HttpResponse:
    """Show what real runs say about a sheet's figures, or take what was ticked as a new version."""
    person, typed = as_person(request.user), flatten_post(request.POST)
    trouble: dict[str, Any] = {}
    status = 200
    try:
        require(person, "bench")
        desk = open_desk()
        if request.method == "POST":
            try:
                version = take_proposals(desk, person, sheet, typed)
                return redirect(f"{reverse('run-sheet', args=[sheet])}?version={version.number}")
            except BitternError as error:
                status, trouble = describe_trouble(TAKE, typed, error)
        context = build_runs(desk, sheet)
    except BitternError as error:
        return show_problem(request, error, back=reverse("run-sheets"))
    return render(request, "runsheets/runs.html", {**context, **trouble}, status=status)
