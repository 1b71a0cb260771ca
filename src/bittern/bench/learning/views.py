"""Views of what the shop has learnt: technicians and owners look, owners take back, restore and export."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_safe

from bittern.bench.desk import open_desk
from bittern.bench.learning.page import build_all
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.problem import show_problem
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError
from bittern.formats.pack_export import zip_pack
from bittern.work import learning
from bittern.work.actions import NoSuchActError
from bittern.work.errors import FieldsError
from bittern.work.learnt_pack import PACK_ID, make_learnt_pack
from bittern.work.people import Person, require
from bittern.work.ports import Desk

ACTS: dict[str, Callable[[Desk, Person, Mapping[str, object]], int]] = {
    "take-back": learning.take_back,
    "restore": learning.restore,
}
NAMES = ("what", "job", "make", "model")


@require_safe
def learnt(request: HttpRequest) -> HttpResponse:
    """Show everything learnt, or what was learnt about one make and model."""
    person = as_person(request.user)
    try:
        require(person, "look")
        context = build_all(
            open_desk(), person, request.GET.get("make", "")[:100], request.GET.get("model", "")[:100]
        )
    except BitternError as error:
        return show_problem(request, error, back=reverse("packs"))
    return render(request, "packs/learnt_all.html", context | {"changed": _count_changed(request)})


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, act: str) -> HttpResponse:
    """Ask once more what would be taken back or restored, and do it after a tick."""
    person = as_person(request.user)
    typed = flatten_post(request.POST if request.method == "POST" else request.GET)
    try:
        require(person, "owner")
        if act not in ACTS:
            raise NoSuchActError(act, "one of: " + ", ".join(ACTS))
        if request.method == "POST":
            count = ACTS[act](open_desk(), person, typed)
            named = typed.get("what") == "vehicle"
            query = {name: str(typed.get(name, "")) for name in ("make", "model") if named}
            query["changed"] = str(count)
            return redirect(f"{reverse('learnt')}?{urlencode(query)}")
    except FieldsError as error:
        context = _describe_change(act, typed) | {"errors": list_sentences(error), "failed_act": act}
        return render(request, "packs/learnt_change.html", context, status=422)
    except BitternError as error:
        return show_problem(request, error, back=reverse("packs"))
    return render(request, "packs/learnt_change.html", _describe_change(act, typed))


@require_safe
def own_fitments(request: HttpRequest) -> HttpResponse:
    """Give the owner the shop's own fitments as a pack."""
    try:
        require(as_person(request.user), "owner")
        archive = zip_pack(make_learnt_pack(open_desk()))
    except BitternError as error:
        return show_problem(request, error, back=reverse("learnt"))
    headers = {"Content-Disposition": f'attachment; filename="{PACK_ID}.zip"'}
    return HttpResponse(archive, content_type="application/zip", headers=headers)


def _describe_change(act: str, typed: Mapping[str, object]) -> dict[str, object]:
    kept = {name: str(typed.get(name) or "") for name in NAMES}
    return {"act": act, "kept": kept, "typed": {act: typed}}


def _count_changed(request: HttpRequest) -> int | None:
    said = request.GET.get("changed", "")
    return int(said) if said.isascii() and said.isdigit() and len(said) < 9 else None
