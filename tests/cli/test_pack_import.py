"""``bittern pack import``: a list into a pack's folder."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from bittern.cli.main import main
from bittern.demo import PACK_DIR
from bittern.formats.packs import check_pack, read_pack
from tests.architecture.places import ROOT

Capture = pytest.CaptureFixture[str]
MOORLAND = ROOT / "tests" / "files" / "lists" / "moorland.csv"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(PACK_DIR, tmp_path / "pack"))


def run(capsys: Capture, folder: Path, *words: str, file: Path = MOORLAND) -> tuple[int, dict[str, Any], str]:
    code = main(["pack", "import", str(file), "--into", str(folder), "--json", *words])
    shown = capsys.readouterr()
    return code, json.loads(shown.out) if shown.out else {}, shown.err


def look(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*.*")}


def test_a_list_with_faults_comes_in_without_those_rows(folder: Path, capsys: Capture) -> None:
    before = look(folder)
    code, answer, _ = run(capsys, folder)
    assert code == 1
    assert (answer["ok"], answer["written"], answer["fault_count"]) == (False, True, 2)
    assert answer["articles"] == {"new": 2, "changed": 0, "same": 0, "conflict": 0, "left_out": 0}
    assert [fault["where"] for fault in answer["faults"]] == ["row 6, column FCC ID", "row 7, column Baujahr"]
    assert check_pack(folder).ok
    after = look(folder)
    assert {name for name in after if after[name] != before.get(name)} == {"articles.csv", "fitments.csv"}
    assert after["articles.csv"].startswith(before["articles.csv"]), "ours stand as they stood"
    code, answer, _ = run(capsys, folder)
    assert (answer["written"], answer["articles"]["same"]) == (False, 2)
    assert look(folder) == after


def test_a_dry_run_writes_nothing(folder: Path, capsys: Capture) -> None:
    before = look(folder)
    code, answer, _ = run(capsys, folder, "--dry-run")
    assert (code, answer["written"], answer["articles"]["new"]) == (1, False, 2)
    assert look(folder) == before


def test_a_list_without_fault_is_exit_0(folder: Path, capsys: Capture, tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text("article,title,price\nZZ-1,Key,9.50\n")
    code, answer, _ = run(capsys, folder, file=file)
    assert (code, answer["ok"], answer["written"]) == (0, True, True)
    assert str(read_pack(folder).articles["ZZ-1"].price) == "9.50"


def test_a_column_means_what_is_asked(folder: Path, capsys: Capture) -> None:
    _, answer, _ = run(capsys, folder, "--map", "EK-Preis=price", "--map", "C=")
    fields = {column["column"]: column["field"] for column in answer["columns"]}
    assert (fields["EK-Preis"], fields["FCC ID"]) == ("price", "")
    assert answer["ignored"] == ["FCC ID"]
    assert str(read_pack(folder).articles["ML-00123"].price) == "12.50"


@pytest.mark.parametrize(
    "words",
    [
        ("--map", "Nothing=price"),
        ("--map", "EK-Preis=nothing"),
        ("--map", "EK-Preis"),
        ("--rule", "ours"),
        ("--rest", "2"),
        ("--header", "99"),
        ("--header", "-3"),
        ("--sheet", "One"),
    ],
)
def test_bad_usage_is_exit_2_with_one_line(words: tuple[str, ...], folder: Path, capsys: Capture) -> None:
    before = look(folder)
    code, answer, told = run(capsys, folder, *words)
    assert (code, answer) == (2, {})
    assert told.splitlines()[-1].startswith("bittern: ")
    assert look(folder) == before


def test_columns_that_cannot_be_worked_with_are_exit_1_with_faults(folder: Path, capsys: Capture) -> None:
    before = look(folder)
    code, answer, _ = run(capsys, folder, "--map", "Bezeichnung=article")
    assert (code, answer["ok"], answer["written"]) == (1, False, False)
    assert "a second time" in answer["faults"][0]["found"]
    assert look(folder) == before


def test_without_json_a_person_reads_it(folder: Path, capsys: Capture) -> None:
    assert main(["pack", "import", str(MOORLAND), "--into", str(folder)]) == 1
    told = capsys.readouterr().out
    for wanted in ("row 6, column FCC ID", "→ lock|unlock|boot", "Articles: 2 new", "Written."):
        assert wanted in told
