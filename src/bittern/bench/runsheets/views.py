"""Views of run sheets: technicians and owners look, owners approve."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from bittern.bench.desk import open_desk
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.traveller import Attempt
from bittern.bench.people.models import as_person
from bittern.bench.runsheets.difference import build_difference
from bittern.bench.runsheets.list_page import build_list
from bittern.bench.runsheets.page import APPROVE, TAKE_BACK, build_sheet
from bittern.core.errors import BitternError, InputError, shorten
from bittern.work.errors import FieldsError, NoSuchSheetError
from bittern.work.people import require
from bittern.work.sheets import approve_version, get_version, take_back_approval


@require_safe
def run_sheets(request: HttpRequest) -> HttpResponse:
    """Show every run sheet: the shop's own and the pack's."""
    return show_list(request)


@require_safe
def run_sheet(request: HttpRequest, sheet: str) -> HttpResponse:
    """Show one run sheet: the version asked for, or the one in use."""
    return show_sheet(request, sheet)


@require_POST
def approval(request: HttpRequest, sheet: str) -> HttpResponse:
    """Approve a version or take its approval back: fields act, number, in_use, sure, because."""
    person, typed = as_person(request.user), flatten_post(request.POST)
    act = str(typed.get("act") or "")
    try:
        require(person, "owner")
        number = read_number(typed.get("number"))
        desk = open_desk()
        if number is None or act not in (APPROVE, TAKE_BACK):
            raise InputError(shorten(act) or "nothing", f"{APPROVE} or {TAKE_BACK}, and a version")
        if act == APPROVE:
            approve_version(desk, sheet, number, person, typed)
            messages.success(request, f"Version {number} is in use for every run that begins from now on.")
        else:
            after = take_back_approval(desk, sheet, number, person, typed)
            in_use = f"In use now: {after.name}." if after else "No version is in use now."
            messages.success(request, f"The approval of version {number} is taken back. {in_use}")
    except (NoSuchSheetError, InputError) as error:
        return show_problem(request, error, back=reverse("run-sheets"))
    except BitternError as error:
        return show_sheet(request, sheet, act=act, typed=typed, error=error)
    return redirect("run-sheet", sheet)


@require_safe
def difference(request: HttpRequest, sheet: str) -> HttpResponse:
    """Show what changed between two versions: fields before and after."""
    try:
        require(as_person(request.user), "bench")
        before, after = read_number(request.GET.get("before")), read_number(request.GET.get("after"))
        if before is None or after is None:
            return redirect("run-sheet", sheet)
        context = build_difference(open_desk(), sheet, before, after)
    except BitternError as error:
        return show_problem(request, error, back=reverse("run-sheets"))
    return render(request, "runsheets/difference.html", context)


@require_safe
def sheet_file(request: HttpRequest, sheet: str) -> HttpResponse:
    """Give a version as TOML: field version, 0 for the pack's."""
    try:
        require(as_person(request.user), "bench")
        number = read_number(request.GET.get("version"))
        if number is None:
            return redirect("run-sheet", sheet)
        version = get_version(open_desk(), sheet, number)
    except BitternError as error:
        return show_problem(request, error, back=reverse("run-sheets"))
    headers = {"Content-Disposition": f'attachment; filename="{version.sheet}.toml"'}
    return HttpResponse(version.text.encode(), content_type="application/toml", headers=headers)


def show_list(
    request: HttpRequest, act: str = "", typed: dict[str, object] | None = None, error: Any = None
) -> HttpResponse:
    """Return the list, with what was wrong with a form of it."""
    person = as_person(request.user)
    try:
        require(person, "bench")
        context = build_list(open_desk(), person)
    except BitternError as problem:
        return show_problem(request, problem)
    status, trouble = describe_trouble(act, typed or {}, error)
    return render(request, "runsheets/list.html", {**context, **trouble}, status=status)


def show_sheet(
    request: HttpRequest,
    sheet: str,
    *,
    act: str = "",
    typed: dict[str, object] | None = None,
    error: BitternError | None = None,
) -> HttpResponse:
    """Return a sheet's page, with what was wrong with a form of it."""
    person = as_person(request.user)
    number = read_number((typed or {}).get("number") or request.GET.get("version"))
    try:
        require(person, "bench")
        context = build_sheet(open_desk(), person, sheet, number)
    except BitternError as problem:
        return show_problem(request, problem, back=reverse("run-sheets"))
    status, trouble = describe_trouble(act, typed or {}, error)
    return render(request, "runsheets/sheet.html", {**context, **trouble}, status=status)


def describe_trouble(
    act: str, typed: dict[str, object], error: BitternError | None
) -> tuple[int, dict[str, Any]]:
    """Return the status of a page and what it says of an error."""
    if error is None:
        return 200, {}
    problem = describe_problem(error)
    if not isinstance(error, FieldsError):
        return problem.status, {"problem": problem, "typed": {act: typed}}
    attempt = Attempt(act, "", typed, errors=list_sentences(error))
    return problem.status, {
        "typed": {act: typed},
        "failed_act": act,
        "errors": attempt.errors,
        "wrong": attempt.list_wrong(),
    }


def read_number(value: object) -> int | None:
    """Return the number of a version that an address or a form names, or None.

    >>> read_number("3"), read_number("-1"), read_number("x" * 9)
    (3, None, None)
    """
    text = str(value or "") if value != 0 else "0"
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else None
