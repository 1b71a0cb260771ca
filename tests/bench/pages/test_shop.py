"""The owner sets the shop's terms; nobody else does."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from bittern.bench.jobs.shop import load_terms
from bittern.work.shop import write_terms
from tests.bench.pages.journey import read_words
from tests.conftest import Cast

LogIn = Callable[[Any], Client]
TERMS = {
    "name": "Fenside Keys",
    "town": "Saltmere",
    "labour_per_hour": "81,50",
    "tax_percent": "19.5",
    "cutting_minutes": "12",
    "proof_minutes": "9",
    "bar_percent": "95",
    "unit": "inch",
}


def test_what_the_owner_sets_is_kept_and_shown_again(cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.owner)
    answer = client.post("/shop/", TERMS, follow=True)
    assert "Kept." in read_words(answer)
    terms = load_terms()
    assert (terms.name, terms.labour_per_hour, terms.tax_percent) == (
        "Fenside Keys",
        Decimal("81.50"),
        Decimal("19.5"),
    )
    assert (terms.cutting_minutes, terms.proof_minutes, terms.bar, terms.unit) == (12, 9, 0.95, "inch")
    assert write_terms(terms) == {**TERMS, "labour_per_hour": "81.50"}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", ""),
        ("labour_per_hour", "-1"),
        ("labour_per_hour", "1e3"),
        ("labour_per_hour", "10.005"),
        ("tax_percent", "101"),
        ("bar_percent", "100"),
        ("cutting_minutes", "soon"),
        ("unit", "ell"),
    ],
)
def test_a_mistake_stands_beside_its_field_and_nothing_is_kept(
    cast: Cast, log_in: LogIn, field: str, value: str
) -> None:
    before = load_terms()
    answer = log_in(cast.owner).post("/shop/", {**TERMS, field: value})
    assert answer.status_code == 422
    assert f'name="{field}"' in answer.content.decode()
    assert "expected" in read_words(answer)
    assert load_terms() == before


def test_only_an_owner_sees_or_sets_them(cast: Cast, log_in: LogIn) -> None:
    for user in (cast.technician, cast.counter):
        client = log_in(user)
        assert client.get("/shop/").status_code == 403
        assert client.post("/shop/", TERMS).status_code == 403
    assert load_terms().name != TERMS["name"]
