"""Conflicts: what cannot all be right is named, what can is not."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key.catalogue import Article, Catalogue
from bittern.engines.key.evidence import Observation, Vehicle
from bittern.engines.key.identification import identify
from bittern.engines.key.index import KeyIndex
from tests.engines.key.toy import ONE_2015, ONE_2016, fitment, toy_catalogue, wide_catalogue

TOY, WIDE = toy_catalogue(), wide_catalogue(120)
WIDE_INDEX = KeyIndex(WIDE)


def make_article(name: str, label: str, hertz: float, blade: str) -> Article:
    return Article(
        name, name, "remote", fcc_id=label, frequency_hz=hertz, buttons=("lock", "unlock"), blade=blade
    )


# Two articles that share nothing but their buttons.
PAIR = Catalogue(
    {
        "A": make_article("A", "KX4-HM22", 433.92e6, "b-1"),
        "B": make_article("B", "2AB7QRRS9", 315e6, "b-2"),
        "C": make_article("C", "KX4-ZZ91", 868.35e6, "b-3"),
    },
    (
        fitment("One", (2014, 2017), "turn", "A", 0.6),
        fitment("One", (2014, 2017), "turn", "B", 0.3),
        fitment("Two", (2014, 2017), "turn", "C", 0.9),
    ),
)
LABEL_A = Observation("fcc_id", "KX4-HM22", "seen")
RADIO_B = Observation("frequency_hz", 315.0e6, "measured")


def conflicts(*observations: Observation, vehicle: Vehicle = ONE_2015) -> tuple[str, ...]:
    return identify(PAIR, vehicle, observations).conflicts


def test_an_identifier_and_a_frequency_of_different_articles() -> None:
    (sentence,) = conflicts(LABEL_A, RADIO_B)
    assert sentence.startswith(
        "The identifier and the frequency cannot both be right for any article; most likely"
    )
    assert sentence.endswith("in 100).")


def test_a_third_that_agrees_with_one_leaves_the_conflict_between_two() -> None:
    found = conflicts(LABEL_A, RADIO_B, Observation("blade", "b-1", "seen"))
    assert any(one.startswith("The identifier and the frequency cannot both be right") for one in found)
    assert any(one.startswith("The blade and the frequency cannot both be right") for one in found)
    # Both agree on the article: what does not is the likeliest to be wrong.
    assert all("most likely the frequency was got wrong" in one for one in found)


def test_what_fits_the_pack_but_not_the_vehicle() -> None:
    (sentence,) = conflicts(
        Observation("fcc_id", "KX4-ZZ91", "measured"), Observation("blade", "b-3", "measured")
    )[:1]
    assert "fits no article that is listed for Heron One 2015" in sentence
    assert "from another vehicle" in sentence or "lacks an article that fits" in sentence


def test_one_thing_that_fits_the_vehicle_says_nothing() -> None:
    assert conflicts() == ()
    assert conflicts(LABEL_A) == ()
    assert conflicts(LABEL_A, Observation("frequency_hz", 433.9e6, "measured")) == ()
    # One miscounted button happens every day.
    assert conflicts(LABEL_A, Observation("button_count", 3, "told")) == ()
    # Asked in vain is no contradiction.
    assert conflicts(LABEL_A, Observation("blade", None)) == ()


def test_the_order_of_observations_does_not_matter() -> None:
    shown = [LABEL_A, RADIO_B, Observation("blade", "b-2", "seen"), Observation("start", "turn", "told")]
    expected = conflicts(*shown)
    assert expected
    for seed in range(4):
        assert conflicts(*random.Random(seed).sample(shown, len(shown))) == expected


def test_two_answers_about_the_same_thing() -> None:
    found = conflicts(LABEL_A, Observation("fcc_id", "2AB7QRRS9", "seen"))
    assert found[0].startswith("Two answers about the identifier cannot both be right")


def test_a_conflict_never_blocks() -> None:
    found = identify(PAIR, ONE_2015, [LABEL_A, RADIO_B, Observation("blade", "b-1", "measured")])
    assert found.conflicts
    assert found.candidates[0].article == "A"


def exact(article: Article, kinds: set[str]) -> list[Observation]:
    """Return what somebody sees who makes no mistake."""
    every = {
        "fcc_id": article.fcc_id or None,
        "button_count": len(article.buttons),
        "buttons": tuple(article.buttons),
        "blade": article.blade or None,
        "frequency_hz": article.frequency_hz,
        "chip": article.chip or None,
    }
    return [Observation(kind, every[kind], "seen") for kind in sorted(kinds)]


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(WIDE.fitments),
    st.sets(st.sampled_from(["fcc_id", "button_count", "buttons", "blade", "frequency_hz", "chip"])),
)
def test_what_is_seen_without_a_mistake_of_a_listed_article_is_no_conflict(row, kinds):
    vehicle = Vehicle(make=row.make, model=row.model, year=row.year_from, start=row.start)
    article = WIDE.articles[row.article]
    assert identify(WIDE_INDEX, vehicle, exact(article, kinds)).conflicts == ()


@pytest.mark.parametrize("vehicle", [Vehicle(), Vehicle(make="Nobody", model="Nine"), ONE_2016])
def test_any_vehicle_can_be_asked_about(vehicle: Vehicle) -> None:
    found = identify(TOY, vehicle, [Observation("blade", "nothing known", "seen"), RADIO_B, LABEL_A])
    assert all(one.endswith(".") for one in found.conflicts)
