"""Views of run sheets: technicians and owners look and write, owners approve."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from bittern.bench.desk import open_desk
from bittern.bench.pages.problem import show_problem
from bittern.bench.people.models import as_person
from bittern.bench.runsheets.list_page import build_list
from bittern.bench.runsheets.page import build_sheet
from bittern.core.errors import BitternError
from bittern.work.people import require


@require_safe
def run_sheets(request: HttpRequest) -> HttpResponse:
    """Show every run sheet: the pack's and the shop's own."""
    person = as_person(request.user)
    try:
        require(person, "bench")
        context = build_list(open_desk(), person)
    except BitternError as error:
        return show_problem(request, error)
    return render(request, "runsheets/list.html", context)


@require_safe
def run_sheet(request: HttpRequest, sheet: str) -> HttpResponse:
    """Show one run sheet."""
    person = as_person(request.user)
    try:
        require(person, "bench")
        context = build_sheet(open_desk(), person, sheet)
    except BitternError as error:
        return show_problem(request, error, back=reverse("run-sheets"))
    return render(request, "runsheets/sheet.html", context)
