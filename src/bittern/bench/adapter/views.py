"""Views of the adapter. None of them waits for it: what it has said so far is shown, and pages ask again."""

from __future__ import annotations

import time

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from bittern.bench.adapter.page import build_number, build_supply
from bittern.bench.adapter.reader import NUMBER_S, SharedReader, find_reader
from bittern.bench.desk import open_desk
from bittern.bench.pages.problem import show_problem
from bittern.bench.pages.traveller import keep_nowhere
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError
from bittern.engines.link.heard import Heard
from bittern.work import actions
from bittern.work.people import Person, require
from bittern.work.ports import Desk

ACT = "record-number"
WAIT_S, LOOK_S = 0.6, 0.05
"""So long the answer to a press waits for a number that is on its way."""
READING = "The adapter is reading the number."
NO_ADAPTER = "No adapter is set up here: read the number at the windscreen and type it in."
NO_ANSWER = "The adapter has not given a number: read it at the windscreen and type it in."


@require_safe
def supply(request: HttpRequest, number: int) -> HttpResponse:
    """Show the supply voltage of the last minutes; a page asks for it again and again."""
    try:
        person = as_person(request.user)
        require(person, "bench")
        desk = open_desk()
        job = desk.store.load(number)
        context = {"job": job, **build_supply(desk, job, person)}
    except BitternError as error:
        return show_problem(request, error)
    return keep_nowhere(render(request, "adapter/supply.html", context))


@require_http_methods(["GET", "HEAD", "POST"])
def number_on_board(request: HttpRequest, number: int) -> HttpResponse:
    """Show the number on board and what it says about the job; read it through the adapter by POST."""
    try:
        person = as_person(request.user)
        require(person, "bench")
        desk = open_desk()
        job = desk.store.load(number)
        if request.method != "POST":
            return _show_number(request, desk, number, person)
        say, reading = _read(desk, number, person, pressed="waiting" not in request.POST)
    except BitternError as error:
        return show_problem(request, error)
    if not say:
        return _go_to_leg(request, number)
    if request.headers.get("HX-Request"):
        return _show_number(request, desk, number, person, say=say, reading=reading)
    messages.info(request, f"{say} Press once more in a moment." if reading else say)
    return redirect(_name_leg(job.number))


@require_POST
def take_over(request: HttpRequest, number: int) -> HttpResponse:
    """Put the adapter to work for this job, away from another."""
    try:
        person = as_person(request.user)
        require(person, "bench")
        desk = open_desk()
        build_supply(desk, desk.store.load(number), person, take=True)
    except BitternError as error:
        return show_problem(request, error)
    return redirect(_name_leg(number))


def _read(desk: Desk, number: int, person: Person, *, pressed: bool) -> tuple[str, bool]:
    """Record the number that the adapter gives; else return what to say, and whether it is on its way.

    What was read for a press is taken once. The next press reads anew: the plug may be in another vehicle.
    """
    reader = find_reader()
    if reader is None:
        return NO_ADAPTER, False
    heard = _wait(reader, number, pressed=pressed)
    if heard.state == "elsewhere":
        return heard.say, False
    if heard.asked_s is not None and heard.now_s - heard.asked_s < NUMBER_S:
        return READING, True
    reader.close_question(number)
    if heard.asked_s is not None:
        return (NO_ANSWER if heard.state == "opening" else heard.say or NO_ANSWER), False
    if heard.number is None or not heard.number.numbers:
        faults = "; ".join(heard.number.faults) if heard.number else ""
        return heard.say or (f"{NO_ANSWER} It says: {faults}." if faults else NO_ANSWER), False
    actions.act(desk, number, person, ACT, {"how": "adapter"})
    return "", False


def _wait(reader: SharedReader, number: int, *, pressed: bool) -> Heard:
    """Ask for the number, unless the page only waits for it, and wait a moment."""
    heard = reader.ask(number, number=pressed)
    until_s = time.monotonic() + WAIT_S
    while heard.asked_s is not None and time.monotonic() < until_s:
        time.sleep(LOOK_S)
        heard = reader.ask(number)
    return heard


def _show_number(
    request: HttpRequest, desk: Desk, number: int, person: Person, *, say: str = "", reading: bool = False
) -> HttpResponse:
    job = desk.store.load(number)
    context = {"job": job, **build_number(desk, job, person), "number_say": say, "number_reading": reading}
    return keep_nowhere(render(request, "adapter/number.html", context))


def _go_to_leg(request: HttpRequest, number: int) -> HttpResponse:
    """Show the job anew: what the number says may have stopped it."""
    if request.headers.get("HX-Request"):
        # Not a redirect: to the address of the page itself, but for its fragment, a browser goes nowhere.
        return HttpResponse(status=204, headers={"HX-Refresh": "true"})
    return redirect(_name_leg(number))


def _name_leg(number: int) -> str:
    return f"{reverse('job', args=[number])}?leg=pairing#leg-pairing"
