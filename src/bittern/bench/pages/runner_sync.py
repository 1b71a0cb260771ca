"""What the runner's script asks for: the run as data, an answer to events kept on a device, its own files."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from typing import Any, NoReturn

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from bittern.bench.carrying.store import Heard, find_carrier, hear, let_go
from bittern.bench.desk import open_desk
from bittern.bench.pages.problem import describe_problem
from bittern.bench.pages.runner import build_addresses, build_runner
from bittern.bench.pages.runner_pack import build_pack
from bittern.bench.pages.traveller import keep_nowhere
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError, shorten
from bittern.engines.pairing.event import RunState
from bittern.work.errors import FieldsError, field_fault
from bittern.work.pairing import Run
from bittern.work.pairing_sync import Receipt, Sent, Standing, load_standing, receive_events, take_over
from bittern.work.people import Person, require
from bittern.work.ports import Desk

# What a runner's page is made of, kept with it on the device.
FILES = (
    "bench/bench.css",
    "bench/work.css",
    "bench/runner.css",
    "bench/mark.svg",
    "django_htmx/htmx-2.min.js",
    "bench/bench.js",
    "bench/runner.js",
    "bench/runner_aids.js",
    "bench/runner_carry.js",
    "bench/runner_census.js",
    "bench/runner_clock.js",
    "bench/runner_fold.js",
    "bench/runner_store.js",
    "bench/runner_sync.js",
    "bench/runner_time.js",
    "bench/runner_view.js",
)


@require_safe
def run_data(request: HttpRequest, number: int) -> HttpResponse:
    """Return the run as data, with every view that may come; ``?device=`` names who asks."""
    desk, person = open_desk(), as_person(request.user)
    try:
        job = desk.store.load(number)
        attempt = job.pairing.attempt if job.pairing else 0
        standing = load_standing(desk, job, attempt)
        run, happened = standing.run, standing.events
        count = standing.ledger.counts.get(request.GET.get("device", ""), 0)
        context = {**build_runner(job, run, person), "ended_urls": _list_ends(number, run)}
        pack = build_pack(
            run, happened, person, context, name=f"job {number}", now=desk.clock.now(), sequence=count
        )
    except BitternError as error:
        return _tell_problem(error)
    return keep_nowhere(JsonResponse({**pack, "token": get_token(request)}))


@require_POST
def events(request: HttpRequest, number: int) -> HttpResponse:
    """Take what a device has kept, and answer with what became of it and where the run stands."""
    desk, person = open_desk(), as_person(request.user)
    try:
        require(person, "bench")
        body = _read_body(request)
        sent = _read_sent(body)
        receipt, standing = receive_events(desk, number, person, sent)
        heard = _hear(desk, number, person, sent, body, standing.run)
        answer = build_answer(sent, receipt, standing, desk.clock.now(), heard)
    except BitternError as error:
        return _tell_problem(error)
    return keep_nowhere(JsonResponse(answer))


@require_safe
def shell(request: HttpRequest, number: int) -> HttpResponse:
    """Show the runner's page with nothing of the run in it: the script fills it from what the device kept."""
    context = {"number": number, "blank_stage": True, **build_addresses(number)}
    return keep_nowhere(render(request, "runner/shell.html", context))


@require_safe
def worker(request: HttpRequest, number: int) -> HttpResponse:
    """Return the service worker of this run's page: it changes with every file that it keeps."""
    kept = {
        "shell": reverse("runner-shell", args=[number]),
        "files": [static(name) for name in FILES],
    }
    text = (
        f"self.kept = {json.dumps(kept)};\nimportScripts({json.dumps(static('bench/runner_worker.js'))});\n"
    )
    return keep_nowhere(HttpResponse(text, content_type="text/javascript; charset=utf-8"))


def build_answer(
    sent: Sent, receipt: Receipt, standing: Standing, now: datetime, heard: Heard | None
) -> dict[str, Any]:
    """Return the answer to a device: what became of its events, what it does not know yet, the state."""
    run, happened = standing.run, standing.events
    if sent.attempt != run.attempt:
        # A later run was begun elsewhere: this one is over, and nothing of it is news.
        happened = []
    have = sent.have
    known = 0 < have <= len(happened) and happened[have - 1].event_id == sent.last
    start = have if known else 0
    return {
        "now": now.isoformat(),
        "attempt": run.attempt,
        "results": [result.as_dict() for result in receipt.results],
        "send_from": receipt.send_from,
        "from": start,
        "events": [event.as_dict() for event in happened[start:]],
        "state": plain_place(run.state),
        # Of the device's own count the server may know more than the device, as after its store was emptied.
        "sequence": standing.ledger.counts.get(sent.device, 0),
        "carrier": heard.as_dict() if heard else None,
    }


def plain_place(state: RunState) -> dict[str, object]:
    """Return where the server's run stands, to be compared with the device's."""
    return {"step_id": state.step_id, "visit": state.visit, "phase": state.phase, "ended": state.ended}


def _hear(
    desk: Desk, number: int, person: Person, sent: Sent, body: dict[str, Any], run: Run
) -> Heard | None:
    name = f"job {number} run {sent.attempt}"
    if run.state.ended or sent.attempt != run.attempt:
        let_go(name)
        return None
    takes_over = body.get("take_over") is True
    before = find_carrier(name) if takes_over else None
    heard = hear(name, sent.device, str(body.get("word")), person, desk.clock.now(), takes_over=takes_over)
    if before and before.device != sent.device and heard.is_own:
        take_over(desk, number, person, run.attempt, before.login)
    return heard


def _list_ends(number: int, run: Run) -> dict[str, str]:
    """Return where the page leads when the run has ended, by its outcome."""
    outcomes = ("good", "unchanged", "stranded", "")
    states = {outcome: replace(run.state, outcome=outcome) for outcome in outcomes}
    return {
        outcome: build_addresses(number, replace(run, state=state))["ended_url"]
        for outcome, state in states.items()
    }


def _read_body(request: HttpRequest) -> dict[str, Any]:
    try:
        body = json.loads(request.body, parse_constant=_refuse_constant)
    except ValueError as error:
        raise field_fault("body", shorten(str(error)), "JSON") from error
    if not isinstance(body, dict):
        raise field_fault("body", shorten(body), "an object")
    return body


def _refuse_constant(word: str) -> NoReturn:
    # No number, and not to be written into the log: Python reads it, JSON has no such word.
    raise ValueError(f"{word} is no number")


def _read_sent(body: dict[str, Any]) -> Sent:
    attempt, have, device, last = (body.get(name) for name in ("attempt", "have", "device", "last"))
    happened = body.get("events", [])
    if not isinstance(happened, list) or not all(isinstance(event, dict) for event in happened):
        raise field_fault("events", shorten(happened), "a list of events")
    if type(attempt) is not int or type(have) is not int or not 0 < attempt < 2**31:
        raise field_fault("attempt", shorten([attempt, have]), "which run, and how many events are known")
    if not isinstance(device, str) or not 0 < len(device) <= 64 or not isinstance(last, str):
        raise field_fault("device", shorten(device), "the device's id")
    return Sent(attempt, device, tuple(happened), have, last)


def _tell_problem(error: BitternError) -> HttpResponse:
    problem = describe_problem(error)
    sentence = problem.sentence
    if isinstance(error, FieldsError):
        sentence = " ".join(f"{name}: {words}" for name, words in error.fields.items())
    told = {"code": error.code, "title": problem.title, "sentence": sentence, "hint": problem.hint}
    return keep_nowhere(JsonResponse({"problem": told}, status=problem.status))
