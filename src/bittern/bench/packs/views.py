"""Views of Packs: technicians and owners look, owners change."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bittern.bench.packs.page import build_packs
from bittern.bench.packs.store import sweep
from bittern.bench.pages.problem import show_problem
from bittern.bench.people.models import as_person
from bittern.work.errors import NotAllowedError
from bittern.work.people import require


@require_safe
def packs(request: HttpRequest) -> HttpResponse:
    """Show the pack in use, the lists read into it, and what the shop has learnt."""
    person = as_person(request.user)
    try:
        require(person, "look")
    except NotAllowedError as error:
        return show_problem(request, error)
    sweep()
    return render(request, "packs/packs.html", build_packs(person))
