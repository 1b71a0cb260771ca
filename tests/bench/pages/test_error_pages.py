"""When something goes wrong a person reads a plain sentence and finds a way on."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from bittern.bench.pages import job_views
from bittern.bench.pages.problem import describe_problem
from bittern.core.errors import BitternError, Fault, FaultsError, InputError
from bittern.work.errors import ClosedError, ConflictError, NoSuchJobError, NotAllowedError, NotYetError
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, read_words
from tests.conftest import Cast

LogIn = Callable[[Any], Client]
TEMPLATES = Path(job_views.__file__).parents[1] / "templates"


@pytest.mark.parametrize(
    ("kind", "status"),
    [
        (NotAllowedError, 403),
        (NoSuchJobError, 404),
        (ConflictError, 409),
        (ClosedError, 409),
        (NotYetError, 409),
        (InputError, 422),
        (BitternError, 409),
    ],
)
def test_each_error_has_its_status_and_says_what_was_found_and_expected(
    kind: type[BitternError], status: int
) -> None:
    problem = describe_problem(kind("a heron", "a teal", hint="look again"))
    assert problem.status == status
    assert problem.sentence == f"{kind.meaning} Found a heron; expected a teal."
    assert problem.hint == "look again"


def test_an_error_of_several_faults_lists_them_all() -> None:
    faults = [Fault(where=f"cut {n}", found="9", expected="1 to 4") for n in (1, 2)]
    problem = describe_problem(FaultsError(faults))
    assert problem.status == 422
    assert len(problem.faults) == 2
    assert "cut 2" in problem.faults[1]


def test_an_address_that_is_not_there_leads_back_to_today(cast: Cast, log_in: LogIn) -> None:
    response = log_in(cast.counter).get("/nowhere/")
    assert response.status_code == 404
    assert "Nothing here" in read_words(response)
    assert 'href="/"' in response.content.decode()


def test_a_page_of_another_role_says_so(cast: Cast, log_in: LogIn) -> None:
    response = log_in(cast.counter).get(reverse("people"))
    assert response.status_code == 403
    assert "Not for this role" in read_words(response)


def test_a_fault_of_the_bench_is_owned_up_to(
    cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = carry(desk)

    def break_down(*args: object, **kwargs: object) -> None:
        raise RuntimeError("a secret detail")

    monkeypatch.setattr(job_views, "render_job", break_down)
    client = log_in(cast.counter)
    client.raise_request_exception = False
    response = client.get(f"/jobs/{number}/")
    assert response.status_code == 500
    assert "The bench made a mistake." in read_words(response)
    assert "a secret detail" not in response.content.decode()


@pytest.mark.parametrize(
    "page", ["400.html", "403.html", "403_csrf.html", "404.html", "409.html", "500.html"]
)
def test_an_error_page_stands_without_any_context(page: str) -> None:
    text = render_to_string(page)
    assert text.count("<h1>") == 1
    assert 'href="/"' in text
    assert "<title>" in text


@pytest.mark.parametrize("path", sorted(TEMPLATES.rglob("*.html")), ids=lambda path: path.name)
def test_forms_that_change_something_carry_their_token(path: Path) -> None:
    text = path.read_text()
    for form in re.findall(r'<form\b[^>]*method="post".*?</form>', text, re.DOTALL):
        assert "{% csrf_token %}" in form
