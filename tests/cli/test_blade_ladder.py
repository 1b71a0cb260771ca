"""``bittern blade ladder`` with a code table and a reading."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bittern.cli.main import main

KNOWN = "2 1 3 ? ? 2 1 3"
TABLE = "bitting,code,weight\n2 1 3 4 2 2 1 3,K1,2\n2 1 3 3 2 2 1 3,K2,1\n3 1 3 3 2 2 1 3,K3,1\n"


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict, str]:
    code = main(["blade", "ladder", "--standard", "heron-8", *words, "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out) if out else {}, err


def write(folder: Path, name: str, text: str) -> str:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_only_bittings_of_the_table_remain_and_their_weights_count(capsys, tmp_path):
    code, data, err = run(capsys, "--known", KNOWN, "--table", write(tmp_path, "own.csv", TABLE))
    assert (code, err) == (0, "")
    assert data["table"] == {"rows": 3, "bittings": 3}
    assert data["ladders"] == [["2 1 3 3 2 2 1 3", "2 1 3 4 2 2 1 3"]]
    assert data["expected_cuttings"] == pytest.approx((1 * 1 + 2 * 2) / 3)
    assert "K1" not in json.dumps(data)


def test_the_table_alone_is_enough(capsys, tmp_path):
    code, data, _ = run(capsys, "--table", write(tmp_path, "own.csv", TABLE))
    assert (code, data["remaining"], data["blanks"]) == (0, 3, 2)


def test_faults_of_a_table_are_one_line_with_all_of_them(capsys, tmp_path):
    path = write(tmp_path, "own.csv", "bitting\n2 1 3\n9 1 3 4 2 2 1 3\n")
    code, data, err = run(capsys, "--known", KNOWN, "--table", path)
    assert (code, data, err.count("\n")) == (2, {}, 1)
    assert "row 2" in err
    assert "row 3" in err


def test_a_doubtful_reading_weighs_what_is_left(capsys, tmp_path):
    heights = (7.4, 8.0, 6.8, 6.2, 7.4, 7.1, 8.0, 6.8)
    rows = "".join(f"{cut},{height},0.1\n" for cut, height in enumerate(heights, 1))
    readings = write(tmp_path, "r.csv", "position,height_mm,sd_mm\n" + rows)
    main(["blade", "measure", readings, "--standard", "heron-8", "--json"])
    measured = capsys.readouterr().out
    code, data, _ = run(capsys, "--reading", write(tmp_path, "r.json", measured))
    assert code == 0
    # Cut 6 lies between depths 2 and 3: both are on the ladders, and both come early.
    first = [rung for ladder in data["ladders"] for rung in ladder]
    assert {rung.split()[5] for rung in first} >= {"2", "3"}
    assert 0.99 <= data["covered"] <= 1.0
    assert data["expected_cuttings"] < len(first)


def test_a_reading_that_is_none_is_one_line(capsys, tmp_path):
    code, data, err = run(capsys, "--known", KNOWN, "--reading", write(tmp_path, "r.json", "{}"))
    assert (code, data, err.count("\n")) == (2, {}, 1)


def test_nothing_known_at_all_is_refused(capsys):
    code, data, err = run(capsys)
    assert (code, data) == (2, {})
    assert "known cuts, a table or a reading" in err


def test_what_a_further_cut_would_save_is_said(capsys):
    code, data, _ = run(capsys, "--known", KNOWN)
    assert code == 0
    assert {one["cut"] for one in data["helps"]} == {"4", "5"}
    assert all(0 < one["expected_blanks"] <= data["blanks"] for one in data["helps"])
