"""Packs: what is read, and that every fault is found where it stands."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from shutil import copytree

import pytest

from bittern.core.errors import FaultsError
from bittern.engines.key.catalogue import Article, Catalogue, Fitment
from bittern.engines.vehicle.pattern import NumberPattern
from bittern.formats.packs import check_pack, read_pack

PACKS = Path(__file__).parents[1] / "files" / "packs"
MINIMAL = PACKS / "minimal"
DAMAGED = sorted(PACKS.glob("damaged-*"))
Edit = Callable[..., Path]


@pytest.fixture
def edit(tmp_path: Path) -> Edit:
    """Return a function that copies the minimal pack with one text in one file replaced."""

    def change(file: str, old: str, new: str) -> Path:
        folder = tmp_path / "pack"
        copytree(MINIMAL, folder, dirs_exist_ok=folder.exists())
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return folder

    return change


def list_places(folder: Path) -> list[tuple[str, str]]:
    """Return file and place of every fault."""
    return [(fault.file, fault.where) for fault in check_pack(folder).faults]


def test_minimal_pack_reads_to_what_its_files_say() -> None:
    pack = read_pack(MINIMAL)
    assert (pack.id, pack.version, pack.licence, pack.currency) == ("minimal", "1", "CC0-1.0", "EUR")
    assert pack.articles["A-1"] == Article(
        article="A-1",
        title="Key with remote, 2 buttons",
        kind="remote-head",
        fcc_id="9ZZAA-K8T",
        frequency_hz=433.92e6,
        modulation="ook",
        buttons=("lock", "unlock"),
        blade="wren-3",
        chip="tern-a",
        battery="CR2032",
        cost=Decimal("12.50"),
        price=Decimal("31.00"),
        supplier="Saltgate Trading",
    )
    assert pack.articles["A-2"].frequency_hz is None
    assert pack.articles["A-2"].buttons == ()
    assert pack.fitments == (
        Fitment("Quillmoor", "Oxbow", 2008, 2012, "turn", "", "", "A-1", 0.6, "wren-add"),
        Fitment("Quillmoor", "Oxbow", 2008, 2012, "turn", "", "", "A-2", 0.3, ""),
    )
    assert pack.numbers == (NumberPattern("1X0", "AB***", "Quillmoor", "Oxbow", "", "turn"),)
    assert pack.blades["wren-3"].positions_mm == (3.0, 6.0, 9.0)
    assert pack.tools["wheel-90"].flat_mm == 1.0
    assert list(pack.runsheets["wren-add"].steps) == ["settle", "show", "good", "unchanged"]
    assert pack.catalogue == Catalogue(pack.articles, pack.fitments)


def test_report_of_a_sound_pack_counts_what_it_holds() -> None:
    report = check_pack(MINIMAL)
    assert report.as_dict() == {
        "ok": True,
        "faults": [],
        "counts": {"articles": 2, "fitments": 2, "blades": 1, "tools": 1, "runsheets": 1, "numbers": 1},
    }


@pytest.mark.parametrize("folder", DAMAGED, ids=lambda folder: folder.name)
def test_every_fault_of_a_damaged_pack_is_found_where_it_stands(folder: Path) -> None:
    expected = json.loads((folder / "faults.json").read_text(encoding="utf-8"))
    report = check_pack(folder)
    assert [fault.as_dict() for fault in report.faults] == expected
    assert expected
    assert not report.ok
    with pytest.raises(FaultsError) as caught:
        read_pack(folder)
    assert caught.value.faults == report.faults


def test_there_are_damaged_packs_to_test_with() -> None:
    assert len(DAMAGED) >= 18


def test_byte_order_mark_and_foreign_line_ends_are_tolerated(edit: Edit) -> None:
    folder = edit("pack.toml", "", "")
    for path in folder.rglob("*"):
        if path.is_file():
            path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert read_pack(folder) == read_pack(MINIMAL)


def test_columns_may_stand_in_any_order_with_others_between(edit: Edit) -> None:
    folder = edit("pack.toml", "", "")
    (folder / "numbers.csv").write_text(
        "start,model,colour,make,trim,vds,wmi\nturn,Oxbow,red,Quillmoor,,AB***,1X0\n"
    )
    assert read_pack(folder).numbers == read_pack(MINIMAL).numbers


def test_rows_are_counted_as_a_spreadsheet_counts_them(edit: Edit) -> None:
    folder = edit("articles.csv", "A-2,Key,mechanical", '\nA-2,"Key\nover two lines",metal')
    assert list_places(folder) == [("articles.csv", "row 4, column kind")]


def test_folders_and_number_patterns_may_be_missing(edit: Edit) -> None:
    folder = edit("articles.csv", "wren-3,,,2.00", ",,,2.00")
    (folder / "numbers.csv").unlink()
    (folder / "tools" / "wheel-90.toml").unlink()
    (folder / "tools").rmdir()
    pack = read_pack(folder)
    assert pack.numbers == ()
    assert pack.tools == {}


@pytest.mark.parametrize(
    ("file", "old", "new", "where"),
    [
        ("articles.csv", "433920000", "0", "row 2, column frequency_hz"),
        ("articles.csv", "433920000", "-1", "row 2, column frequency_hz"),
        ("articles.csv", "433920000", "nan", "row 2, column frequency_hz"),
        ("articles.csv", "433920000", "1_000", "row 2, column frequency_hz"),
        ("articles.csv", "lock|unlock", "lock||unlock", "row 2, column buttons"),
        ("articles.csv", "lock|unlock", "lock|lock", "row 2, column buttons"),
        ("articles.csv", "2.00", "1e3", "row 3, column cost"),
        ("articles.csv", "A-2,Key", "A 2,Key", "row 3, column article"),
        ("fitments.csv", "2012,turn,,,A-2", "2101,turn,,,A-2", "row 3, column year_to"),
        ("fitments.csv", "2012,turn,,,A-2", "٢٠١٢,turn,,,A-2", "row 3, column year_to"),
        ("fitments.csv", "A-2,0.3", "A-2,inf", "row 3, column share"),
        ("fitments.csv", "A-1,0.6,wren-add\nQuillmoor,Oxbow", "A-1,0.6,\nQuillmoor, ", "row 3, column model"),
        ("numbers.csv", "1X0", "1X9", "row 2, column wmi"),
        ("numbers.csv", "1X0", "1X0ABC", "row 2, column wmi"),
        ("blades/wren-3.toml", "length = 14.0", "length = inf", "blank.length"),
        ("blades/wren-3.toml", 'labels = ["1", "2", "3"]', "labels = []", "cuts.labels"),
        ("blades/wren-3.toml", "[rules]", "[rule]", "rules"),
        ("tools/wheel-90.toml", "diameter = 60", "diameter = -60", "diameter"),
    ],
)  # fmt: skip
def test_wrong_value_is_named_with_its_place(edit: Edit, file: str, old: str, new: str, where: str) -> None:
    places = [place for place in list_places(edit(file, old, new)) if place[0] == file]
    assert places == [(file, where)]


def test_shares_that_sum_to_one_in_decimals_are_no_fault(edit: Edit) -> None:
    shares = (0.2, 0.4, 0.3, 0.1)
    assert sum(shares) > 1, "the binary sum must pass the whole, or this test shows nothing"
    rows = "".join(f"Quillmoor,Runnel,2008,2012,turn,trim {share},,A-2,{share},\n" for share in shares)
    assert check_pack(edit("fitments.csv", "A-2,0.3,\n", "A-2,0.3,\n" + rows)).ok


def test_shares_of_years_that_do_not_meet_are_not_added(edit: Edit) -> None:
    row = "Quillmoor,Oxbow,2013,2015,turn,,,A-1,0.9,\nQuillmoor,Oxbow,2008,2012,push,,,A-1,0.9,\n"
    assert check_pack(edit("fitments.csv", "A-2,0.3,\n", "A-2,0.3,\n" + row)).ok


def test_shares_are_added_in_the_one_year_that_two_rows_have_in_common(edit: Edit) -> None:
    folder = edit("fitments.csv", "A-2,0.3,\n", "A-2,0.3,\nQuillmoor,Oxbow,2012,2015,turn,,,A-1,0.2,\n")
    (fault,) = check_pack(folder).faults
    assert fault.where == "rows 2, 3, 4, column share"
    assert fault.found == "1.1 in all for Quillmoor Oxbow, turn, 2012"


def test_low_volume_maker_has_six_characters(edit: Edit) -> None:
    folder = edit("numbers.csv", "1X0", "1X9ABC")
    assert read_pack(folder).numbers[0].wmi == "1X9ABC"


def test_a_table_full_of_faults_is_read_no_further_than_helps(edit: Edit) -> None:
    rows = "Quillmoor,Oxbow,1,2,spin,,,A-1,0,\n" * 5_000
    faults = check_pack(edit("fitments.csv", "A-2,0.3,\n", "A-2,0.3,\n" + rows)).faults
    assert 10_000 <= len(faults) < 10_010
    assert "no more read" in faults[-1].found


def test_pack_of_the_how_to_page_is_sound(tmp_path: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "how-to" / "packs.md").read_text(encoding="utf-8")
    files = re.findall(r"^`my-pack/([\w/.-]+)`\n\n```\w+\n(.*?)^```", page, flags=re.MULTILINE | re.DOTALL)
    assert len(files) == 7
    for name, text in files:
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    assert check_pack(tmp_path).faults == ()
    assert read_pack(tmp_path).fitments[0].article == "SG-10"
