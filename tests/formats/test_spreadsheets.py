"""Tables of unknown making: read as they stand, or refused with one clear error."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bittern.core.errors import InputError
from bittern.formats import spreadsheet_xlsx, spreadsheets
from bittern.formats.spreadsheets import make_sheet, read_sheet
from tests.strategies.lists import write_rows, write_xlsx

TEXT = 'Nr;Größe;Preis\n1;"a\nb; ""c""";12,50\n2;é;9,00\n'
ROWS = [("Nr", "Größe", "Preis"), ("1", 'a\nb; "c"', "12,50"), ("2", "é", "9,00")]


def read_rows(path: Path) -> list[tuple[str, ...]]:
    sheet = read_sheet(path)
    return [sheet.row(place) for place in range(sheet.rows)]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_every_encoding_reads_the_same(encoding: str, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(TEXT.encode(encoding))
    assert read_rows(path) == ROWS


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_every_separator_is_found(separator: str, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    rows = [("make", "model", "note"), ("Quillmoor", "Oxbow", "a.b"), ("Quillmoor", "Whimbrel", "")]
    path.write_text("".join(separator.join(row) + "\r\n" for row in rows))
    assert read_rows(path) == rows


def test_rows_of_different_length_are_filled_up(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("a,b\n1\n\n1,2,3\n\n\n")
    assert read_rows(path) == [("a", "b", ""), ("1", "", ""), ("", "", ""), ("1", "2", "3")]


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(
        st.lists(st.text("aé,;|'\"\n 1", max_size=6).map(str.strip), min_size=2, max_size=4),
        min_size=2,
        max_size=8,
    )
)
def test_csv_that_was_written_reads_back(rows: list[list[str]], tmp_path: Path) -> None:
    import csv

    width = max(map(len, rows))
    rows = [row + [""] * (width - len(row)) for row in rows]
    if not any(rows[-1]):
        rows[-1][0] = "end"
    path = tmp_path / "list.csv"
    with path.open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream, quoting=csv.QUOTE_ALL).writerows(rows)
    sheet = read_sheet(path)
    if sheet.about[1] == "parted by commas":
        assert [list(sheet.row(place)) for place in range(sheet.rows)] == rows


def test_xlsx_values_and_kinds(tmp_path: Path) -> None:
    path = tmp_path / "list.xlsx"
    body = (
        '<row r="2"><c r="B2" t="inlineStr"><is><t>Head</t></is></c></row>'
        '<row r="4"><c r="B4"><v>433920000</v></c><c r="C4"><f>1+1.5</f><v>2.5</v></c>'
        '<c r="D4" s="1"><v>45000</v></c><c r="E4" t="b"><v>1</v></c></row>'
    )
    write_xlsx(path, {"One": body, "Two": write_rows([("x", 7)])})
    sheet = read_sheet(path)
    assert (sheet.sheet, sheet.sheets, sheet.rows) == ("One", ("One", "Two"), 4)
    assert sheet.row(1) == ("", "Head", "", "", "")
    # 45000 days after 30 December 1899 (ECMA-376 part 1, 18.17.4.1).
    assert sheet.row(3) == ("", "433920000", "2.5", "2023-03-15", "yes")
    assert sheet.columns[1].kinds[sheet.columns[1].codes[3]] == "n"
    assert sheet.columns[3].kinds[sheet.columns[3].codes[3]] == "d"
    assert read_sheet(path, sheet="Two").row(0) == ("x", "7")
    with pytest.raises(InputError, match="'Three'"):
        read_sheet(path, sheet="Three")


def test_one_cell_in_the_last_corner_does_not_take_the_memory(tmp_path: Path) -> None:
    path = tmp_path / "corner.xlsx"
    body = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    write_xlsx(path, {"One": body})
    assert path.stat().st_size < 4_000
    with pytest.raises(InputError, match="too large or too damaged"):
        read_sheet(path)


def test_what_unpacks_beyond_the_limit_is_not_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "large.xlsx"
    write_xlsx(path, {"One": write_rows([("x" * 1000,)] * 1000)})
    monkeypatch.setattr(spreadsheet_xlsx, "UNPACKED_LIMIT_BYTES", 100_000)
    with pytest.raises(InputError, match="once unpacked"):
        read_sheet(path)


def test_an_archive_that_lies_about_its_sizes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "lies.xlsx"
    write_xlsx(path, {"One": write_rows([("x" * 1000,)] * 100)})
    raw = path.read_bytes()
    # The central directory states 100 times less than there is.
    with zipfile.ZipFile(path) as archive:
        size = archive.getinfo("xl/worksheets/sheet1.xml").file_size
    at = raw.rindex(size.to_bytes(4, "little"))
    path.write_bytes(raw[:at] + (size // 100).to_bytes(4, "little") + raw[at + 4 :])
    try:
        sheet = read_sheet(path)
    except InputError:
        return
    assert sheet.rows <= 100


@pytest.mark.parametrize(
    ("raw", "found"),
    [
        (b"", "an empty file"),
        (b"\n\n\n", "no cell"),
        (b"a,b\n\x00,1\n", "NUL byte"),
        (b"a,b\n\x07,1\n", "control character"),
        (b'a,b\n"1,2\n3,4\n', "near line"),
        (b"a;b\n\x81;\x8d\n", "neither UTF-8"),
        (b"%PDF-1.7 ...", "a PDF document"),
        (b"\xd0\xcf\x11\xe0....", "a password"),
        (b"PK\x03\x04 and nothing", "a damaged file"),
        (b"a," * 300 + b"\n", "601 columns"),
        (b"x" * 70_000, "characters"),
    ],
)
def test_what_is_no_table_gets_one_clear_error(raw: bytes, found: str, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(raw.replace(b"a," * 300, b"a," * 600))
    with pytest.raises(InputError, match=found) as caught:
        read_sheet(path)
    assert "list.csv" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_text_archive_is_no_spreadsheet(tmp_path: Path) -> None:
    path = tmp_path / "list.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("notes.txt", "x")
    with pytest.raises(InputError, match="an archive of another kind"):
        read_sheet(path)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(raw=st.binary(min_size=1, max_size=200))
def test_random_bytes_are_read_or_refused(raw: bytes, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(raw)
    try:
        assert read_sheet(path).rows >= 1
    except InputError as error:
        assert error.expected


def test_too_many_rows_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spreadsheets, "ROWS_LIMIT", 3)
    path = tmp_path / "list.csv"
    path.write_text("a,b\n" * 3)
    assert read_sheet(path).rows == 3
    path.write_text("a,b\n" * 4)
    with pytest.raises(InputError, match="more than 3 rows"):
        read_sheet(path)


def test_the_first_rows_alone_can_be_kept_and_read_again(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("a,b\n1,2\n3,4\n")
    sheet = read_sheet(path, most_rows=2)
    again = make_sheet("list.csv", sheet.rows_with_kinds(9))
    assert [again.row(place) for place in range(again.rows)] == [("a", "b"), ("1", "2")]


def test_reading_can_be_stopped(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("a,b\n" * 10)

    def stop(rows: int) -> None:
        raise KeyboardInterrupt(rows)

    with pytest.raises(KeyboardInterrupt):
        read_sheet(path, tell=stop)
