"""Pieces of print that could be a vehicle number or an identifier."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.label.finding import find_code_pieces, find_number_pieces
from bittern.engines.label.lines import Line

BOX = ((0.0, 0.0), (9.0, 0.0), (9.0, 1.0), (0.0, 1.0))
# 49 CFR 565.15's arithmetic holds for it; published as an example of the check digit.
VIN = "1M8GDM9AXKP042788"


def print_(*texts: str) -> list[Line]:
    return [Line(text, 0.9 - place / 100, BOX) for place, text in enumerate(texts)]


@pytest.mark.parametrize(
    "lines",
    [
        (VIN,),
        (f"VIN {VIN}",),
        (f"VIN: {VIN}",),
        (f"VIN{VIN}",),
        (f"V.I.N. {VIN}",),
        (f"*{VIN}*",),
        ("1M8 GDM9AX KP042788",),
        ("VIN NO. 1M8GDM9A-XKP042788",),
        ("1M8GDM9A", "XKP042788"),
        ("VIN: 1M8GDM9A", "XKP042788"),
        (f"TYPE K {VIN} GVWR 2040 KG",),
        ("MFD BY NOBODY", f"VIN {VIN}", "TYPE K"),
    ],
)
def test_a_number_is_found_however_it_is_set(lines: tuple[str, ...]) -> None:
    pieces = find_number_pieces(print_(*lines))
    assert VIN in [piece.text for piece in pieces]
    if "VIN" in " ".join(lines) or "V.I.N" in " ".join(lines):
        assert pieces[0].text == VIN
        assert pieces[0].marked


@pytest.mark.parametrize("text", ["HELLO", "1M8GDM9A", "A" * 30, "1M8GDM9AXKP0427881234", ""])
def test_what_has_another_length_is_no_number(text: str) -> None:
    assert find_number_pieces(print_(text)) == ()


def test_the_lowest_confidence_of_the_lines_is_that_of_the_piece() -> None:
    (piece,) = [one for one in find_number_pieces(print_("1M8GDM9A", "XKP042788")) if one.text == VIN]
    assert piece.confidence == pytest.approx(0.89)


@pytest.mark.parametrize(
    ("lines", "text"),
    [
        (("FCC ID: 9ZZQM-QMR523K",), "9ZZQM-QMR523K"),
        (("FCCID:9ZZQMQMR523K",), "9ZZQMQMR523K"),
        (("FCC ID 9ZZQM-QMR523K IC: 7812Z-QMR523K",), "9ZZQM-QMR523K"),
        (("IC: 7812Z-QMR523K FCC ID: 9ZZQM-QMR523K",), "9ZZQM-QMR523K"),
        (("FCC ID: 9ZZQM-QMR523K/IC:7812Z-Q",), "9ZZQM-QMR523K"),
        (("FCC 1D: 9ZZQM-QMR523K",), "9ZZQM-QMR523K"),
        (("FCC.ID:9ZZQM-QMR523K",), "9ZZQM-QMR523K"),
        (("CONTAINS FCC ID: 9ZZQM QMR523K",), "9ZZQMQMR523K"),
        (("FCC ID:", "9ZZQM-QMR523K"), "9ZZQM-QMR523K"),
        (("FCC ID: 9ZZQM-", "QMR523K"), "9ZZQM-QMR523K"),
        (("FCC ID: 9ZZQM", "-QMR523K IC: 1"), "9ZZQM-QMR523K"),
        (("MODEL: A1", "FCC ID: 9ZZQM-QMR523K", "433.92 MHZ"), "9ZZQM-QMR523K"),
        (("FCC ID: 9ZZQM-QMR523K 433.92 MHZ",), "9ZZQM-QMR523K"),
    ],
)
def test_an_identifier_is_cut_out_of_what_stands_beside_it(lines: tuple[str, ...], text: str) -> None:
    assert [piece.text for piece in find_code_pieces(print_(*lines))] == [text]


@pytest.mark.parametrize("text", ["9ZZQM-QMR523K", "MODEL: QM-523", "IC: 7812Z-QMR523K", "FCC ID:", "FCC"])
def test_without_the_words_or_without_more_there_is_none(text: str) -> None:
    assert find_code_pieces(print_(text)) == ()


@given(st.lists(st.text(max_size=60), max_size=6))
def test_any_print_is_looked_through_without_harm(texts: list[str]) -> None:
    for piece in find_number_pieces(print_(*texts)):
        assert 16 <= len(piece.text) <= 18
    for piece in find_code_pieces(print_(*texts)):
        assert 0 < len(piece.text) <= 24 + 24


@given(
    st.from_regex(r"9ZZ[A-Z2-9]{2}-[A-Z0-9]{4,13}", fullmatch=True), st.sampled_from(["FCC ID: ", "FCCID:"])
)
def test_every_identifier_after_the_words_comes_out_whole(code: str, words: str) -> None:
    assert [piece.text for piece in find_code_pieces(print_(words + code))] == [code]
