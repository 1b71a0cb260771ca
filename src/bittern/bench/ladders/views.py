"""Views of a job's ladders: planned, looked at with a reason, climbed rung by rung."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from bittern.bench.desk import open_desk
from bittern.bench.ladders.page import (
    BEGIN,
    DROP,
    PLAN,
    RUNG,
    TURNED,
    build_closed,
    build_list,
    build_rung,
    list_typed_readings,
)
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.latest import require_latest
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.traveller import Attempt, keep_nowhere
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError
from bittern.work import actions
from bittern.work.errors import FieldsError, NoSuchJobError
from bittern.work.facts import JobFile
from bittern.work.ladder import look_at_ladder
from bittern.work.ladder_plan import HopelessError
from bittern.work.people import Person, require
from bittern.work.ports import Desk

ACTS = (PLAN, BEGIN, RUNG, TURNED, DROP)
LIST = "list"


@require_http_methods(["GET", "HEAD", "POST"])
def ladder(request: HttpRequest, number: int) -> HttpResponse:
    """Show how the ladders stand without opening their seal; plan them, open them, climb them."""
    person = as_person(request.user)
    try:
        require(person, "look")
        desk = open_desk()
        job = desk.store.load(number)
    except BitternError as error:
        return show_problem(request, error)
    if request.method != "POST":
        return _show_closed(request, desk, job, person)
    typed = flatten_post(request.POST)
    do = str(typed.pop("do", ""))
    try:
        return _do(request, desk, number, person, do, typed)
    except NoSuchJobError as error:
        return show_problem(request, error)
    except FieldsError as error:
        if do == TURNED and str(typed.get("reason") or "").strip():
            # A forgotten tick at the lock is no reason to open the seal by hand again.
            return _show_opened(request, desk, number, person, typed, error)
        return _show_closed(request, desk, desk.store.load(number), person, do, typed, error)
    except BitternError as error:
        return _show_closed(request, desk, desk.store.load(number), person, do, typed, error)


def _do(
    request: HttpRequest, desk: Desk, number: int, person: Person, do: str, typed: dict[str, object]
) -> HttpResponse:
    if do in ACTS:
        require_latest(desk, number, do, typed)
        more = list_typed_readings(desk, number, person) if typed.get("weigh_by") == "caliper" else {}
        actions.act(desk, number, person, do, {**more, **typed})
    if do in (PLAN, DROP):
        return redirect("ladder", number)
    if do == TURNED:
        return redirect(f"{reverse('job', args=[number])}?leg=blade#leg-blade")
    return _show_opened(request, desk, number, person, typed)


def _show_opened(
    request: HttpRequest,
    desk: Desk,
    number: int,
    person: Person,
    typed: dict[str, object],
    error: FieldsError | None = None,
) -> HttpResponse:
    """Open the seal, on record, and show the rung at hand or the whole list."""
    reason = str(typed.get("reason") or "")
    opened = look_at_ladder(desk, number, person, reason)
    job = desk.store.load(number)
    if typed.get("show") == LIST:
        context = build_list(desk, job, opened, reason)
        return keep_nowhere(render(request, "ladders/list.html", context))
    context = build_rung(desk, job, person, opened, reason)
    if error is not None:
        attempt = Attempt(TURNED, "blade", typed, errors=list_sentences(error))
        context |= {"typed": {TURNED: typed}, "failed_act": TURNED, "errors": attempt.errors}
        context |= {"wrong": attempt.list_wrong()}
    status = 422 if error else 200
    return keep_nowhere(render(request, "ladders/rung.html", context, status=status))


def _show_closed(
    request: HttpRequest,
    desk: Desk,
    job: JobFile,
    person: Person,
    do: str = "",
    typed: dict[str, object] | None = None,
    error: BitternError | None = None,
) -> HttpResponse:
    try:
        context = build_closed(desk, job, person)
    except BitternError as missing:
        back = f"{reverse('job', args=[job.number])}?leg=key#leg-key"
        return show_problem(request, missing, back=back)
    status = 200
    if error is not None:
        problem = describe_problem(error)
        fields = list_sentences(error) if isinstance(error, FieldsError) else {}
        attempt = Attempt(do, "blade", typed or {}, errors=fields)
        context |= {"typed": {do: typed}, "failed_act": do, "errors": fields, "wrong": attempt.list_wrong()}
        context |= {"problem": None if fields else problem}
        status = problem.status
        if isinstance(error, HopelessError):
            counts = {"remaining": f"{error.plan.remaining:,}", "blanks": f"{error.plan.blanks or 0:,}"}
            context |= {"hopeless": error.plan, "counts": counts, "problem": None}
            status = 422
    return keep_nowhere(render(request, "ladders/page.html", context, status=status))
