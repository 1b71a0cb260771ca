"""Cells of a list become what the pack writes, or are faults; nothing is guessed in silence."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.data.tables import read_table
from bittern.engines.key.catalogue import ARTICLE_KINDS, STARTS
from bittern.formats.toml_files import ID_FORM
from bittern.work.supplier import amounts, cells
from bittern.work.supplier.fields import FIELD_WORDS
from bittern.work.supplier.guesses import guess_kind
from bittern.work.supplier.words import fold
from bittern.work.supplier.years import read_year, read_years

LATEST = 2027


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2016", "2016-2016"),
        ("2014-2018", "2014-2018"),
        ("2014–18", "2014-2018"),
        ("'98-'03", "1998-2003"),
        ("98/03", "1998-2003"),
        ("2019+", "2019-2027"),
        ("2019 →", "2019-2027"),
        ("ab 2019", "2019-2027"),
        ("from 2014 to 2018", "2014-2018"),
        ("von 2014 bis 2018", "2014-2018"),
        ("03/2014 - 08.2018", "2014-2018"),
        ("2014, 2015, 2016", "2014-2016"),
        ("14", "2014-2014"),
    ],
)
def test_years_in_many_forms(text: str, value: str) -> None:
    cell = read_years(text, LATEST)
    assert (cell.value, cell.expected) == (value, "")
    assert cell.note or all(year in text for year in value.split("-")), "what was assumed is said"


@pytest.mark.parametrize("text", ["2018-2014", "to 2008", "all", "2014, 2016, 2017", "1850-1860", "20145"])
def test_years_that_are_none(text: str) -> None:
    assert read_years(text, LATEST).expected


@given(first=st.integers(1900, 2100), more=st.integers(0, 50), sign=st.sampled_from(["-", "–", " to ", "/"]))
def test_every_range_of_full_years_reads_back(first: int, more: int, sign: str) -> None:
    last = min(first + more, 2100)
    assert read_years(f"{first}{sign}{last}", LATEST).value == f"{first}-{last}"
    assert read_year(str(first), LATEST).value == str(first)


@given(
    cents=st.integers(0, 10**8),
    style=st.sampled_from(["1234.50", "1,234.50", "1.234,50", "1234,50", "1 234,50", "1'234.50"]),
    mark=st.sampled_from(["{}", "€ {}", "{} €", "EUR {}", "{}EUR"]),
)
def test_money_written_in_any_way_reads_back_to_the_cent(cents: int, style: str, mark: str) -> None:
    whole, part = divmod(cents, 100)
    grouped = f"{whole:,}"
    written = {
        "1234.50": f"{whole}.{part:02d}",
        "1,234.50": f"{grouped}.{part:02d}",
        "1.234,50": f"{grouped.replace(',', '.')},{part:02d}",
        "1234,50": f"{whole},{part:02d}",
        "1 234,50": f"{grouped.replace(',', ' ')},{part:02d}",
        "1'234.50": f"{grouped.replace(',', chr(39))}.{part:02d}",
    }[style]
    cell = amounts.read_money(mark.format(written), "EUR", "")
    assert Decimal(cell.value) == Decimal(cents) / 100, cell


@pytest.mark.parametrize(
    ("text", "sign", "value"),
    [
        ("1.234", "", ""),
        ("1.234", ",", "1234.00"),
        ("1.234", ".", "1.234"),
        ("9,-", "", "9.00"),
        ("12", "", "12.00"),
    ],
)
def test_what_may_part_thousands_or_decimals_is_not_guessed(text: str, sign: str, value: str) -> None:
    cell = amounts.read_money(text, "EUR", sign)
    assert cell.value == value
    assert bool(cell.expected) == (not value)


def test_another_currency_is_a_fault_and_a_shared_sign_is_the_packs() -> None:
    assert "EUR" in amounts.read_money("12.50 USD", "EUR", ".").expected
    assert amounts.read_money("$12.50", "EUR", ".").expected
    assert amounts.read_money("$12.50", "CAD", ".").value == "12.50"


@given(
    hertz=st.sampled_from([315_000_000, 433_920_000, 434_420_000, 868_350_000, 902_375_000]),
    unit=st.sampled_from([("MHz", 6), ("kHz", 3), ("Hz", 0), ("GHz", 9)]),
    sign=st.sampled_from([".", ","]),
    where=st.sampled_from(["cell", "header", "nowhere"]),
)
def test_a_frequency_in_any_unit_is_the_same_hertz(
    hertz: int, unit: tuple[str, int], sign: str, where: str
) -> None:
    name, power = unit
    text = f"{Decimal(hertz).scaleb(-power).normalize():f}".replace(".", sign)
    if where == "nowhere" and name == "GHz":
        return
    cell = amounts.read_frequency(
        f"{text} {name}" if where == "cell" else text, name.lower() if where == "header" else "", ""
    )
    assert cell.value == str(hertz), (text, cell)


@pytest.mark.parametrize("text", ["125", "4339", "abc", "0", "-433.92"])
def test_a_frequency_without_a_clear_unit_is_a_fault(text: str) -> None:
    assert amounts.read_frequency(text, "", "").expected


@pytest.mark.parametrize(
    ("text", "value", "said"),
    [
        ("lock|unlock|boot", "lock|unlock|boot", ""),
        ("Lock, Unlock, Trunk", "lock|unlock|boot", "as the pack writes them"),
        ("Zu / Auf / Heckklappe", "lock|unlock|boot", "as the pack writes them"),
        ("fermer + ouvrir + hayon", "lock|unlock|boot", "as the pack writes them"),
        ("lock and unlock", "lock|unlock", "as the pack writes them"),
        ("lock, glow", "lock|glow", "not in the table of button words: glow"),
        ("alarm, panic", "panic", "twice: panic"),
        ("3 Tasten", "button-1|button-2|button-3", "a count alone"),
    ],
)
def test_button_words(text: str, value: str, said: str) -> None:
    cell = cells.read_buttons(text)
    assert cell.value == value
    assert said in cell.note
    assert bool(said) == bool(cell.note)


@given(st.lists(st.sampled_from(["lock", "unlock", "boot", "panic", "start"]), min_size=1, unique=True))
def test_the_packs_own_button_words_stay_as_they_are(words: list[str]) -> None:
    assert cells.read_buttons("|".join(words)) == cells.Cell("|".join(words))


@given(st.text(max_size=40))
def test_any_text_as_buttons_gives_words_that_the_pack_takes_or_a_fault(text: str) -> None:
    cell = cells.read_buttons(text)
    if not cell.expected and cell.value:
        words = cell.value.split("|")
        assert len(set(words)) == len(words)
        assert all(word and word == word.lower() and not any(map(str.isspace, word)) for word in words)


@given(st.text(max_size=80))
def test_any_text_as_a_number_is_an_id_or_a_fault(text: str) -> None:
    cell = cells.read_identifier(text)
    assert cell.expected or ID_FORM.fullmatch(cell.value)
    assert cell.expected or cell.value == text or cell.note


def test_a_number_that_a_spreadsheet_has_rounded_is_a_fault() -> None:
    assert cells.read_identifier("1.23E+11").expected
    assert cells.read_fcc_id("9E12").expected


def test_an_impossible_identifier_says_what_it_may_be() -> None:
    assert "KOZ" in cells.read_fcc_id("K0Z-11").expected
    assert cells.read_fcc_id("FCC ID: koz-11").value == "KOZ-11"


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ({"title": "Smart key, 4 buttons"}, "proximity"),
        ({"title": "Klappschlüssel"}, "remote-head"),
        ({"title": "Key", "frequency_hz": "315000000", "blade": "heron-8"}, "remote-head"),
        ({"title": "Key", "frequency_hz": "315000000"}, "remote"),
        ({"title": "Key", "chip": "tern-a"}, "chip"),
        ({"title": "Key"}, "mechanical"),
    ],
)
def test_a_kind_is_guessed_from_what_else_is_known(said: dict[str, str], kind: str) -> None:
    assert guess_kind(said) == kind


def test_the_tables_say_only_what_a_pack_can_hold() -> None:
    assert {row["field"] for row in read_table("list_columns")} <= set(FIELD_WORDS)
    allowed = {"kind": set(ARTICLE_KINDS), "start": set(STARTS), "modulation": {"ook", "fsk"}}
    for row in read_table("list_words"):
        assert row["word"] == fold(row["word"])
        assert row["means"] in allowed.get(row["group"], {row["means"]})
    for row in read_table("list_columns"):
        assert row["word"] == fold(row["word"])
