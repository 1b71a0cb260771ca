"""Views of rehearsals: the list with the course, one rehearsal, what is done at its vehicle."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from bittern.bench.desk import open_desk
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.runner import ACT
from bittern.bench.pages.traveller import Attempt, keep_nowhere
from bittern.bench.people.models import as_person
from bittern.bench.rehearsals.list_page import BEGIN, build_list
from bittern.bench.rehearsals.page import BEGIN_RUN, DEED, build_scene
from bittern.bench.rehearsals.store import DjangoRehearsals
from bittern.core.errors import BitternError
from bittern.work.errors import FieldsError
from bittern.work.people import require
from bittern.work.rehearsal import begin_run, do_deed, load_scene, record_event
from bittern.work.rehearsal_begin import begin_lesson, begin_rehearsal, repeat_rehearsal


@require_http_methods(["GET", "HEAD", "POST"])
def rehearsals(request: HttpRequest) -> HttpResponse:
    """Show the course, the sheets and what was reached, or begin a rehearsal."""
    person, store = as_person(request.user), DjangoRehearsals()
    typed: dict[str, object] = {}
    trouble: dict[str, Any] = {}
    status = 200
    try:
        require(person, "bench")
        desk = open_desk()
    except BitternError as error:
        return show_problem(request, error)
    if request.method == "POST":
        typed = flatten_post(request.POST)
        try:
            begin = begin_lesson if "place" in typed else begin_rehearsal
            return redirect("rehearsal", begin(desk, store, person, typed))
        except BitternError as error:
            status, trouble = _describe_trouble(BEGIN, typed, error)
    context = {**build_list(desk, store, person), **trouble}
    return render(request, "rehearsals/list.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def rehearsal(request: HttpRequest, number: int) -> HttpResponse:
    """Show a rehearsal where it stands, or record what the person says of the run."""
    if request.method != "POST":
        return _show(request, number)
    typed = flatten_post(request.POST)
    person, store = as_person(request.user), DjangoRehearsals()
    beginning = typed.get("kind") == "begun"
    try:
        require(person, "bench")
        if beginning:
            begin_run(open_desk(), store, number, person, typed)
        else:
            record_event(open_desk(), store, number, person, typed)
    except BitternError as error:
        return _show(request, number, BEGIN_RUN if beginning else ACT, typed, error)
    return redirect("rehearsal", number)


@require_POST
def rehearsal_deed(request: HttpRequest, number: int) -> HttpResponse:
    """Do something at the simulated vehicle."""
    typed = flatten_post(request.POST)
    person = as_person(request.user)
    try:
        require(person, "bench")
        do_deed(open_desk(), DjangoRehearsals(), number, person, typed)
    except BitternError as error:
        return _show(request, number, DEED, typed, error)
    return redirect(f"{reverse('rehearsal', args=[number])}#vehicle")


@require_POST
def rehearsal_again(request: HttpRequest, number: int) -> HttpResponse:
    """Begin a rehearsal like this one: with the same vehicle or with other faults."""
    person = as_person(request.user)
    try:
        require(person, "bench")
        begun = repeat_rehearsal(open_desk(), DjangoRehearsals(), number, person, flatten_post(request.POST))
    except BitternError as error:
        return show_problem(request, error, back=reverse("rehearsals"))
    return redirect("rehearsal", begun)


def _show(
    request: HttpRequest,
    number: int,
    act: str = "",
    typed: dict[str, object] | None = None,
    error: BitternError | None = None,
) -> HttpResponse:
    desk, person = open_desk(), as_person(request.user)
    try:
        scene = load_scene(DjangoRehearsals(), number, person)
    except BitternError as missing:
        return show_problem(request, missing, back=reverse("rehearsals"))
    context = build_scene(scene, person, desk.clock.now())
    status = 200
    if error is not None:
        status, trouble = _describe_trouble(act, typed or {}, error)
        context |= trouble
    return keep_nowhere(render(request, "rehearsals/page.html", context, status=status))


def _describe_trouble(act: str, typed: dict[str, object], error: BitternError) -> tuple[int, dict[str, Any]]:
    problem = describe_problem(error)
    if not isinstance(error, FieldsError):
        return problem.status, {"problem": problem}
    attempt = Attempt(act, "", typed, errors=list_sentences(error))
    return problem.status, {
        "typed": {act: typed},
        "failed_act": act,
        "errors": attempt.errors,
        "wrong": attempt.list_wrong(),
    }
