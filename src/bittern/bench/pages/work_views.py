"""Views of the work at bench and vehicle: chart, caliper readings, the run sheet, the handover sheet."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from bittern.bench.desk import open_desk
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.legs import blade
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.runner import ACT, build_runner
from bittern.bench.pages.traveller import Attempt, keep_nowhere, render_job
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError
from bittern.formats.handover_pdf import render_handover
from bittern.work import actions
from bittern.work.blade import get_standard, look_at_bitting
from bittern.work.errors import FieldsError, NoSuchJobError
from bittern.work.handover import compose_sheet
from bittern.work.number_on_board import find_standing, is_stopped
from bittern.work.pairing import load_run
from bittern.work.people import require
from bittern.work.ports import Desk


@require_http_methods(["GET", "HEAD", "POST"])
def bitting(request: HttpRequest, number: int) -> HttpResponse:
    """Show chart and cutting list after a look that is on record; a plain visit is asked why first."""
    desk, person, typed = open_desk(), as_person(request.user), flatten_post(request.POST)
    if request.method != "POST":
        return redirect(_name_leg(number, "blade"))
    reason = str(typed.get("reason") or "")
    try:
        secret = look_at_bitting(desk, number, person, reason)
        job = desk.store.load(number)
        context = {**blade.build_context(desk, job, person), **blade.build_chart(desk, job, secret)}
    except BitternError as error:
        return _show_leg(request, desk, number, error, typed)
    return keep_nowhere(render(request, "legs/bitting.html", {**context, "reason": reason}))


@require_POST
def readings(request: HttpRequest, number: int) -> HttpResponse:
    """Show what caliper readings say before anything is kept."""
    desk, fields = open_desk(), flatten_post(request.POST)
    try:
        require(as_person(request.user), "bench")
        job = desk.store.load(number)
        context = blade.build_study(desk, job, get_standard(desk, job), fields)
    except BitternError as error:
        return show_problem(request, error)
    if request.headers.get("HX-Target") == "reading-study":
        return keep_nowhere(render(request, "legs/blade_study.html", {"job": job, **context}))
    attempt = Attempt(blade.MEASURE, "blade", fields, context=context, status=200)
    return keep_nowhere(render_job(request, desk, job, attempt=attempt))


@require_http_methods(["GET", "HEAD", "POST"])
def runner(request: HttpRequest, number: int) -> HttpResponse:
    """Show the run where it stands, or record what happened and show it again."""
    desk = open_desk()
    if request.method != "POST":
        return _show_run(request, desk, number)
    typed = flatten_post(request.POST)
    try:
        actions.act(desk, number, as_person(request.user), ACT, typed)
    except BitternError as error:
        return _show_run(request, desk, number, typed, error)
    return redirect("runner", number)


@require_safe
def handover_sheet(request: HttpRequest, number: int) -> HttpResponse:
    """Show the handover sheet as PDF."""
    desk = open_desk()
    try:
        sheet = compose_sheet(desk.store.load(number), desk.terms, timezone.get_current_timezone())
    except BitternError as error:
        return show_problem(request, error)
    headers = {"Content-Disposition": f'inline; filename="handover-{number}.pdf"'}
    pdf = render_handover(sheet)
    return keep_nowhere(HttpResponse(pdf, content_type="application/pdf", headers=headers))


def _name_leg(number: int, leg: str) -> str:
    return f"{reverse('job', args=[number])}?leg={leg}#leg-{leg}"


def _show_leg(
    request: HttpRequest, desk: Desk, number: int, error: BitternError, typed: dict[str, object]
) -> HttpResponse:
    """Show the Blade leg again after a look that was refused."""
    problem = describe_problem(error)
    if isinstance(error, NoSuchJobError):
        return show_problem(request, error)
    fields = list_sentences(error) if isinstance(error, FieldsError) else {}
    attempt = Attempt("look", "blade", typed, fields, None if fields else problem, status=problem.status)
    return render_job(request, desk, desk.store.load(number), attempt=attempt)


def _show_run(
    request: HttpRequest,
    desk: Desk,
    number: int,
    typed: dict[str, object] | None = None,
    error: BitternError | None = None,
) -> HttpResponse:
    try:
        job = desk.store.load(number)
    except NoSuchJobError as missing:
        return show_problem(request, missing)
    run = load_run(desk, job)
    if run is None:
        return redirect(_name_leg(number, "pairing"))
    person = as_person(request.user)
    context = build_runner(job, run, person)
    context["has_adapter"] = desk.adapter is not None and person.may("bench")
    context["number_stop"] = find_standing(desk, job) if is_stopped(job) else None
    status = 200
    if error is not None:
        status, trouble = _describe_trouble(typed or {}, error)
        context |= trouble
    return keep_nowhere(render(request, "runner/page.html", context, status=status))


def _describe_trouble(typed: dict[str, object], error: BitternError) -> tuple[int, dict[str, Any]]:
    problem = describe_problem(error)
    if not isinstance(error, FieldsError):
        return problem.status, {"problem": problem}
    attempt = Attempt(ACT, "pairing", typed, errors=list_sentences(error))
    wrong = {
        "typed": {ACT: typed},
        "failed_act": ACT,
        "errors": attempt.errors,
        "wrong": attempt.list_wrong(),
    }
    return problem.status, wrong
