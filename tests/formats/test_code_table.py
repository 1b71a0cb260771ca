"""Code tables: read whole or refused whole; no code survives the reading."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.core.errors import FaultsError, InputError
from bittern.engines.blade.bitting import format_bitting, parse_bitting
from bittern.engines.blade.code_table import CodeTable
from bittern.formats import code_table as subject
from bittern.formats.code_table import COLUMNS, format_code_table, parse_code_table, read_code_table
from tests.architecture.places import ROOT
from tests.strategies.blades import HERON, TEAL, bittings, standards

GOOD = "2 1 3 4 2 2 1 3"
OTHER = "2 1 3 3 2 2 1 3"


def parse(*rows: str, header: str = "bitting,code,weight") -> CodeTable:
    return parse_code_table("\n".join([header, *rows]), "own.csv", HERON)


def test_weights_are_read_and_a_missing_one_is_one():
    table = parse(f"{GOOD},K1,2.5", f"{OTHER},K2,")
    assert table.weights == {parse_bitting(HERON, GOOD): 2.5, parse_bitting(HERON, OTHER): 1.0}
    assert (table.rows, table.standard) == (2, "heron-8")


def test_a_bitting_of_several_codes_counts_their_sum():
    assert parse(f"{GOOD},K1,2", f"{GOOD},K2,3").weights == {parse_bitting(HERON, GOOD): 5.0}


def test_the_order_of_columns_is_free_and_others_are_left_alone():
    table = parse(f"x,3,  {GOOD} ", header="note,weight,bitting")
    assert table.weights == {parse_bitting(HERON, GOOD): 3.0}


def test_no_code_is_kept():
    table = parse(f"{GOOD},SECRET-17,2")
    assert "SECRET" not in repr(table) + format_code_table(table, HERON)


@given(st.data())
def test_what_is_written_reads_back_the_same(data):
    standard = data.draw(standards(kind="edge"))
    chosen = data.draw(st.lists(bittings(standard), min_size=1, max_size=12, unique=True))
    weights = {one: data.draw(st.floats(1e-6, 1e6)) for one in chosen}
    table = CodeTable(standard.id, weights, len(weights))
    assert parse_code_table(format_code_table(table, standard), "t.csv", standard) == table


def test_a_split_blade_has_two_lists_in_a_field():
    text = f"{' '.join('1212121212')} / {' '.join('2121212121')}"
    table = parse_code_table(f"bitting\n{text}\n", "own.csv", TEAL)
    assert [format_bitting(TEAL, one) for one in table.weights] == [text]


def test_every_fault_is_named_at_once_with_its_row():
    with pytest.raises(FaultsError) as caught:
        parse("2 1 3 9 2 2 1 3,K1,", "2 1 3,K2,", f"{GOOD},K3,0", "? 1 3 4 2 2 1 3,K4,", f"{GOOD}", ",K,")
    faults = [(fault.file, fault.where) for fault in caught.value.faults]
    assert faults == [
        ("own.csv", "row 2, bitting"),
        ("own.csv", "row 3, bitting"),
        ("own.csv", "row 4, weight"),
        ("own.csv", "row 5, bitting"),
        ("own.csv", "row 6"),
        ("own.csv", "row 7, bitting"),
    ]
    assert not any("K1" in str(fault) for fault in caught.value.faults)


def test_a_bitting_that_breaks_a_rule_is_a_fault():
    with pytest.raises(FaultsError) as caught:
        parse("1 4 3 4 2 2 1 3,,")
    assert "a step of 3 depths" in caught.value.faults[0].found


@pytest.mark.parametrize("weight", ["-1", "nan", "inf", "1e999", "1,5", "many", "0.0"])
def test_a_weight_that_is_none(weight):
    with pytest.raises(FaultsError):
        parse(f'{GOOD},,"{weight}"')


@pytest.mark.parametrize(
    "header", ["", "code,weight", "bitting,bitting", "bitting,weight,weight", "bitting;weight"]
)
def test_a_header_without_the_one_column_of_bittings(header):
    with pytest.raises(InputError):
        parse(GOOD, header=header)


@pytest.mark.parametrize("text", ['bitting\n"2 1', "bitting\n", "bitting\n\n \n"])
def test_no_table(text):
    with pytest.raises((InputError, FaultsError)):
        parse_code_table(text, "own.csv", HERON)


def test_too_many_rows(monkeypatch):
    monkeypatch.setattr(subject, "ROW_LIMIT", 1)
    with pytest.raises(InputError):
        parse(GOOD + ",,", OTHER + ",,")


@pytest.mark.parametrize("raw", [b"", b"bitting\n\x00", b"bitting\n\xff"])
def test_a_file_that_is_no_text(tmp_path, raw):
    path = tmp_path / "own.csv"
    path.write_bytes(raw)
    with pytest.raises(InputError):
        read_code_table(path, HERON)


def test_the_example_of_the_formats_page():
    page = (ROOT / "docs" / "reference" / "formats.md").read_text(encoding="utf-8")
    found = re.search(r"^```csv\n(bitting,.*?)^```$", page, re.MULTILINE | re.DOTALL)
    assert found
    assert len(parse_code_table(found[1], "page", HERON).weights) == 2
    assert f"`{','.join(COLUMNS)}`" in page
