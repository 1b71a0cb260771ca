"""Inspecting the finished key: its picture comes in, the verdict is shown, a person records it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods

from bittern.bench.pages.blade_upload import FIELD, KeyUpload, receive, take_picture
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.inspection_page import ACT, build_verdict
from bittern.bench.pages.problem import describe_problem
from bittern.bench.pages.traveller import Attempt, keep_nowhere, let_show_picture, render_job
from bittern.bench.people.models import as_person
from bittern.bench.readings.runs import TURN
from bittern.core.errors import BitternError
from bittern.work.blade_inspection import begin_inspection, inspect_finished, note_inspection
from bittern.work.errors import FieldsError
from bittern.work.facts import JobFile
from bittern.work.ports import Desk

ON_THE_LEG = (FIELD, "how", "dpi", "reason")


# The token stands in the form that carries the picture: it is read only once it is known who asks.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def inspection(request: HttpRequest, number: int) -> HttpResponse:
    """Take the picture of a finished key and show the verdict; a plain visit leads to the Blade leg."""
    if request.method != "POST":
        return redirect(f"{reverse('job', args=[number])}?leg=blade#leg-blade")
    return receive(request, number, _inspect)


@csrf_protect
def _inspect(request: HttpRequest, desk: Desk, job: JobFile, handler: KeyUpload) -> HttpResponse:
    typed, person = flatten_post(request.POST), as_person(request.user)
    try:
        raw = take_picture(request, handler)
        order = begin_inspection(desk, job.number, person, typed)
        with TURN:
            found = inspect_finished(order, raw, person, desk)
        note_inspection(desk, job.number, person, order, found.inspection)
    except BitternError as error:
        return _show_refused(request, desk, job, typed, error)
    job = desk.store.load(job.number)
    context = build_verdict(desk, job, person, order, found)
    page = render(request, "inspections/verdict.html", {**context, "reason": typed.get("reason", "")})
    let_show_picture(page)
    return keep_nowhere(page)


def _show_refused(
    request: HttpRequest, desk: Desk, job: JobFile, typed: dict[str, object], error: BitternError
) -> HttpResponse:
    problem = describe_problem(error)
    fields = list_sentences(error) if isinstance(error, FieldsError) else {}
    if any(name not in ON_THE_LEG for name in fields):
        # The caliper's fields stand on the verdict's page, which is closed by now.
        fields = {}
    attempt = Attempt(ACT, "blade", typed, fields, None if fields else problem, status=problem.status)
    return render_job(request, desk, desk.store.load(job.number), attempt=attempt)
