"""Views of reading the old key: its picture comes in, the run is watched, what was read is seen and taken."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods, require_safe

from bittern.bench.desk import open_desk
from bittern.bench.jobs.drafts import drop_draft
from bittern.bench.pages.blade_page import (
    AGAIN,
    CANCEL,
    DROP,
    FRAGMENT,
    LOOK,
    OWN_REASON,
    READ,
    TAKE,
    build_result,
    build_run,
)
from bittern.bench.pages.blade_upload import KeyUpload, receive, take_picture
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.latest import require_latest
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.traveller import Attempt, keep_nowhere, let_show_picture, load_drafts
from bittern.bench.people.models import as_person
from bittern.bench.readings import runs
from bittern.core.errors import BitternError
from bittern.formats.card import PAPERS_MM, render_pdf
from bittern.work import actions
from bittern.work.blade_reading import begin_reading, look_at_reading
from bittern.work.errors import FieldsError
from bittern.work.facts import JobFile
from bittern.work.people import Person, require
from bittern.work.ports import Desk


@require_safe
def measuring_card(request: HttpRequest, paper: str) -> HttpResponse:
    """Show the measuring card to print."""
    if paper not in PAPERS_MM:
        raise Http404
    headers = {"Content-Disposition": f'inline; filename="measuring-card-{paper}.pdf"'}
    return HttpResponse(render_pdf(paper), content_type="application/pdf", headers=headers)


# The token stands in the form that carries the picture: it is read only once it is known who asks.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def blade_picture(request: HttpRequest, number: int) -> HttpResponse:
    """Take the picture of an old key and begin to read it; a plain visit leads to the Blade leg."""
    if request.method != "POST":
        return redirect(_name_leg(number))
    return receive(request, number, _begin)


@csrf_protect
def _begin(request: HttpRequest, desk: Desk, job: JobFile, handler: KeyUpload) -> HttpResponse:
    typed, person = flatten_post(request.POST), as_person(request.user)
    try:
        raw = take_picture(request, handler)
        order = begin_reading(desk, job.number, person, typed)
    except BitternError as error:
        return _show_refused(request, desk, job, READ, typed, error)
    runs.start(job.number, order, str(typed.get("dpi") or ""), raw, person)
    return redirect("blade-reading", job.number)


@require_http_methods(["GET", "HEAD", "POST"])
def blade_reading(request: HttpRequest, number: int) -> HttpResponse:
    """Show where the reading stands, or what was read, after a look that is on record; change it, take it."""
    person = as_person(request.user)
    try:
        require(person, "bench")
        desk = open_desk()
        job = desk.store.load(number)
        if request.method != "POST":
            return _show(request, desk, job, {})
    except BitternError as error:
        return show_problem(request, error, back=_name_leg(number))
    typed = flatten_post(request.POST)
    do = str(typed.pop("do", ""))
    try:
        if do == CANCEL:
            runs.cancel(number)
        elif do != LOOK:
            require_latest(desk, number, do, typed)
            actions.act(desk, number, person, do, typed)
            drop_draft(number, do, person.login)
    except BitternError as error:
        return _show_refused(request, desk, job, do, typed, error)
    if do in (TAKE, DROP):
        # Heights half typed belong to a reading that is gone now.
        drop_draft(number, AGAIN, person.login)
    if do in (TAKE, DROP, CANCEL):
        return redirect(_name_leg(number))
    return _show_look(request, desk, job, person, typed)


def _show_look(
    request: HttpRequest,
    desk: Desk,
    job: JobFile,
    person: Person,
    typed: dict[str, object],
    context: dict[str, object] | None = None,
    status: int = 200,
) -> HttpResponse:
    """Show what was read; each time is a look, with the reason that was given or the reader's own."""
    run = runs.find(job.number)
    if run is None or not runs.is_read(job.number):
        return _show(request, desk, job, context or {}, status)
    reason = str(typed.get("reason") or (OWN_REASON if run.read_by == person.login else ""))
    try:
        reading, mark = look_at_reading(desk, job.number, person, reason)
        result = build_result(desk, job, reading, mark, reason)
    except FieldsError as error:
        return _show(request, desk, job, _describe(LOOK, typed, error), 422)
    except BitternError as error:
        return _show(request, desk, job, {"problem": describe_problem(error), "broken": True}, 409)
    drafts = {name: found for name, found in load_drafts(job.number, person.login).items() if context is None}
    return _show(request, desk, job, {"typed": drafts, **result, **(context or {})}, status)


def _show_refused(
    request: HttpRequest, desk: Desk, job: JobFile, act: str, typed: dict[str, object], error: BitternError
) -> HttpResponse:
    """Show the page again with what was typed and what was wrong with it."""
    context = _describe(act, typed, error)
    status = describe_problem(error).status
    if act in (READ, CANCEL) or status == 404:
        return _show(request, desk, job, context, status)
    person = as_person(request.user)
    return _show_look(request, desk, job, person, typed, context, status)


def _describe(act: str, typed: dict[str, object], error: BitternError) -> dict[str, object]:
    if not isinstance(error, FieldsError):
        return {"problem": describe_problem(error), "typed": {act: typed}}
    attempt = Attempt(act, "blade", typed, errors=list_sentences(error))
    return {
        "typed": {act: typed},
        "failed_act": act,
        "errors": attempt.errors,
        "wrong": attempt.list_wrong(),
    }


def _show(
    request: HttpRequest, desk: Desk, job: JobFile, context: dict[str, object], status: int = 200
) -> HttpResponse:
    run = runs.find(job.number)
    page = {**build_run(desk, job, as_person(request.user), run), **context}
    if request.headers.get("HX-Target") == FRAGMENT:
        # A fragment with a mistake in it is shown too: the page swaps what is answered with 200 alone.
        return keep_nowhere(render(request, "parts/blade_reading.html", page))
    return let_show_picture(keep_nowhere(render(request, "pages/blade_reading.html", page, status=status)))


def _name_leg(number: int) -> str:
    return f"{reverse('job', args=[number])}?leg=blade#leg-blade"
