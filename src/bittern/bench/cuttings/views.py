"""Views of a cut's plan: the choice, the plan after a look on record, and its files."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from bittern.bench.cuttings.page import PLAN, TAKE, build_closed, build_opened
from bittern.bench.desk import open_desk
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.traveller import Attempt, keep_nowhere
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError, InputError, shorten
from bittern.engines.cutting.contours import list_curves
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.solid import build_key
from bittern.formats.contour_drawing import draw_contours
from bittern.formats.dxf import write_dxf
from bittern.formats.glb import write_glb
from bittern.formats.machines import read_machine
from bittern.work.cutter_use import record_look
from bittern.work.cutting_plan import CutPlan, plan_again, plan_cut, take_program
from bittern.work.errors import FieldsError, NoSuchJobError
from bittern.work.facts import JobFile
from bittern.work.people import Person, require
from bittern.work.ports import Desk


@require_http_methods(["GET", "HEAD", "POST"])
def cutting(request: HttpRequest, number: int) -> HttpResponse:
    """Show the choice of cutter and speeds; the plan after a look that is on record."""
    person = as_person(request.user)
    try:
        require(person, "bench")
        desk, machine = open_desk(), load_machine()
        job = desk.store.load(number)
        if job.blade is None:
            return redirect(_name_leg(number))
        if request.method != "POST":
            return _show_closed(request, desk, job, person, machine)
    except BitternError as error:
        return show_problem(request, error)
    typed = flatten_post(request.POST)
    try:
        plan = plan_cut(desk, number, person, typed, machine)
    except NoSuchJobError as error:
        return show_problem(request, error)
    except BitternError as error:
        return _show_closed(request, desk, job, person, machine, typed, error)
    context = build_opened(desk, job, plan, typed)
    return keep_nowhere(render(request, "cuttings/plan.html", {**context, "person": person}))


@require_POST
def cutting_file(request: HttpRequest, number: int) -> HttpResponse:
    """Give a program, an outline or the solid; each is a look that is on record."""
    person, typed = as_person(request.user), flatten_post(request.POST)
    try:
        require(person, "bench")
        desk, machine = open_desk(), load_machine()
        kind = str(typed.get("kind") or "")
        if kind == "program":
            name, text = take_program(desk, number, person, typed, machine)
            return _attach(name, text.encode("ascii"), "text/plain; charset=us-ascii")
        if kind not in _WRITERS:
            raise InputError(shorten(kind) or "nothing", " or ".join(["program", *_WRITERS]), where="kind")
        write, content_type = _WRITERS[kind]
        plan = plan_again(desk, number, person, typed, machine)
    except FieldsError as error:
        return _show_opened_again(request, number, person, typed, error)
    except BitternError as error:
        return show_problem(request, error, back=reverse("cutting", args=[number]))
    return _attach(f"job-{number}.{kind}", write(plan), content_type)


@require_POST
def cutter_looked_at(request: HttpRequest, number: int) -> HttpResponse:
    """Record that a cutter's teeth were looked at."""
    try:
        record_look(open_desk(), as_person(request.user), str(request.POST.get("cutter") or ""))
    except BitternError as error:
        return show_problem(request, error)
    return redirect("cutting", number)


def load_machine() -> Machine:
    """Return the shop's cutting machine; raises InputError or FaultsError for a profile that is none."""
    return read_machine(settings.BITTERN_MACHINE) if settings.BITTERN_MACHINE else Machine()


def _write_outline(plan: CutPlan, kind: str) -> bytes:
    curves = list_curves(plan.standard, plan.bitting)
    title = plan.standard.title
    return (write_dxf(curves, title=title) if kind == "dxf" else draw_contours(curves, title=title)).encode()


_WRITERS: dict[str, tuple[Callable[[CutPlan], bytes], str]] = {
    "dxf": (lambda plan: _write_outline(plan, "dxf"), "image/vnd.dxf"),
    "svg": (lambda plan: _write_outline(plan, "svg"), "image/svg+xml"),
    "glb": (lambda plan: write_glb(build_key(plan.standard, plan.bitting)), "model/gltf-binary"),
}


def _attach(name: str, content: bytes, content_type: str) -> HttpResponse:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return keep_nowhere(HttpResponse(content, content_type=content_type, headers=headers))


def _name_leg(number: int) -> str:
    return f"{reverse('job', args=[number])}?leg=blade#leg-blade"


def _show_closed(
    request: HttpRequest,
    desk: Desk,
    job: JobFile,
    person: Person,
    machine: Machine,
    typed: dict[str, object] | None = None,
    error: BitternError | None = None,
) -> HttpResponse:
    context = build_closed(desk, job, person, machine)
    status = 200
    if error is not None:
        problem = describe_problem(error)
        fields = list_sentences(error) if isinstance(error, FieldsError) else {}
        attempt = Attempt(PLAN, "blade", typed or {}, errors=fields)
        context |= {
            "typed": {PLAN: typed},
            "failed_act": PLAN,
            "errors": fields,
            "wrong": attempt.list_wrong(),
        }
        context |= {"problem": None if fields else problem}
        status = problem.status
    return keep_nowhere(render(request, "cuttings/page.html", context, status=status))


def _show_opened_again(
    request: HttpRequest, number: int, person: Person, typed: dict[str, object], error: FieldsError
) -> HttpResponse:
    """Show the plan again with the ticks that are missing: a forgotten tick does not lose the plan."""
    desk, machine = open_desk(), load_machine()
    try:
        job = desk.store.load(number)
        plan = plan_again(desk, number, person, typed, machine)
    except BitternError:
        return show_problem(request, error, back=reverse("cutting", args=[number]))
    fields = list_sentences(error)
    key = str(typed.get("set_up") or "key")
    attempt = Attempt(TAKE, "blade", {**typed, "key": key}, errors=fields)
    context = build_opened(desk, job, plan, typed) | {
        "typed": {TAKE: typed},
        "failed_act": TAKE,
        "failed_key": key,
        "errors": fields,
        "wrong": attempt.list_wrong(),
        "person": person,
    }
    return keep_nowhere(render(request, "cuttings/plan.html", context, status=422))
