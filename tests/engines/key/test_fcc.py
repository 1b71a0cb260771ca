"""FCC identifiers against 47 CFR 2.926 and the examples printed with the grantee-code rule."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key.errors import FccIdError
from bittern.engines.key.evidence import Observation
from bittern.engines.key.fcc import (
    GRANTEE_CHARACTERS,
    GRANTEE_LETTERS,
    PRODUCT_CHARACTERS,
    FccId,
    grantee_length,
    is_fcc_id,
    parse_fcc_id,
    strip_prefix,
)
from bittern.engines.key.identification import identify
from tests.engines.key.toy import ONE_2016, toy_catalogue

GRANTEES = st.one_of(
    st.builds(
        str.__add__,
        st.sampled_from(GRANTEE_LETTERS),
        st.text(GRANTEE_CHARACTERS, min_size=2, max_size=2),
    ),
    st.builds(str.__add__, st.sampled_from("23456789"), st.text(GRANTEE_CHARACTERS, min_size=4, max_size=4)),
)
PRODUCTS = st.text(PRODUCT_CHARACTERS, min_size=1, max_size=14)


def test_an_identifier_is_a_grantee_code_followed_by_a_product_code() -> None:
    # 47 CFR 2.926(a).
    assert parse_fcc_id("KX4HM22") == FccId("KX4", "HM22")


@pytest.mark.parametrize(("length", "right"), [(1, True), (14, True), (15, False)])
def test_a_product_code_has_at_most_14_characters(length: int, right: bool) -> None:
    # 47 CFR 2.926(d).
    assert is_fcc_id("KX4" + "7" * length) is right


def test_the_hyphen_counts_toward_the_14() -> None:
    # 47 CFR 2.926(d) allows it in the product code; that a leading one counts: from memory.
    assert is_fcc_id("KX4-" + "7" * 13)
    assert not is_fcc_id("KX4-" + "7" * 14)


@pytest.mark.parametrize("wrong", ["?", "/", "é", "_", "."])
def test_a_product_code_is_capitals_numerals_and_hyphens(wrong: str) -> None:
    # 47 CFR 2.926(d).
    with pytest.raises(FccIdError, match="capitals, numerals and hyphens"):
        parse_fcc_id(f"KX4-HM{wrong}2")


def test_small_letters_are_made_capitals_and_noted() -> None:
    # 47 CFR 2.926(d) has capitals only.
    found = parse_fcc_id("kx4-hm22")
    assert found.text == "KX4-HM22"
    assert found.notes == ("small letters made capitals",)


@pytest.mark.parametrize(
    ("text", "grantee", "product"),
    # Both examples printed at emcrules.com (April 2013) with DA 13-669 and KDB 204515 D01: a letter begins a
    # code of 3 characters, a digit 2 to 9 one of 5.
    [("2AA567SAMPL", "2AA56", "7SAMPL"), ("G777SAMPLE500", "G77", "7SAMPLE500")],
)
def test_the_first_character_decides_where_the_grantee_code_ends(
    text: str, grantee: str, product: str
) -> None:
    found = parse_fcc_id(text)
    assert (found.grantee, found.product) == (grantee, product)


def test_a_grantee_code_begins_with_a_letter_or_2_to_9() -> None:
    # DA 13-669, KDB 204515 D01.
    assert {c: grantee_length(c) for c in "0123456789"} == {
        "0": None,
        "1": None,
        **dict.fromkeys("23456789", 5),
    }
    assert {grantee_length(c) for c in GRANTEE_LETTERS} == {3}


@pytest.mark.parametrize(
    ("text", "must_be"), [("K04HM22", "KO4"), ("KX1HM22", "KXI"), ("2A10QHM22", "2AIOQ")]
)
def test_0_and_1_in_a_grantee_code_are_refused_with_what_they_must_have_been(text: str, must_be: str) -> None:
    # KDB 204515 D01 and the FCC's page on grantee codes: 0 and 1 are left out, not to be read as O and I.
    with pytest.raises(FccIdError) as error:
        parse_fcc_id(text)
    assert must_be in error.value.hint


def test_0_and_1_are_fine_in_a_product_code() -> None:
    assert parse_fcc_id("KX4-01O0I1").product == "-01O0I1"


def test_codes_of_three_characters_are_a_little_over_thirty_thousand() -> None:
    # "Over 30,000": printed at emcrules.com (June 2012); 26 x 34 x 34.
    count = (
        sum(1 for first in GRANTEE_CHARACTERS if grantee_length(first) == 3) * len(GRANTEE_CHARACTERS) ** 2
    )
    assert count == 30_056


def test_the_normal_form_keeps_the_hyphen_and_the_bare_form_drops_it() -> None:
    # That the hyphen belongs to the product code: from memory.
    found = parse_fcc_id("KX4-HM22")
    assert (found.grantee, found.product, found.text, found.bare) == ("KX4", "-HM22", "KX4-HM22", "KX4HM22")


def test_two_hyphens_in_a_row_are_noted_but_not_refused() -> None:
    # fccid.report p=50198, a secondary page: a warning only.
    assert parse_fcc_id("KX4-HM--22").notes == ("two hyphens in a row are unusual",)


@pytest.mark.parametrize(
    "text",
    ["FCC ID: KX4-HM22", "fcc id KX4-HM22", "Contains FCC ID:KX4-HM22", "FCCID KX4–HM22", " KX4 -HM22"],
)
def test_prefix_spaces_and_long_dashes_are_put_right_and_noted(text: str) -> None:
    found = parse_fcc_id(text)
    assert found.text == "KX4-HM22"
    assert found.notes


@pytest.mark.parametrize("text", ["", "   ", "FCC ID:", "KX", "KX4", "2AB7", "-KX4", "0X4HM22"])
def test_what_is_too_short_or_begins_wrongly_is_refused(text: str) -> None:
    with pytest.raises(FccIdError):
        parse_fcc_id(text)


@settings(deadline=None)
@given(GRANTEES, PRODUCTS)
def test_every_text_of_the_grammar_is_split_into_its_parts(grantee: str, product: str) -> None:
    found = parse_fcc_id(grantee + product)
    assert (found.grantee, found.product) == (grantee, product)
    assert parse_fcc_id(found.text).text == found.text


@settings(deadline=None)
@given(st.text(max_size=30))
def test_any_text_is_either_of_the_form_or_refused_with_a_reason(text: str) -> None:
    try:
        found = parse_fcc_id(text)
    except FccIdError as error:
        assert error.found and error.expected
    else:
        assert len(found.grantee) == grantee_length(found.grantee[0])
        assert set(found.grantee) <= set(GRANTEE_CHARACTERS)
        assert 1 <= len(found.product) <= 14
        assert set(found.product) <= set(PRODUCT_CHARACTERS)


@pytest.mark.parametrize(
    ("text", "alone"),
    [
        ("FCC ID: KX4-HM22", "KX4-HM22"),
        ("FCCIDKX4HM22", "KX4HM22"),
        ("contains fcc-id kx4-hm22", "kx4-hm22"),
        ("FCCIDKX4HM22 IC 1234A-HM22", "KX4HM22"),
        ("FCC ID: KX4-HM22 IC: 1234A-HM22", "KX4-HM22"),
        ("FCCID KX4-HM22IC:1234A-HM22", "KX4-HM22"),
        ("FCC ID:KX4-HM22\nIC:7812A-HM22\nMade by nobody", "KX4-HM22"),
        ("Model HM22 FCC ID KX4HM22 M/N 7", "KX4HM22"),
        ("IC: 1234A-HM22 FCC ID: KX4-HM22", "KX4-HM22"),
    ],
)
def test_an_identifier_is_found_among_what_else_a_label_says(text: str, alone: str) -> None:
    assert strip_prefix(text) == alone


@pytest.mark.parametrize("text", ["KX4IC22-1", "KX4-IC1-2", "KX4 HM 22", "2AB7QIC123-4", "CAN IC 123-4"])
def test_an_identifier_that_looks_like_other_words_of_a_label_is_left_whole(text: str) -> None:
    assert strip_prefix(text) == text


@settings(deadline=None)
@given(GRANTEES, PRODUCTS.filter(lambda text: text.strip("-")))
def test_an_identifier_alone_and_with_words_around_it_is_the_same(grantee: str, product: str) -> None:
    text = grantee + product
    assert strip_prefix(text) == text
    assert strip_prefix(f"FCC ID: {text} IC: 1234A-HM22") == text


@pytest.mark.parametrize("how", ["told", "read-aloud", "seen", "photographed", "measured"])
@pytest.mark.parametrize(
    "reading",
    [
        "KX4-PR78",
        "KX4PR78",
        "FCCIDKX4PR78",
        "FCCIDKX4PR78 IC 1234A-PR78",
        "contains fcc id kx4-pr78",
        "KX4-PR7",
        "KX4 PR 78",
    ],
)
def test_a_label_as_it_comes_is_recognised_whatever_way_it_came(reading: str, how: str) -> None:
    # Prefix, missing hyphen, missing end, other words of the label behind it.
    found = identify(toy_catalogue(), ONE_2016, [Observation("fcc_id", reading, how)])
    assert found.candidates[0].article == "P-4"
    assert found.candidates[0].probability > 0.8
    assert found.conflicts == ()
