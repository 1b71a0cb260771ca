"""``bittern vin``: fixed shapes, exit codes, one line of error."""

from __future__ import annotations

import json

import pytest

from bittern.cli import vin as commands
from bittern.cli.main import main
from bittern.data.vpic import known_wmis
from bittern.demo import PACK_DIR
from bittern.engines.vehicle.number import compute_check_digit
from bittern.formats.packs import read_pack

CLASSIC = "1M8GDM9AXKP042788"


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict, str]:
    """Run with --json; return exit code, the one JSON object (or none) and standard error."""
    code = main(["vin", *words, "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out) if out else {}, err


def test_check_has_the_fixed_shape(capsys):
    code, data, err = run(capsys, "check", "1m8gdm9ax-kp042788")
    assert (code, err) == (0, "")
    assert data["vin"] == CLASSIC
    assert data["valid"] is True
    assert data["wmi"] == "1M8"
    assert data["check_digit"] == {"given": "X", "expected": "X", "required": True}
    assert data["model_years"] == [1989, 2019]
    assert data["problems"] == []


def test_check_tells_the_cycle_of_a_light_vehicle(capsys):
    # 49 CFR 565.15(b), worked: position 7 is a letter and position 10 is F, so 2015.
    assert run(capsys, "check", "5YJSA1H12FFP71790")[1]["model_years"] == [2015]


def test_check_leaves_the_cycle_of_a_heavy_truck_open(capsys):
    # PeteCarrott/vinDecode, sampleData.md: model year 2000, class 6, B at position 7.
    assert run(capsys, "check", "1FV3GFBC0YHA74039")[1]["model_years"] == [2000, 2030]


def test_a_number_that_is_not_valid_is_a_no(capsys):
    code, data, err = run(capsys, "check", "1M8GDM9A1KP042788")
    assert (code, err) == (1, "")
    assert data["valid"] is False
    assert data["check_digit"]["expected"] == "X"
    assert len(data["problems"]) == 1


@pytest.mark.parametrize("command", ["check", "suggest", "decode"])
@pytest.mark.parametrize("text", ["", "  ", "7" * 500])
def test_what_cannot_be_a_number_is_bad_usage_in_one_line(capsys, command, text):
    code, data, err = run(capsys, command, text)
    assert (code, data) == (2, {})
    assert err.count("\n") == 1
    assert "17 characters" in err


@pytest.mark.parametrize("command", ["check", "suggest", "decode"])
def test_a_pack_that_is_not_there_is_bad_usage(capsys, command, tmp_path):
    code, data, err = run(capsys, command, CLASSIC, "--pack", str(tmp_path / "none"))
    assert (code, data) == (2, {})
    assert err.count("\n") == 1


def test_suggest_ranks_the_look_alike_first(capsys):
    code, data, err = run(capsys, "suggest", "1MBGDM9AXKP042788")
    assert (code, err) == (0, "")
    assert data["suggestions"][0]["vin"] == CLASSIC
    assert data["suggestions"][0]["changes"] == ["position 3: B → 8"]
    assert 0.5 < data["suggestions"][0]["probability"] < 1
    assert sum(s["probability"] for s in data["suggestions"]) + data["p_none"] == pytest.approx(1)
    assert data["suspicious"][0]["position"] == 3
    assert data["suspicious"][0]["p"] > 0.5


def test_suggest_finds_the_packs_own_makes(capsys):
    row = next(row for row in read_pack(PACK_DIR).numbers if row.wmi[0] in "12345" and len(row.wmi) == 3)
    blank = f"{row.wmi}{row.vds.replace('*', 'A')}0FH000158"
    truth = blank[:8] + compute_check_digit(blank) + blank[9:]
    _, data, _ = run(capsys, "suggest", truth[:-1] + "B")
    assert data["suggestions"][0]["vin"] == truth


def test_how_it_was_read_changes_the_ranking(capsys):
    probabilities = {
        how: run(capsys, "suggest", "1M8GDN9AXKP042788", "--how", how)[1]["suggestions"][0]["probability"]
        for how in ("told", "seen")
    }
    assert run(capsys, "suggest", "1M8GDN9AXKP042788", "--how", "told")[1]["suggestions"][0]["vin"] == CLASSIC
    assert probabilities["told"] > 1.1 * probabilities["seen"], "M and N sound alike, they look apart"
    assert run(capsys, "suggest", CLASSIC, "--how", "guessed")[0] == 2


def test_nothing_to_suggest_is_a_no(capsys):
    code, data, err = run(capsys, "suggest", "ABC")
    assert (code, err) == (1, "")
    assert data == {"suggestions": [], "suspicious": [], "p_none": 1.0}


@pytest.mark.parametrize("start", ["turn", "push"])
def test_the_demo_packs_invented_makes_decode_through_the_pack(capsys, start):
    pack = read_pack(PACK_DIR)
    row = next(row for row in pack.numbers if row.start == start)
    years = [f for f in pack.fitments if (f.make, f.model, f.start) == (row.make, row.model, start)]
    year = years[0].year_to
    code_at_10 = "ABCDEFGHJKLMNPRSTVWXY123456789"[(year - 1980) % 30]
    blank = f"{row.wmi[:3]}{row.vds.replace('*', 'A')}0{code_at_10}H000158"
    code, data, err = run(capsys, "decode", blank[:8] + compute_check_digit(blank) + blank[9:])
    assert (code, err) == (0, "")
    assert (data["make"], data["model"], data["model_year"]) == (row.make, row.model, year)
    assert data["attributes"]["start"] == start
    assert data["source"] == "pack"


def test_invented_makers_collide_with_no_real_one():
    assert {row.wmi for row in read_pack(PACK_DIR).numbers} & known_wmis() == set()


def test_decode_by_the_public_data(capsys):
    code, data, _ = run(capsys, "decode", CLASSIC)
    assert code == 0
    assert data["source"] == "vpic"
    assert data["model_year"] == 1989
    assert data["make"]
    assert data["attributes"]


@pytest.mark.parametrize("text", ["11111111111111111", "1M8GDM9AXKPO42788", "ABC"])
def test_a_number_without_a_make_is_a_no(capsys, text):
    code, data, err = run(capsys, "decode", text)
    assert (code, err) == (1, "")
    assert data["make"] is None
    assert data["notes"]


def test_people_are_told_the_same_in_words(capsys):
    assert main(["vin", "check", "1M8GDM9AXKPO42788"]) == 1
    said = capsys.readouterr().out
    assert "position 12: O is never used" in said
    assert f"Perhaps {CLASSIC}" in said
    assert main(["vin", "suggest", "1MBGDM9AXKP042788"]) == 0
    said = capsys.readouterr().out
    assert said.count("\n") == commands.SHOWN + 4
    assert "none of these" in said
    assert "Look again at position 3 (9" in said
    assert "less likely" in said
    assert main(["vin", "suggest", "ABC"]) == 1
    assert "No number within two slips" in capsys.readouterr().out
    assert main(["vin", "decode", "11111111111111111"]) == 1
    assert "neither the pack nor the public data" in capsys.readouterr().out
    assert main(["vin", "decode", CLASSIC]) == 0
    assert "Source: vpic" in capsys.readouterr().out
