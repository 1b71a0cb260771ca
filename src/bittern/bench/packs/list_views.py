"""Views of suppliers' lists: technicians and owners look, owners change."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from bittern.bench.desk import load_pack_in_use
from bittern.bench.packs import runs, store
from bittern.bench.packs.list_page import (
    build_form,
    build_list,
    choose_first,
    describe_error,
    read_fields,
)
from bittern.bench.packs.models import DISCARDED, DRAFT, RUNNING, SuppliersList
from bittern.bench.packs.page import build_packs
from bittern.bench.packs.receiving import FIELD, ListUpload, clean_name
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.problem import show_problem
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError, InputError
from bittern.formats.spreadsheets import WEB_LIMIT_BYTES, read_sheet
from bittern.work.errors import FieldsError, NotAllowedError
from bittern.work.people import require

View = Callable[..., HttpResponse]


def needs(ability: str) -> Callable[[View], View]:
    """Let in those whose role carries ``ability``; the others are told so."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            try:
                require(as_person(request.user), ability)
            except NotAllowedError as error:
                return show_problem(request, error)
            return view(request, *args, **kwargs)

        return guarded

    return decorate


# The token stands in the form that carries the file: it is read only once it is known who asks.
@csrf_exempt
@require_POST
@needs("owner")
def new_list(request: HttpRequest) -> HttpResponse:
    """Take a list's file."""
    handler = ListUpload(request)
    request.upload_handlers = [handler]
    return _take_file(request, handler)


@csrf_protect
def _take_file(request: HttpRequest, handler: ListUpload) -> HttpResponse:
    upload = request.FILES.get(FIELD)
    error = ""
    if handler.too_large:
        error = f"Found a file of more than {WEB_LIMIT_BYTES:,} bytes; expected at most that."
    elif upload is None or not upload.size:
        error = "Found no file; expected a list as CSV or XLSX."
    else:
        try:
            row = _keep(request, upload)
        except InputError as problem:
            error = describe_error(problem)
        else:
            return redirect("list", row.pk)
    context = build_packs(as_person(request.user)) | {"upload_error": error}
    return render(request, "packs/packs.html", context, status=422)


def _keep(request: HttpRequest, upload: Any) -> SuppliersList:
    name = clean_name(upload.name or "")
    pack = load_pack_in_use()
    sheet = read_sheet(
        Path(upload.temporary_file_path()),
        name=name,
        limit_bytes=WEB_LIMIT_BYTES,
        most_rows=store.SAMPLE_ROWS,
    )
    login = as_person(request.user).login
    row = store.keep_file(name, upload.size, login, upload.chunks(store.PIECE_BYTES), sheet)
    store.save_choices(row, choose_first(row, pack, sheet.sheet))
    return row


@require_safe
@needs("look")
def one_list(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a list: its columns, what it would change, what was done with it."""
    store.sweep()
    return _show(request, _find(pk))


@require_POST
@needs("owner")
def choices(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep what was chosen about a list; a page that asks for it gets the preview alone."""
    row = _find(pk)
    typed = flatten_post(request.POST)
    if row.state != DRAFT:
        return redirect("list", pk)
    try:
        _save(row, typed)
    except FieldsError as error:
        if request.headers.get("HX-Request"):
            # Half typed: the preview waits until it means something.
            return HttpResponse(status=204)
        return _show(request, row, typed=typed, errors=error.fields, status=422)
    except InputError as error:
        return _show(request, row, typed=typed, errors={"sheet": describe_error(error)}, status=422)
    if request.headers.get("HX-Request"):
        context = build_form(row, store.load_choices(row), load_pack_in_use())
        return render(request, "packs/preview.html", context | {"list": row})
    return redirect(f"{reverse('list', args=[pk])}#preview")


@require_POST
@needs("owner")
def run(request: HttpRequest, pk: int) -> HttpResponse:
    """Check the whole list, or import it."""
    row = _find(pk)
    kind = runs.IMPORT if request.POST.get("what") == runs.IMPORT else runs.CHECK
    typed = flatten_post(request.POST)
    try:
        if kind == runs.CHECK:
            _save(row, typed)
        runs.start(row, kind, as_person(request.user).login)
    except FieldsError as error:
        return _show(request, row, typed=typed, errors=error.fields, status=422)
    except BitternError as error:
        return show_problem(request, error, back=reverse("list", args=[pk]))
    return redirect(f"{reverse('list', args=[pk])}#found")


@require_safe
@needs("look")
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """Say where the work on a list stands; once it has ended the whole page is asked for."""
    store.sweep()
    row = _find(pk)
    if row.run_state == RUNNING:
        return render(request, "packs/progress.html", {"list": row})
    return HttpResponse(status=204, headers={"HX-Refresh": "true"})


@require_POST
@needs("owner")
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """End the work on a list."""
    runs.cancel(_find(pk))
    return redirect("list", pk)


@require_POST
@needs("owner")
def change(request: HttpRequest, pk: int, what: str) -> HttpResponse:
    """Take a list off the pack, lay it on again, or throw it away."""
    row, login = _find(pk), as_person(request.user).login
    acts = {"undo": store.undo, "redo": store.redo, "discard": store.discard}
    words = {
        "undo": "Undone: the pack is as if this list had never been read.",
        "redo": "The list lies over the pack again.",
        "discard": f"“{row.name}” is thrown away.",
    }
    if what not in acts:
        return redirect("list", pk)
    try:
        acts[what](row, login)
    except BitternError as error:
        return show_problem(request, error, back=reverse("list", args=[pk]))
    messages.success(request, words[what])
    return redirect("packs") if what == "discard" else redirect("list", pk)


def _find(pk: int) -> SuppliersList:
    return get_object_or_404(SuppliersList.objects.exclude(state=DISCARDED), pk=pk)


def _save(row: SuppliersList, typed: dict[str, object]) -> None:
    """Keep the choices; another sheet is read and recognised anew."""
    chosen = read_fields(row, typed)
    before = store.load_choices(row)
    if chosen.sheet != before.sheet:
        with tempfile.TemporaryDirectory(prefix="bittern-list-") as folder:
            path = Path(folder) / "list"
            store.write_file(row, path)
            sheet = read_sheet(path, name=row.name, sheet=chosen.sheet, most_rows=store.SAMPLE_ROWS)
        row.sample = store.write_sample(sheet)
        SuppliersList.objects.filter(pk=row.pk, state=DRAFT).update(sample=row.sample)
        first = choose_first(row, load_pack_in_use(), chosen.sheet)
        chosen = replace(chosen, header=first.header, mapping=first.mapping)
    store.save_choices(row, chosen)


def _show(
    request: HttpRequest,
    row: SuppliersList,
    *,
    typed: dict[str, object] | None = None,
    errors: Any = None,
    status: int = 200,
) -> HttpResponse:
    context = build_list(row, typed=typed)
    if errors:
        context["errors"] = errors
        context["wrong"] = [{"word": name, "target": "", "sentence": line} for name, line in errors.items()]
    return render(request, "packs/list.html", context, status=status)
