"""An error of the use cases as a sentence on the page: its title, its status, its hint."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from bittern.core.errors import BitternError, FaultsError, InputError
from bittern.work.actions import NoSuchActError
from bittern.work.errors import (
    ClosedError,
    ConflictError,
    NoSuchJobError,
    NoSuchRehearsalError,
    NoSuchSheetError,
    NotAllowedError,
    NotYetError,
)

_BY_CLASS: tuple[tuple[type[BitternError], int, str], ...] = (
    (NotAllowedError, 403, "Not for this role"),
    (NoSuchJobError, 404, "No such job"),
    (NoSuchRehearsalError, 404, "No such rehearsal"),
    (NoSuchSheetError, 404, "No such run sheet"),
    (NoSuchActError, 404, "No such entry"),
    (ConflictError, 409, "Somebody else was quicker"),
    (ClosedError, 409, "This job is closed"),
    (NotYetError, 409, "Not yet"),
    (FaultsError, 422, "Not recorded yet"),
    (InputError, 422, "Not recorded yet"),
)


@dataclass(frozen=True, slots=True)
class Problem:
    """What went wrong, for ``parts/problem.html``."""

    status: int
    title: str
    sentence: str
    hint: str
    faults: tuple[str, ...] = ()


def describe_problem(error: BitternError) -> Problem:
    """Return ``error`` in words for the page."""
    status, title = next(
        ((status, title) for kind, status, title in _BY_CLASS if isinstance(error, kind)),
        (409, "Not recorded"),
    )
    faults: tuple[str, ...] = ()
    sentence = f"{error.meaning} Found {error.found}; expected {error.expected}."
    if isinstance(error, FaultsError):
        faults = tuple(str(fault) for fault in error.faults)
        sentence = error.meaning
    return Problem(status, title, sentence, error.hint, faults)


def show_problem(request: HttpRequest, error: BitternError, *, back: str = "/") -> HttpResponse:
    """Return a page of its own for ``error``, where there is no page to show it on."""
    problem = describe_problem(error)
    page = f"{problem.status}.html" if problem.status in (403, 404) else "409.html"
    context = {"sentence": problem.sentence, "hint": problem.hint, "back": back}
    return render(request, page, context, status=problem.status)
