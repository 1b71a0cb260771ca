"""Published tables: equal to what was published, each with its source, and damage is found."""

from __future__ import annotations

from importlib import resources

import pytest
from vininfo.toolbox import Vin

from bittern.data import tables
from bittern.data.errors import TableError
from bittern.data.tables import (
    letter_values,
    model_year_codes,
    position_weights,
    read_sources,
    read_table,
)


def test_letter_values_are_those_of_table_iii() -> None:
    # 49 CFR 565.15(c), Table III (a copy of the old 565.6, and vsource.org).
    published = "A1 B2 C3 D4 E5 F6 G7 H8 J1 K2 L3 M4 N5 P7 R9 S2 T3 U4 V5 W6 X7 Y8 Z9"
    expected = {pair[0]: int(pair[1]) for pair in published.split()} | {str(i): i for i in range(10)}
    assert dict(letter_values()) == expected


def test_weights_are_those_of_table_iv() -> None:
    # 49 CFR 565.15(c), Table IV.
    assert position_weights() == (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def test_year_codes_are_those_of_table_vii() -> None:
    # 49 CFR 565.15(d), Table VII; final rule 73 FR 23367 (2008).
    codes = "ABCDEFGHJKLMNPRSTVWXY123456789"
    assert dict(model_year_codes()) == {code: 1980 + i for i, code in enumerate(codes)}
    assert not set("IOQUZ0") & set(model_year_codes())


def test_tables_agree_with_an_independent_library() -> None:
    # One character of weight 8 at a time decides the check digit, so all values are compared.
    for character, value in letter_values().items():
        remainder = value * position_weights()[0] % 11
        number = f"{character}0000000{'X' if remainder == 10 else remainder}00000000"
        assert Vin(number).verify_checksum(check_year=False)


def test_every_table_has_a_source_and_every_source_a_table() -> None:
    files = {entry.name for entry in resources.files("bittern.data").iterdir() if entry.name.endswith(".csv")}
    assert files == {f"{name}.csv" for name in read_sources()}
    for name, source in read_sources().items():
        assert source.title
        assert source.source
        assert source.sure in ("A", "B", "C"), "nothing that was never read or recomputed ships"
        assert read_table(name)


def test_shipped_data_cannot_be_changed_by_a_caller() -> None:
    with pytest.raises(TypeError):
        letter_values()["A"] = 9  # type: ignore[index]


def test_a_table_without_source_is_refused() -> None:
    with pytest.raises(TableError, match=r"sources\.toml"):
        read_table("nonesuch")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("character;value\nA;1\n", "columns"),
        ("character,value\nA,1,2\n", "another length"),
        ("character,value\nA\n", "another length"),
    ],
)
def test_a_damaged_table_is_refused(monkeypatch: pytest.MonkeyPatch, text: str, found: str) -> None:
    sources = read_sources()
    monkeypatch.setattr(tables, "_read_text", lambda file: text)
    monkeypatch.setattr(tables, "read_sources", lambda: sources)
    with pytest.raises(TableError, match=found):
        read_table.__wrapped__("vin_letters")


def test_a_missing_table_is_one_clear_error() -> None:
    with pytest.raises(TableError, match="install again"):
        tables._read_text("nonesuch.csv")
