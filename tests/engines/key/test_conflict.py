"""Conflicts: what cannot all be right is named, what can is not."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key.catalogue import Article, Catalogue, Fitment
from bittern.engines.key.conflict import find_conflicts, listed_entries, smallest_sets
from bittern.engines.key.evidence import HOWS, Observation, Vehicle
from bittern.engines.key.identification import identify
from bittern.engines.key.index import KeyIndex
from bittern.engines.key.posterior import open_case, posterior_of
from bittern.engines.key.rates import Rates
from tests.engines.key.toy import ONE_2015, ONE_2016, fitment, toy_catalogue, wide_catalogue

TOY, WIDE = toy_catalogue(), wide_catalogue(120)
WIDE_INDEX = KeyIndex(WIDE)
RATES = Rates()
# So many articles of one make that not all of those listed for it can stand alone.
MANY = wide_catalogue(1200)
MANY_INDEX = KeyIndex(MANY)


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
    assert sentence.startswith(
        "The blade and the identifier fit no article that is listed for Heron One 2015, but C, which is"
        " listed for Heron Two; most likely"
    )
    assert "from another vehicle" in sentence or "lacks an article that fits" in sentence


def test_an_identifier_of_another_make_is_said_with_the_make() -> None:
    rows = (*PAIR.fitments[:2], Fitment("Wader", "Nine", 2014, 2017, "turn", "", "", "C", 0.9))
    found = identify(Catalogue(PAIR.articles, rows), ONE_2015, [Observation("fcc_id", "KX4-ZZ91", "seen")])
    assert "listed for Heron One 2015, but C, which is listed for Wader Nine" in found.conflicts[0]


def test_a_start_and_a_label_that_are_each_listed_but_not_together() -> None:
    label, turn = Observation("fcc_id", "KX4-PR78", "seen"), Observation("start", "turn", "seen")
    assert identify(TOY, ONE_2016, [label]).conflicts == identify(TOY, ONE_2016, [turn]).conflicts == ()
    (sentence,) = identify(TOY, ONE_2016, [label, turn]).conflicts
    assert sentence.startswith(
        "The identifier and the way it starts cannot both be right for any article that is listed for"
    )


def test_a_start_that_no_listed_article_has() -> None:
    (sentence,) = conflicts(Observation("start", "push", "told"))
    assert sentence.startswith("The way it starts fits no article that is listed for Heron One 2015")
    assert "turn and push start were mixed up" in sentence


def test_a_year_that_the_pack_does_not_list() -> None:
    (sentence,) = conflicts(vehicle=Vehicle(make="Heron", model="One", year=2025))
    assert sentence.startswith(
        "The year 2025 does not go with what the pack lists for Heron One, 2014 to 2017"
    )
    # A told year may be off by one.
    assert conflicts(vehicle=Vehicle(make="Heron", model="One", year=2018)) == ()
    assert conflicts(vehicle=Vehicle(make="Heron", model="One", year=2018, year_sure=True)) != ()
    assert conflicts(vehicle=Vehicle(make="Nobody", model="Nine", year=2018)) == ()


def test_what_fits_nothing_says_so_and_that_it_may_be_another_vehicles() -> None:
    seen = [Observation("fcc_id", "QQ7-9J9J9J", "seen"), Observation("frequency_hz", 390.1e6, "measured")]
    for one in seen:
        (sentence,) = conflicts(one)
        assert "fits nothing in this pack; most likely the article is not in this pack" in sentence
    (sentence,) = conflicts(*seen)
    assert sentence.startswith("The identifier and the frequency fit nothing in this pack; most likely")
    # The chance of what is outside stops short of certainty: the key itself may be the wrong one to look at.
    assert "or the remote is from another vehicle" in sentence


def test_what_fits_nothing_beside_what_fits_is_the_likeliest_to_be_wrong() -> None:
    seen = [LABEL_A, Observation("frequency_hz", 390.1e6, "measured"), Observation("blade", "b-1", "seen")]
    (sentence,) = conflicts(*seen)
    assert sentence.startswith("The frequency fits nothing in this pack; most likely")
    assert "the frequency was got wrong" in sentence


@pytest.mark.parametrize("how", HOWS)
def test_every_way_of_getting_things_is_judged(how: str) -> None:
    label, radio = Observation("fcc_id", "KX4-HM22", how), Observation("frequency_hz", 315.0e6, how)
    (sentence,) = conflicts(label, radio)
    assert sentence.startswith("The identifier and the frequency cannot both be right")


def test_a_foreign_remote_is_the_likeliest_way_out_where_everything_agrees_on_another_article() -> None:
    # The key agrees in three ways with an article of another model; the pack is known to be complete.
    rates = Rates(unlisted=0.001, outside_floor=0.001)
    seen = [
        Observation("fcc_id", "KX4-ZZ91", "measured"),
        Observation("frequency_hz", 868.35e6, "measured"),
        Observation("blade", "b-3", "seen"),
    ]
    (sentence,) = identify(PAIR, ONE_2015, seen, rates=rates).conflicts
    assert "most likely the remote is from another vehicle (" in sentence


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
    found = conflicts(LABEL_A, Observation("fcc_id", "2AB7QRRS9", "told"))
    assert found[0].startswith("The identifier (seen) and the identifier (told) cannot both be right")
    # One of the two was misread, whichever: the chance is of both together.
    assert "most likely the identifier was misread (9" in found[0]
    assert conflicts(LABEL_A, LABEL_A) == ()


def test_a_conflict_never_blocks() -> None:
    found = identify(PAIR, ONE_2015, [LABEL_A, RADIO_B, Observation("blade", "b-1", "measured")])
    assert found.conflicts
    assert found.candidates[0].article == "A"


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(MANY.fitments),
    st.sampled_from(MANY.fitments),
    st.sampled_from(MANY.fitments),
    st.sampled_from(["", "turn", "push"]),
    st.booleans(),
    st.booleans(),
)
def test_pools_of_articles_say_what_every_article_by_itself_says(
    row: Fitment, one: Fitment, two: Fitment, start: str, labelled: bool, model_known: bool
) -> None:
    vehicle = Vehicle(make=row.make, model=row.model if model_known else "", year=row.year_from, start=start)
    seen = exact(MANY.articles[one.article], {"fcc_id", "frequency_hz"} if labelled else {"frequency_hz"})
    seen += exact(MANY.articles[two.article], {"blade", "buttons"})

    def sentences(apart: Sequence[int]) -> tuple[str, ...]:
        case = open_case(MANY_INDEX, vehicle, seen, RATES, apart)
        return find_conflicts(case, posterior_of(case))

    assert sentences(()) == sentences(range(len(MANY_INDEX)))


@pytest.mark.parametrize("start", ["", "push"])
def test_a_pool_is_listed_with_a_start_if_one_of_its_articles_is(start: str) -> None:
    vehicle = Vehicle(make="Make 3", start=start)
    pooled, apart = (
        open_case(MANY_INDEX, vehicle, [], RATES, places) for places in ((), range(len(MANY_INDEX)))
    )
    each, pools = listed_entries(apart), pooled.pools
    assert listed_entries(pooled)[: len(pools.places)].tolist() == each[pools.places].tolist()
    others = np.setdiff1d(np.arange(len(MANY_INDEX)), pools.places)
    expected = [
        each[others[MANY_INDEX.signatures.of[others] == signature]].any(axis=0).tolist()
        for signature in pools.rest
    ]
    found = listed_entries(pooled)[len(pools.places) :].tolist()
    assert found == expected
    assert [True, False] in found or [False, True] in found


@settings(deadline=None)
@given(st.lists(st.lists(st.booleans(), min_size=5, max_size=5), min_size=1, max_size=12))
def test_the_smallest_sets_are_those_found_by_trying_all(rows: list[list[bool]]) -> None:
    table = np.array(rows)

    def impossible(group: tuple[int, ...]) -> bool:
        return not any(all(row[i] for i in group) for row in rows)

    everything = [g for size in (1, 2, 3) for g in itertools.combinations(range(5), size) if impossible(g)]
    smallest = [g for g in everything if not any(set(one) < set(g) for one in everything)]
    expected = [g for g in smallest if len(g) > 1]
    assert smallest_sets(table, enough=99) == expected
    # More columns than a number has bits; those that every row has are in no set.
    assert smallest_sets(np.hstack([table, np.ones((len(rows), 60), bool)]), most=2, enough=99) == [
        group for group in expected if len(group) == 2
    ]


def exact(article: Article, kinds: set[str], how: str = "seen") -> list[Observation]:
    """Return what somebody sees who makes no mistake."""
    every = {
        "fcc_id": article.fcc_id or None,
        "button_count": len(article.buttons),
        "buttons": tuple(article.buttons),
        "blade": article.blade or None,
        "frequency_hz": article.frequency_hz,
        "chip": article.chip or None,
    }
    return [Observation(kind, every[kind], how) for kind in sorted(kinds)]


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(WIDE.fitments),
    st.sets(st.sampled_from(["fcc_id", "button_count", "buttons", "blade", "frequency_hz", "chip"])),
    st.sampled_from(HOWS),
)
def test_what_is_seen_without_a_mistake_of_a_listed_article_is_no_conflict(
    row: Fitment, kinds: set[str], how: str
) -> None:
    vehicle = Vehicle(make=row.make, model=row.model, year=row.year_from, start=row.start)
    article = WIDE.articles[row.article]
    assert identify(WIDE_INDEX, vehicle, exact(article, kinds, how)).conflicts == ()


@pytest.mark.parametrize("vehicle", [Vehicle(), Vehicle(make="Nobody", model="Nine"), ONE_2016])
def test_any_vehicle_can_be_asked_about(vehicle: Vehicle) -> None:
    found = identify(TOY, vehicle, [Observation("blade", "nothing known", "seen"), RADIO_B, LABEL_A])
    assert all(one.endswith(".") for one in found.conflicts)
