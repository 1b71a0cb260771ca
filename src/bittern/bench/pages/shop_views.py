"""The shop's terms, for its owner."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from bittern.bench.jobs.shop import load_terms, save_terms
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.problem import show_problem
from bittern.bench.people.models import as_person
from bittern.work.errors import FieldsError, NotAllowedError
from bittern.work.people import require
from bittern.work.shop import UNITS, read_terms, write_terms

FORM = "set-terms"


@require_http_methods(["GET", "HEAD", "POST"])
def shop(request: HttpRequest) -> HttpResponse:
    """Show the terms, or set them."""
    person = as_person(request.user)
    context: dict[str, object] = {"units": UNITS, "failed_act": FORM, "saved": "saved" in request.GET}
    try:
        require(person, "owner")
        if request.method != "POST":
            return render(request, "pages/shop.html", context | {"typed": {FORM: write_terms(load_terms())}})
        typed = flatten_post(request.POST)
        save_terms(read_terms(person, typed))
    except NotAllowedError as error:
        return show_problem(request, error)
    except FieldsError as error:
        context |= {"typed": {FORM: typed}, "errors": error.fields}
        return render(request, "pages/shop.html", context, status=422)
    return redirect(f"{request.path}?saved")
