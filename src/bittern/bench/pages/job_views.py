"""Views of one job: the traveller, its acts, its drafts, its log."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from bittern.bench.desk import open_desk
from bittern.bench.jobs.drafts import drop_draft, keep_draft
from bittern.bench.pages.entries import fits_draft, flatten_post, name_draft
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.latest import require_latest
from bittern.bench.pages.logbook import describe_entry
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.second import OF_THE_JOB, require_second_act
from bittern.bench.pages.traveller import Attempt, load_drafts, render_job
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError
from bittern.work import actions
from bittern.work.errors import FieldsError, NoSuchJobError
from bittern.work.legs import draw_traveller
from bittern.work.ports import Desk
from bittern.work.request import WANTS, open_job
from bittern.work.settled import is_settled

# The name of the new job's form, beside the names of acts.
NEW = "open-job"


@require_http_methods(["GET", "HEAD", "POST"])
def new_job(request: HttpRequest) -> HttpResponse:
    """Show the request form, or open the job it describes."""
    desk, person = open_desk(), as_person(request.user)
    context: dict[str, object] = {"wants": WANTS, "failed_act": NEW}
    if request.method != "POST":
        return render(request, "pages/new_job.html", context | {"typed": load_drafts(None, person.login)})
    typed = flatten_post(request.POST)
    try:
        job = open_job(desk, person, typed)
    except FieldsError as error:
        attempt = Attempt(NEW, "", typed, errors=list_sentences(error))
        context |= {"typed": {NEW: typed}, "errors": attempt.errors, "wrong": attempt.list_wrong()}
        return render(request, "pages/new_job.html", context, status=422)
    drop_draft(None, NEW, person.login)
    return redirect("job", job.number)


@require_safe
def job(request: HttpRequest, number: int) -> HttpResponse:
    """Show the traveller; ``?leg=`` opens that leg."""
    desk = open_desk()
    try:
        found = desk.store.load(number)
    except NoSuchJobError as error:
        return show_problem(request, error)
    return render_job(request, desk, found, asked_leg=request.GET.get("leg", ""))


@require_http_methods(["GET", "HEAD", "POST"])
def act(request: HttpRequest, number: int, name: str) -> HttpResponse:
    """Do one act, then show the job again; a mistake shows the form with what was typed."""
    if request.method != "POST":
        # Somebody whose login had ended comes back here after it: the draft holds what was typed.
        return redirect("job", number)
    desk, person = open_desk(), as_person(request.user)
    typed = flatten_post(request.POST)
    try:
        require_latest(desk, number, name, typed)
        require_second_act(desk, number, name, typed)
        leg = actions.act(desk, number, person, name, typed)
    except BitternError as error:
        return _show_mistake(request, desk, number, name, typed, error)
    drop_draft(number, name_draft(name, typed), person.login)
    return redirect(_find_place(desk, number, leg))


@require_POST
def draft(request: HttpRequest, number: int, name: str) -> HttpResponse:
    """Keep what is in a form of the job that was not yet sent."""
    if name not in actions.ACTS:
        return HttpResponse(status=404)
    try:
        job = open_desk().store.load(number)
    except NoSuchJobError:
        return HttpResponse(status=404)
    return _keep(request, number, name) if job.state == "open" else HttpResponse(status=409)


@require_POST
def new_draft(request: HttpRequest) -> HttpResponse:
    """Keep what is in the form of a new job."""
    return _keep(request, None, NEW)


@require_safe
def job_log(request: HttpRequest, number: int) -> HttpResponse:
    """Show what happened on the job, in words."""
    desk = open_desk()
    try:
        found = desk.store.load(number)
    except NoSuchJobError as error:
        return show_problem(request, error)
    rows = [(entry, describe_entry(entry)) for entry in desk.store.entries(number)]
    return render(request, "pages/job_log.html", {"job": found, "rows": rows})


def _show_mistake(
    request: HttpRequest,
    desk: Desk,
    number: int,
    name: str,
    typed: dict[str, object],
    error: BitternError,
) -> HttpResponse:
    problem = describe_problem(error)
    try:
        found = desk.store.load(number)
    except NoSuchJobError as missing:
        return show_problem(request, missing)
    if name not in actions.ACTS:
        return show_problem(request, error)
    fields = list_sentences(error) if isinstance(error, FieldsError) else {}
    attempt = Attempt(
        name,
        # Withdrawing belongs to the whole job, not to a leg that would have to be opened for it.
        "" if name in OF_THE_JOB else actions.ACTS[name][0],
        typed,
        errors=fields,
        problem=None if fields else problem,
        status=problem.status,
    )
    return render_job(request, desk, found, attempt=attempt)


def _find_place(desk: Desk, number: int, leg: str) -> str:
    """Return where to go on after an act on ``leg``: it stays open until it is settled."""
    found = desk.store.load(number)
    page = reverse("job", args=[number])
    if found.state != "open":
        return page
    step = draw_traveller(found).next
    stays = not is_settled(found, leg) and (step is None or step.leg != leg)
    return f"{page}?leg={leg}#leg-{leg}" if stays else f"{page}#leg-{leg}"


def _keep(request: HttpRequest, number: int | None, name: str) -> HttpResponse:
    fields = flatten_post(request.POST)
    if not fits_draft(fields):
        return HttpResponse(status=413)
    keep_draft(number, name_draft(name, fields), as_person(request.user).login, fields, timezone.now())
    return HttpResponse(status=204)
