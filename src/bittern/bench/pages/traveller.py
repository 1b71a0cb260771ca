"""The job page: header, next step, eight legs of which one is open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from bittern.bench.jobs.drafts import find_drafts
from bittern.bench.pages.fieldwords import name_entry, shorten_sentence
from bittern.bench.pages.problem import Problem, describe_problem
from bittern.bench.people.models import as_person
from bittern.bench.templatetags.bench import name_field
from bittern.core.errors import BitternError
from bittern.work.errors import SealBrokenError
from bittern.work.facts import JobFile
from bittern.work.ladder import is_climbing
from bittern.work.legs import Traveller, draw_traveller
from bittern.work.lines import WANT_WORDS
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.settled import LEGS

# Forms into which a bitting is typed: a page with one of them is for the eye alone.
_WITH_BITTING = {"enter-bitting", "enter-readings"}
# Legs where a label is read from a photo.
_WITH_PHOTO = {"vehicle", "key"}


@dataclass(frozen=True, slots=True)
class Attempt:
    """An act that was not taken: what was typed, and what was wrong with it."""

    act: str
    leg: str
    typed: Mapping[str, object]
    errors: Mapping[str, str] = field(default_factory=dict)
    problem: Problem | None = None
    context: Mapping[str, Any] = field(default_factory=dict)
    status: int = 422

    def list_wrong(self) -> list[dict[str, str]]:
        """Return each wrong field with the id that the field partials give its input."""
        key = str(self.typed.get("key") or self.typed.get("kind") or "")
        return [
            {
                "word": name_entry(self.act, name),
                "target": name_field(self.act, name, key),
                "sentence": shorten_sentence(sentence),
            }
            for name, sentence in self.errors.items()
        ]


def render_job(
    request: HttpRequest,
    desk: Desk,
    job: JobFile,
    *,
    asked_leg: str = "",
    attempt: Attempt | None = None,
) -> HttpResponse:
    """Return the traveller, with the attempt's words and faults where there was one."""
    person, traveller = as_person(request.user), draw_traveller(job)
    leg = attempt.leg if attempt and attempt.leg else asked_leg
    open_leg = leg if leg in LEGS else find_open_leg(traveller)
    typed = load_drafts(job.number, person.login) if job.state == "open" else {}
    if attempt:
        typed[attempt.act] = attempt.typed
    context: dict[str, Any] = {
        "job": job,
        "want": WANT_WORDS[job.request.want],
        "traveller": traveller,
        "step": traveller.next,
        "open_leg": open_leg,
        # A run under way goes on in the runner, not on this page.
        "at_runner": open_leg == "pairing" and job.pairing is not None and not job.pairing.outcome,
        # Ladders have a page of their own, for those at the bench.
        "at_ladder": open_leg == "blade" and is_climbing(job) and person.may("bench"),
        "asked_for": bool(leg) and (traveller.next is None or traveller.next.leg != leg),
        "typed": typed,
        **build_leg(desk, job, person, open_leg, typed),
    }
    if attempt:
        context |= {
            "failed_act": attempt.act,
            "errors": attempt.errors,
            "wrong": attempt.list_wrong(),
            "problem": attempt.problem,
            **attempt.context,
        }
    response = render(request, "pages/job.html", context, status=attempt.status if attempt else 200)
    if open_leg in _WITH_PHOTO:
        let_show_picture(response)
    return keep_nowhere(response) if open_leg == "blade" or _WITH_BITTING & typed.keys() else response


def let_show_picture(response: HttpResponse) -> HttpResponse:
    """Let the page show a picture that stands in the page itself: no other page may, and nothing else."""
    response._csp_update = {"img-src": "data:"}  # type: ignore[attr-defined]
    return response


def keep_nowhere(response: HttpResponse) -> HttpResponse:
    """Mark what speaks of a customer or of a blade: no cache, shared or not, keeps it."""
    response.headers["Cache-Control"] = "private, no-store"
    return response


def find_open_leg(traveller: Traveller) -> str:
    """Return the leg that needs a person; none when the job is closed."""
    return traveller.next.leg if traveller.next else ""


def load_drafts(number: int | None, login: str) -> dict[str, Mapping[str, object]]:
    """Return what this person has typed into the job's forms and not sent: act → fields."""
    try:
        return dict(find_drafts(number, login))
    except SealBrokenError:
        # Sealed under another key file: lost as drafts, but no reason to keep anybody from the job.
        return {}


def build_leg(
    desk: Desk, job: JobFile, person: Person, leg: str, typed: Mapping[str, Mapping[str, object]]
) -> dict[str, Any]:
    """Return the context of one leg; an error of its own is shown inside the leg.

    A leg whose page answers what is being typed has ``build_typed(desk, job, person, typed)`` as well.
    """
    if not leg:
        return {}
    module = import_module(f"bittern.bench.pages.legs.{leg}")
    try:
        context = {"leg_template": f"legs/{leg}.html", **module.build_context(desk, job, person)}
        if typed and hasattr(module, "build_typed"):
            context |= module.build_typed(desk, job, person, typed)
        return context
    except BitternError as error:
        return {"leg_problem": describe_problem(error)}
