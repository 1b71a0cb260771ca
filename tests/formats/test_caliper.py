"""Files of caliper readings."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.core.errors import FaultsError, InputError
from bittern.engines.blade.caliper import Reading
from bittern.formats.caliper import format_caliper, parse_caliper, read_caliper
from tests.strategies.blades import HERON, RAIL, TEAL

HEAD = "position,height_mm,sd_mm\n"


def parse(text: str, standard=HERON):
    return parse_caliper(text, "readings.csv", standard)


def find_faults(text: str, standard=HERON):
    with pytest.raises(FaultsError) as caught:
        parse(text, standard)
    assert {fault.file for fault in caught.value.faults} == {"readings.csv"}
    return [(fault.where, fault.found) for fault in caught.value.faults]


@given(
    st.sampled_from([HERON, RAIL, TEAL]).flatmap(
        lambda standard: st.tuples(
            st.just(standard),
            st.lists(
                st.builds(
                    Reading,
                    st.integers(0, len(standard.positions_mm) * (2 if standard.sides == "split" else 1) - 1),
                    st.integers(-9000, 9000).map(lambda value: value / 1000),
                    st.integers(1, 500).map(lambda value: value / 1000),
                ),
                min_size=1,
                unique_by=lambda reading: reading.cut,
            ),
        )
    )
)
def test_readings_written_read_back_the_same(drawn):
    standard, readings = drawn
    sheet = parse(format_caliper(readings, standard), standard)
    assert (sheet.readings, sheet.positions_as) == (tuple(readings), "cut numbers")


def test_columns_may_stand_in_any_order_and_others_are_left_alone():
    sheet = parse("note, sd_mm ,height_mm,position\r\nworn,0.02, 7.4 ,3\r\n\r\n,0.02,8,1\r\n")
    assert sheet.readings == (Reading(2, 7.4, 0.02), Reading(0, 8.0, 0.02))


def test_places_in_mm_are_recognised_and_said():
    rows = [f"{x + 0.1},7.4,0.02" for x in HERON.positions_mm]
    sheet = parse(HEAD + "\n".join(rows))
    assert [reading.cut for reading in sheet.readings] == list(range(8))
    assert sheet.positions_as == "mm from the datum"
    # Whole numbers that are all the places there are, and cannot all be cut numbers.
    whole = "".join(f"{x:.0f},7.4,0.02\n" for x in HERON.positions_mm)
    assert [reading.cut for reading in parse(HEAD + whole).readings] == list(range(8))
    # Both are possible: only a decimal point makes 3 and 6 places.
    assert [reading.cut for reading in parse(HEAD + "3,7.4,0.02\n6,7.4,0.02").readings] == [2, 5]
    assert [reading.cut for reading in parse(HEAD + "3.0,7.4,0.02\n6.0,7.4,0.02").readings] == [0, 1]
    # A decimal point on numbers that lie on no cut still leaves them cut numbers.
    assert [reading.cut for reading in parse(HEAD + "1.0,7.4,0.02\n2.0,7.4,0.02").readings] == [0, 1]


def test_cuts_of_a_split_blade_are_named_by_edge():
    named = parse(HEAD + "A3,4.2,0.02\nB10,3.9,0.02\n", TEAL)
    column = parse("position,height_mm,sd_mm,edge\n3,4.2,0.02,A\n10,3.9,0.02,B\n", TEAL)
    counted = parse(HEAD + "3,4.2,0.02\n20,3.9,0.02\n", TEAL)
    places = parse("edge,position,height_mm,sd_mm\nA,7.2,4.2,0.02\nB,21.9,3.9,0.02\n", TEAL)
    assert [reading.cut for reading in named.readings] == [2, 19]
    assert named.readings == column.readings == counted.readings == places.readings


@pytest.mark.parametrize(
    ("row", "standard", "found"),
    [
        ("0,7.4,0.02", HERON, "'0'"),
        ("9,7.4,0.02", HERON, "'9'"),
        ("24,7.4,0.02", HERON, "'24'"),
        ("1.5,7.4,0.02", HERON, "'1.5'"),
        ("-1,7.4,0.02", HERON, "'-1'"),
        ("first,7.4,0.02", HERON, "'first'"),
        (",7.4,0.02", HERON, "nothing"),
        ("A1,7.4,0.02", HERON, "'A1'"),
        ("21,4.2,0.02", TEAL, "'21'"),
        ("C1,4.2,0.02", TEAL, "'C1'"),
        ("A11,4.2,0.02", TEAL, "'A11'"),
        ("7.2,4.2,0.02", TEAL, "'7.2'"),
    ],
)
def test_a_position_that_is_no_cut_is_a_fault(row, standard, found):
    assert find_faults(HEAD + row, standard) == [("row 2, position", found)]


@pytest.mark.parametrize("height", ["nan", "inf", "1e999", "seven", "7,4", "", "0x10", "1_0", "٧"])
def test_a_height_that_is_no_number_is_a_fault(height):
    (fault,) = find_faults(f'{HEAD}1,"{height}",0.02')
    assert fault[0] == "row 2, height_mm"


@pytest.mark.parametrize("sd", ["0", "-0.02", "nan", ""])
def test_a_standard_deviation_must_be_above_zero(sd):
    assert [where for where, _ in find_faults(f"{HEAD}1,7.4,{sd}")] == ["row 2, sd_mm"]


def test_all_faults_are_collected():
    text = HEAD + "1,7.4,0.02\n1,7.4,0.02\n2,x,y\n3,7.4\n99,7.4,0.02\n"
    assert [where for where, _ in find_faults(text)] == [
        "row 4, height_mm",
        "row 4, sd_mm",
        "row 5",
        "row 3, position",
        "row 6, position",
    ]


def test_a_cut_measured_twice_names_both_rows():
    with pytest.raises(FaultsError) as caught:
        parse(HEAD + "4,7.4,0.02\n5,7.4,0.02\n4,7.4,0.02\n")
    (fault,) = caught.value.faults
    assert (fault.where, fault.expected) == ("row 4, position", "once, as in row 2")


def test_a_table_without_rows_is_a_fault():
    assert find_faults(HEAD) == [("row 2", "no readings")]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1,7.4,0.02\n",
        "position,height,sd\n1,7.4,0.02\n",
        HEAD + '1,"7.4,0.02\n',
        HEAD * 2 + "\n" + "1,7,1\n" * 1001,
    ],
)
def test_text_that_is_no_such_table_cannot_be_read(text):
    with pytest.raises((InputError, FaultsError)):
        parse(text)


def test_a_missing_column_is_unreadable_and_the_columns_are_named():
    with pytest.raises(InputError, match="position,height_mm,sd_mm"):
        parse("position,height_mm\n1,7.4\n")


@given(st.text())
def test_any_text_is_read_or_refused_in_one_way(text):
    for whole in (text, HEAD + text):
        try:
            assert parse(whole).readings
        except (InputError, FaultsError) as error:
            assert "\n" not in str(error)


def test_huge_binary_and_missing_files_cannot_be_read(tmp_path):
    (tmp_path / "huge.csv").write_bytes(b"position,height_mm,sd_mm\n" + b"1,7.4,0.02\n" * 500_000)
    (tmp_path / "binary.csv").write_bytes(b"\x00\x01\x02")
    (tmp_path / "latin.csv").write_bytes(b"position,height_mm,sd_mm\n1,7.4,\xff\n")
    for name in ("huge.csv", "binary.csv", "latin.csv", "missing.csv", "."):
        with pytest.raises(InputError):
            read_caliper(tmp_path / name, HERON)


def test_a_file_is_read_with_its_byte_order_mark(tmp_path):
    path = tmp_path / "readings.csv"
    path.write_text("\ufeff" + HEAD + "1,7.4,0.02\n", encoding="utf-8")
    assert read_caliper(path, replace(HERON)).readings == (Reading(0, 7.4, 0.02),)
