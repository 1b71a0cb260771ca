"""The page on which a run sheet is written: a press keeps what was typed; with a script a pause does too."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods
from django_htmx.http import HttpResponseClientRedirect, replace_url, trigger_client_event

from bittern.bench.desk import open_desk
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.people.models import as_person
from bittern.bench.runsheets.edit_page import (
    build_checks,
    build_editor,
    list_field_errors,
    name_fields,
)
from bittern.core.errors import BitternError
from bittern.work.errors import ConflictError, NoSuchSheetError, NotAllowedError
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.sheet_edit import (
    Writing,
    drop_writing,
    open_writing,
    save_writing,
    write_part,
    write_writing,
)
from bittern.work.sheet_reading import read_draft

SAVE, DROP = "save", "drop"


@require_http_methods(["GET", "HEAD", "POST"])
def edit_sheet(request: HttpRequest, sheet: str) -> HttpResponse:
    """Show a sheet for writing, or keep what was typed and do what was pressed."""
    person, desk = as_person(request.user), open_desk()
    try:
        if request.method != "POST":
            writing = open_writing(desk, person, sheet, request.GET.get("part", "")[:20])
            return show_editor(request, sheet, writing)
        typed = flatten_post(request.POST)
        order = str(typed.get("do") or "")
        try:
            return _take(request, desk, person, sheet, typed, order)
        except (NotAllowedError, NoSuchSheetError):
            raise
        except BitternError as error:
            return _show_trouble(request, desk, person, sheet, typed, error)
    except BitternError as error:
        return _leave(request, error)


def _take(
    request: HttpRequest, desk: Desk, person: Person, sheet: str, typed: dict[str, object], order: str
) -> HttpResponse:
    if order == SAVE:
        version = save_writing(desk, person, sheet, typed)
        messages.success(
            request, f"Saved as version {version.number}. It is not in use before an owner approves it."
        )
        return _go(request, f"{reverse('run-sheet', args=[sheet])}?version={version.number}")
    if order == DROP:
        drop_writing(desk, person, sheet)
        messages.success(request, "What was not saved is thrown away.")
        return _go(request, reverse("run-sheet", args=[sheet]))
    writing = write_writing(desk, person, sheet, typed)
    if is_scripted(request):
        if not order:
            return show_checks(request, sheet, writing)
        return show_editor(request, sheet, writing, moved=writing.part != typed.get("part"))
    return redirect(f"{reverse('run-sheet-edit', args=[sheet])}?part={writing.part}")


def _go(request: HttpRequest, address: str) -> HttpResponse:
    return HttpResponseClientRedirect(address) if is_scripted(request) else redirect(address)


def _leave(request: HttpRequest, error: BitternError) -> HttpResponse:
    """Return a page of its own for what cannot be shown beside the fields."""
    if is_scripted(request):
        return HttpResponseClientRedirect(request.path)
    return show_problem(request, error, back=reverse("run-sheets"))


def _show_trouble(
    request: HttpRequest,
    desk: Desk,
    person: Person,
    sheet: str,
    typed: dict[str, object],
    error: BitternError,
) -> HttpResponse:
    """Return the page as it stands, with what was typed in its fields and what went wrong above them."""
    part = str(typed.get("part") or "")[:20]
    kept = open_writing(desk, person, sheet, part)
    here = kept
    if isinstance(error, ConflictError) and kept.part == part:
        here = Writing(write_part(kept.draft, part, typed), kept.turn, kept.based_on, kept.latest, part)
    trouble = {"problem": describe_problem(error), "elsewhere": here.draft != kept.draft}
    if is_scripted(request) and not typed.get("do"):
        return show_checks(request, sheet, here, **trouble)
    return show_editor(request, sheet, here, **trouble)


def is_scripted(request: HttpRequest) -> bool:
    """Return whether a part of the page is asked for, not the whole."""
    return bool(getattr(request, "htmx", False))


def show_editor(request: HttpRequest, sheet: str, writing: Writing, **more: Any) -> HttpResponse:
    """Return the page, or the form alone where a script put the question."""
    scripted = is_scripted(request)
    context = {**build_editor(writing, sheet), **more}
    if scripted:
        response = render(request, "runsheets/edit_form.html", context)
        return replace_url(response, f"{request.path}?part={writing.part}")
    problem = more.get("problem")
    return render(request, "runsheets/edit.html", context, status=problem.status if problem else 200)


def show_checks(request: HttpRequest, sheet: str, writing: Writing, **trouble: Any) -> HttpResponse:
    """Return what the program makes of what was typed, and what is wrong with which field."""
    reading = read_draft(writing.draft, sheet)
    context = {"sheet_id": sheet, **build_checks(writing, reading), **trouble, "typing": True}
    response = render(request, "runsheets/edit_checks.html", context)
    fields = name_fields(list_field_errors(writing, reading))
    return trigger_client_event(response, "sheet-read", {"fields": fields})
