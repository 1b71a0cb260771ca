"""Views of the work at bench and vehicle: the run sheet step by step, the handover sheet."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from bittern.bench.desk import open_desk
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.runner import ACT, build_runner
from bittern.bench.pages.traveller import Attempt
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError
from bittern.formats.handover_pdf import render_handover
from bittern.work import actions
from bittern.work.errors import FieldsError, NoSuchJobError, field_fault
from bittern.work.handover import compose_sheet
from bittern.work.pairing import load_run
from bittern.work.ports import Desk

# What speaks of a customer or of a blade stays on the screen: no cache, shared or not, keeps it.
UNKEPT = {"Cache-Control": "private, no-store"}


@require_http_methods(["GET", "HEAD", "POST"])
def runner(request: HttpRequest, number: int) -> HttpResponse:
    """Show the run where it stands, or record what happened and show it again."""
    desk = open_desk()
    if request.method != "POST":
        return _show_run(request, desk, number)
    typed = flatten_post(request.POST)
    try:
        # Giving up cannot be taken back either: it asks for a second deliberate act.
        if typed.get("kind") == "abandoned" and typed.get("give_up") != "yes":
            raise field_fault("give_up", "not ticked", "a tick that the run ends here")
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
    headers = {"Content-Disposition": f'inline; filename="handover-{number}.pdf"', **UNKEPT}
    return HttpResponse(render_handover(sheet), content_type="application/pdf", headers=headers)


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
        return redirect(f"{reverse('job', args=[number])}?leg=pairing#leg-pairing")
    context = build_runner(job, run, as_person(request.user))
    status = 200
    if error is not None:
        status, trouble = _describe_trouble(typed or {}, error)
        context |= trouble
    response = render(request, "runner/page.html", context, status=status)
    for name, value in UNKEPT.items():
        response.headers[name] = value
    return response


def _describe_trouble(typed: dict[str, object], error: BitternError) -> tuple[int, dict[str, Any]]:
    problem = describe_problem(error)
    if not isinstance(error, FieldsError):
        return problem.status, {"problem": problem}
    attempt = Attempt(ACT, "pairing", typed, errors=error.fields)
    wrong = {"typed": {ACT: typed}, "failed_act": ACT, "errors": error.fields, "wrong": attempt.list_wrong()}
    return problem.status, wrong
