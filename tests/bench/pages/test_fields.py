"""Field partials keep what was typed, name what was wrong, and belong to one form each."""

from __future__ import annotations

from decimal import Decimal
from html import unescape
from typing import Any

import pytest
from django.template import engines
from hypothesis import given
from hypothesis import strategies as st

from bittern.bench.templatetags.bench import hundredths, minutes, money, percent

TEXT = '{% include "fields/text.html" with act="a" name="n" label="Name" help="" value="" %}'
CHECKS = '{% include "fields/checks.html" with act="a" name="n" label="N" options=o help="" value="" %}'


def draw(source: str, **context: Any) -> str:
    return engines["django"].from_string(source).render(context)


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_any_text_comes_back_as_it_was_typed(text: str) -> None:
    page = draw(TEXT, typed={"a": {"n": text}})
    value = page.split('value="')[1].split('"')[0]
    assert unescape(value) == text


def test_what_was_typed_goes_before_what_is_on_record() -> None:
    assert 'value="new"' in draw(TEXT, typed={"a": {"n": "new"}}, initial={"n": "old"})
    assert 'value="old"' in draw(TEXT, typed={"b": {"n": "new"}}, initial={"n": "old"})
    assert 'value="old"' in draw(TEXT, initial={"a": {"n": "old"}})
    assert 'value=""' in draw(TEXT, typed={"a": {}}, initial={"n": "old"})


def test_an_error_is_tied_to_its_field_and_only_in_the_form_that_was_sent() -> None:
    context = {"failed_act": "a", "errors": {"n": "Found 1; expected 2."}}
    page = draw(TEXT, **context)
    assert 'aria-invalid="true"' in page
    assert 'aria-describedby="f-a-n-error"' in page
    assert '<p class="error" id="f-a-n-error">Found 1; expected 2.</p>' in page
    assert "aria-invalid" not in draw(TEXT.replace('act="a"', 'act="b"'), **context)


def test_of_equal_forms_only_the_one_that_was_sent_shows_its_words() -> None:
    form = TEXT.replace('value=""', 'value="" key=k keyed_by="kind"')
    context = {"failed_act": "a", "errors": {"n": "no"}, "typed": {"a": {"kind": "x", "n": "sent"}}}
    assert 'value="sent"' in draw(form, k="x", **context)
    assert "aria-invalid" in draw(form, k="x", **context)
    assert 'value=""' in draw(form, k="y", **context)
    assert "aria-invalid" not in draw(form, k="y", **context)


@pytest.mark.parametrize(
    "options", [{"p": "Pear", "q": "Quince"}, [("p", "Pear"), ("q", "Quince")], ("p", "q")]
)
@pytest.mark.parametrize(
    ("typed", "chosen"), [("q", {"q"}), (["p", "q"], {"p", "q"}), ("", set()), ("z", set())]
)
def test_ticks_are_those_that_were_sent(options: Any, typed: Any, chosen: set[str]) -> None:
    page = draw(CHECKS, o=options, typed={"a": {"n": typed}})
    ticked = {
        part.split('value="')[1].split('"')[0]
        for part in page.split("<input")[1:]
        if "checked" in part.split(">")[0]
    }
    assert ticked == chosen


@given(st.floats(0, 1))
def test_a_chance_never_claims_certainty_it_has_not(p: float) -> None:
    assert (percent(p) == "100 %") == (p == 1.0)
    assert (percent(p) == "0 %") == (p == 0.0)
    assert 0 <= float(hundredths(p).rstrip("%")) <= 100


@pytest.mark.parametrize(
    ("p", "words"),
    [(0.934, "93 %"), (0.9996, "over 99.9 %"), (0.0004, "under 0.1 %"), (0.995, "99.5 %"), (0.5, "50 %")],
)
def test_a_chance_in_words(p: float, words: str) -> None:
    assert percent(p) == words


def test_money_and_minutes() -> None:
    assert money(Decimal("1234.5"), "EUR") == "1 234.50 EUR"
    assert minutes(59.6) == "1 h 00 min"
    assert minutes(None) == "not known"


@given(st.floats(-1, 2))
def test_a_bar_is_drawn_without_a_style_of_its_own(p: float) -> None:
    page = draw('{% include "parts/bar.html" %}', p=p)
    assert "style=" not in page
    assert percent(p) in page
