"""The owner sets the shop's terms; nobody else does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from bittern.bench.jobs.shop import load_terms
from bittern.engines.key.decision import Costs
from bittern.engines.key.evidence import KINDS
from bittern.work.key import weigh
from bittern.work.ports import Desk
from bittern.work.shop import COSTS, MINUTES, VISITS, unpack_costs, write_costs, write_terms
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.conftest import Cast

# What a mistake costs, whichever it is.
WRONG = ("cost_wrong_order", "cost_delay", "cost_second_visit", "cost_needless_search")
LogIn = Callable[[Any], Client]
TERMS = {
    "name": "Fenside Keys",
    "town": "Saltmere",
    "labour_per_hour": "81,50",
    "tax_percent": "19.5",
    "cutting_minutes": "12",
    "proof_minutes": "9",
    "bar_percent": "95",
    "cutter_life_min": "90",
    "risk_percent": "5",
    "unit": "inch",
    "cost_per_minute": "1.35",
    "cost_wrong_order": "38.00",
    "cost_delay": "0.00",
    "cost_second_visit": "55.50",
    "cost_needless_search": "70.00",
    "minutes_fcc_id": "4",
    "minutes_button_count": "0.5",
    "minutes_buttons": "2",
    "minutes_start": "0",
    "minutes_blade": "3",
    "minutes_frequency_hz": "7.5",
    "minutes_chip": "12",
    "visit_blade": "0.00",
    "visit_frequency_hz": "35.00",
    "visit_chip": "20.00",
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
        ("cost_per_minute", "-1"),
        ("cost_delay", ""),
        ("visit_chip", "-1"),
        ("cost_wrong_order", "forty"),
        ("cost_second_visit", "inf"),
        ("minutes_chip", "241"),
        ("minutes_blade", "1:30"),
    ],
)
def test_a_mistake_stands_beside_its_field_and_nothing_is_kept(
    cast: Cast, log_in: LogIn, field: str, value: str
) -> None:
    before = load_terms()
    answer = log_in(cast.owner).post("/shop/", {**TERMS, field: value})
    assert answer.status_code == 422
    kept = find_inputs(answer, name=field)
    assert [one.get("value", "") for one in kept if one["tag"] == "input"] in ([value], [])
    assert "expected" in read_words(answer)
    assert load_terms() == before


def test_only_an_owner_sees_or_sets_them(cast: Cast, log_in: LogIn) -> None:
    for user in (cast.technician, cast.counter):
        client = log_in(user)
        assert client.get("/shop/").status_code == 403
        assert client.post("/shop/", TERMS).status_code == 403
    assert load_terms().name != TERMS["name"]


def test_every_cost_is_asked_for_with_its_meaning_its_unit_and_what_is_usual(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    page = log_in(cast.owner).get("/shop/")
    words = read_words(page)
    plain = [name for name, value in asdict(Costs()).items() if isinstance(value, float)]
    assert [one.name for one in COSTS] == plain
    assert {one.name for one in MINUTES} == set(KINDS) == set(Costs().minutes)
    usual = write_costs(Costs())
    for prefix, fields in (("cost", COSTS), ("minutes", MINUTES), ("visit", VISITS)):
        for one in fields:
            assert f"{one.means} Usual: {usual[f'{prefix}_{one.name}']}." in words
            assert len(find_inputs(page, name=f"{prefix}_{one.name}")) == 1
    assert f"{COSTS[0].label} in {desk.pack.currency}" in words


def test_the_weighing_counts_with_the_shops_own_costs(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "vehicle")
    job = desk.store.load(number)
    asked = {ask.question: ask.cost for ask in weigh(desk, job).ask}
    assert asked
    log_in(cast.owner).post("/shop/", {**TERMS, "minutes_fcc_id": "240", "cost_per_minute": "100"})
    dear = replace(desk, terms=load_terms())
    assert all(
        ask.cost
        == 100 * float(TERMS[f"minutes_{ask.question}"] if ask.question != "fcc_id" else "240")
        + float(TERMS.get(f"visit_{ask.question}", "0"))
        for ask in weigh(dear, job).ask
    )
    log_in(cast.owner).post("/shop/", {**TERMS, **dict.fromkeys(WRONG, "0")})
    # Where a mistake costs nothing, no answer is worth a minute.
    careless = replace(desk, terms=load_terms())
    assert all(ask.expected_saving == 0.0 for ask in weigh(careless, job).ask)


def test_costs_kept_by_an_older_or_a_newer_program_are_read_as_far_as_they_are_known() -> None:
    assert unpack_costs({}) == Costs()
    kept = {"delay": 7.0, "thunder": 3.0, "minutes": {"chip": 9.0, "smell": 1.0}, "visit": {"blade": 5.0}}
    found = unpack_costs(kept)
    assert (found.delay, found.minutes["chip"], found.minutes["blade"]) == (7.0, 9.0, 3.0)
    assert "smell" not in found.minutes
    assert found.visit == {"blade": 5.0}
