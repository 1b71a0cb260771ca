"""The shop's terms, for its owner."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from bittern.bench.desk import find_pack_folder, load_pack
from bittern.bench.jobs.shop import load_terms, save_terms
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.problem import show_problem
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError
from bittern.engines.key.decision import Costs
from bittern.work.errors import FieldsError, NotAllowedError
from bittern.work.people import require
from bittern.work.shop import (
    COSTS,
    MINUTES,
    UNITS,
    VISITS,
    CostField,
    read_terms,
    write_costs,
    write_terms,
)

FORM = "set-terms"


@require_http_methods(["GET", "HEAD", "POST"])
def shop(request: HttpRequest) -> HttpResponse:
    """Show the terms, or set them."""
    person = as_person(request.user)
    context: dict[str, object] = {"units": UNITS, "failed_act": FORM, "saved": "saved" in request.GET}
    context |= list_cost_fields()
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


def list_cost_fields() -> dict[str, object]:
    """Return the fields of what questions and mistakes cost, each with its meaning and its usual value."""
    usual = write_costs(Costs())

    def describe(prefix: str, fields: tuple[CostField, ...]) -> list[dict[str, str]]:
        named = [(f"{prefix}_{one.name}", one) for one in fields]
        return [
            {"name": name, "label": one.label, "help": f"{one.means} Usual: {usual[name]}."}
            for name, one in named
        ]

    return {
        "costs": describe("cost", COSTS),
        "minutes": describe("minutes", MINUTES),
        "visits": describe("visit", VISITS),
        "currency": _name_currency(),
    }


def _name_currency() -> str:
    try:
        return load_pack(find_pack_folder()).currency
    except BitternError:
        # A pack that cannot be read is no reason to keep the owner from the terms.
        return "the pack's currency"
