"""Every command's JSON has every key that the reference fixes, of the type that it says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.contract.calls import (
    BITTING,
    CHECKED,
    CLASSIC,
    CONTOUR,
    DECODED,
    FILES,
    IDENTIFIED,
    MEASURED,
    PACK,
    PACKED,
    SHEET,
    SUGGESTED,
    Call,
    hold,
)

# A number, and with what exit codes check, suggest and decode answer it.
NUMBERS = {
    "valid": (CLASSIC, 0, 0, 0),
    "lower case": (CLASSIC.lower(), 0, 0, 0),
    "spaces": (" ".join(CLASSIC), 0, 0, 0),
    "lines": ("\n".join(CLASSIC), 0, 0, 0),
    "check digit wrong": ("1M8GDM9A1KP042788", 1, 0, 0),
    "16 characters": (CLASSIC[:16], 1, 0, 1),
    "18 characters": (CLASSIC + "1", 1, 0, 1),
    "letters never used": ("1M8GDM9AXKPO42788", 1, 0, 1),
    "one character": ("A", 1, 1, 1),
    "emoji": ("😀" * 17, 1, 1, 1),
    "accents": ("É" + CLASSIC[1:], 1, 1, 1),
    "digits of another script": ("٣" * 17, 1, 1, 1),
    "control characters": ("\x01" * 17, 1, 1, 1),
    "half a pair of surrogates": ("\udcff" * 17, 1, 1, 1),
    "not of North America": ("WM8GDM9AXKP042788", 0, 0, 1),
    # 49 CFR 565.15, Tables III and IV: the sum of seventeen ones is 89, and 89 mod 11 is 1.
    "all ones": ("1" * 17, 0, 0, 1),
}


@pytest.mark.parametrize(("text", "checked", "suggested", "decoded"), NUMBERS.values(), ids=NUMBERS)
def test_vehicle_numbers(call: Call, text: str, checked: int, suggested: int, decoded: int) -> None:
    plain = "".join(text.upper().split()) if text.isascii() else None
    for command, code, shape in (
        ("check", checked, CHECKED),
        ("suggest", suggested, SUGGESTED),
        ("decode", decoded, DECODED),
    ):
        answer = call("vin", command, text, "--json")
        assert (answer.code, answer.err) == (code, "")
        data = answer.data
        hold(data, shape)
        if command == "check":
            assert data["valid"] is (code == 0)
            assert bool(data["problems"]) is not data["valid"]
            assert data["check_digit"]["required"] is (text[0] in "12345")
        if command != "suggest" and plain:
            assert data["vin"] == plain
        assert call("vin", command, text).code == code


def test_suggestions_are_best_first_and_each_could_be_true(call: Call) -> None:
    found = call("vin", "suggest", "1M8GDM9AXKP04278B", "--json").data["suggestions"]
    chances = [one["probability"] for one in found]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) <= 1
    assert found[0]["vin"] == CLASSIC
    for one in found[:10]:
        assert call("vin", "check", one["vin"], "--json").data["valid"] is True


def observe(tmp_path: Path, content: object) -> Path:
    file = tmp_path / "case.json"
    file.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return file


KINDS: dict[str, object] = {
    "fcc_id": "ABC-12X4",
    "frequency_hz": 433.91e6,
    "buttons": ["lock", "unlock", "boot"],
    "button_count": 4,
    "start": "push",
    "blade": "heron-8",
    "chip": "tern-a",
}
CASES: dict[str, object] = {
    "the example of the reference": (FILES / "observations.json").read_text(encoding="utf-8"),
    "nothing at all": {},
    "no observations": {"observations": []},
    "no vehicle": {"observations": [{"kind": "start", "value": "turn", "how": "told"}]},
    "vehicle null": {"vehicle": None, "observations": []},
    "every key of the vehicle null": {"vehicle": dict.fromkeys(("vin", "make", "model", "year"))},
    "unknown keys": {
        "vehicle": {"make": "Reedmace", "colour": "red"},
        "observations": [{"kind": "start", "value": "turn", "how": "told", "note": "by phone"}],
        "shop": 7,
    },
    "every kind asked in vain": {
        "observations": [{"kind": kind, "value": None, "how": "told"} for kind in KINDS]
    },
    "every kind observed": {
        "vehicle": {"make": "Reedmace", "model": "Withy", "year": 2018.0},
        "observations": [{"kind": kind, "value": value, "how": "seen"} for kind, value in KINDS.items()],
    },
    "a number that is none": {"vehicle": {"vin": "..."}},
    "a make nobody knows": {"vehicle": {"make": "😀", "model": "\u202e", "year": 1900}},
    "byte order mark and CRLF": '\ufeff{"observations":\r\n []}\r\n',
}


@pytest.mark.parametrize("content", CASES.values(), ids=CASES)
@pytest.mark.parametrize("pack", [(), ("--pack", PACK)], ids=["demo", "reeds"])
def test_identify(call: Call, tmp_path: Path, content: object, pack: tuple[object, ...]) -> None:
    file = observe(tmp_path, content)
    answer = call("identify", file, *pack, "--json")
    assert (answer.code, answer.err) == (0, "")
    data = answer.data
    hold(data, IDENTIFIED)
    chances = [one["probability"] for one in data["candidates"]]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) + data["outside_pack"] <= 1
    if data["order"] is not None:
        assert data["settled"] is True
        assert data["order"] == data["candidates"][0]["article"]
    assert not (data["settled"] and data["ask"])
    given = json.loads(file.read_text("utf-8-sig")).get("observations") or []
    asked = [one["question"] for one in data["ask"]]
    assert len(asked) == len(set(asked))
    assert set(asked) <= set(KINDS) - {one["kind"] for one in given}
    assert call("identify", file, *pack).out


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_asked_in_vain_is_not_asked_again(call: Call, tmp_path: Path, kind: str) -> None:
    vehicle = {"make": "Reedmace", "model": "Withy", "year": 2015}
    case = {"vehicle": vehicle, "observations": [{"kind": kind, "value": None, "how": "told"}]}
    data = call("identify", observe(tmp_path, case), "--json", "--pack", PACK).data
    assert kind not in [one["question"] for one in data["ask"]]


def write_readings(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "readings.csv"
    file.write_bytes(text.encode())
    return file


HEAD = "position,height_mm,sd_mm\n"
HEIGHTS = (7.40, 8.00, 6.80, 6.20, 7.40, 7.40, 8.00, 6.80)
ROWS = "".join(f"{number},{height},0.02\n" for number, height in enumerate(HEIGHTS, 1))
READINGS = {
    "plain": HEAD + ROWS,
    "byte order mark": "\ufeff" + HEAD + ROWS,
    "CRLF": (HEAD + ROWS).replace("\n", "\r\n"),
    "doubles in full": HEAD
    + "".join(f"{n},{h + 1e-15!r},0.020000000000000004\n" for n, h in enumerate(HEIGHTS, 1)),
    "columns in another order": "sd_mm,height_mm,position\n"
    + "".join(f"0.02,{height},{number}\n" for number, height in enumerate(HEIGHTS, 1)),
    "one column more": HEAD.replace("\n", ",who\n") + ROWS.replace("\n", ",me\n"),
}


@pytest.mark.parametrize("text", READINGS.values(), ids=READINGS)
def test_blade_measure(call: Call, tmp_path: Path, text: str) -> None:
    file = write_readings(tmp_path, text)
    answer = call("blade", "measure", file, "--standard", "heron-8", "--pack", PACK, "--json")
    assert answer.code == 0
    data = answer.data
    hold(data, MEASURED)
    assert data["bitting"] == BITTING
    assert data["probability"] > 0.99
    assert data["allowed"] is True
    for cut, height in zip(data["cuts"], HEIGHTS, strict=True):
        assert cut["depth_mm"] == pytest.approx(height)
        assert cut["sd_mm"] == pytest.approx(0.02)
        assert set(cut["by_label"]) == {"1", "2", "3", "4"}
        assert sum(cut["by_label"].values()) == pytest.approx(1)
        assert cut["by_label"][cut["label"]] == pytest.approx(cut["probability"])
    chances = [one["probability"] for one in data["runners_up"]]
    assert chances == sorted(chances, reverse=True)
    assert data["probability"] + sum(chances) <= 1 + 1e-9


def test_a_measured_bitting_that_the_rules_forbid_is_a_no(call: Call, tmp_path: Path) -> None:
    rows = "".join(f"{number},8.0,0.02\n" for number in range(1, 9))
    file = write_readings(tmp_path, HEAD + rows)
    answer = call("blade", "measure", "--json", file, "--standard", "heron-8", "--pack", PACK)
    assert answer.code == 1
    hold(answer.data, MEASURED)
    assert answer.data["allowed"] is False
    assert answer.data["problems"]


@pytest.mark.parametrize("row", ["3,6.8,0.02", "3,1e9,0.02", "3,-6.8,0.02", "3,6.8,1e-30"])
def test_one_reading_leaves_the_other_cuts_open(call: Call, tmp_path: Path, row: str) -> None:
    file = write_readings(tmp_path, HEAD + row + "\n")
    answer = call("blade", "measure", file, "--standard", "heron-8", "--pack", PACK, "--json")
    assert answer.code == 0
    hold(answer.data, MEASURED)
    assert answer.data["bitting"].split().count("?") >= 7
    assert answer.data["probability"] < 0.01


def test_blade_contour_and_chart(call: Call, tmp_path: Path) -> None:
    asked = ("--standard", "heron-8", "--bitting", BITTING, "--pack", PACK, "--json")
    for step in ((), ("--step", 0.001), ("--step", 0.5)):
        answer = call("blade", "contour", *asked, *step)
        assert (answer.code, answer.err) == (0, "")
        hold(answer.data, CONTOUR)
    out = tmp_path / "out.svg"
    answer = call("blade", "chart", *asked, "--out", out)
    assert (answer.code, answer.err, answer.data["out"]) == (0, "", str(out))
    assert out.read_text(encoding="utf-8").lstrip().startswith(("<?xml", "<svg"))


@pytest.mark.parametrize("bitting", ["1 1 1 1 2 2 1 1", "1 4 1 2 3 2 1 2"], ids=["max_run", "macs"])
def test_a_bitting_that_the_rules_forbid_is_a_no_and_writes_nothing(
    call: Call, tmp_path: Path, bitting: str
) -> None:
    asked = ("--standard", "heron-8", "--bitting", bitting, "--pack", PACK, "--json")
    answer = call("blade", "contour", *asked)
    assert (answer.code, answer.data["points_mm"]) == (1, [])
    assert answer.data["problems"]
    out = tmp_path / "out.svg"
    answer = call("blade", "chart", *asked, "--out", out)
    assert (answer.code, answer.data["out"], out.exists()) == (1, None, False)
    assert answer.data["problems"]


@pytest.mark.parametrize(
    "file", [PACK / "runsheets" / "marsh-turn-pair.toml", FILES / "runsheets" / "marsh-turn-pair.toml"]
)
def test_runsheet_check(call: Call, file: Path) -> None:
    answer = call("runsheet", "check", file, "--json")
    assert (answer.code, answer.err) == (0 if file.is_relative_to(PACK) else 1, "")
    hold(answer.data, SHEET)
    assert answer.data["ok"] is (answer.code == 0)
    assert bool(answer.data["faults"]) is not answer.data["ok"]


def test_pack_check_and_its_counts(call: Call) -> None:
    answer = call("pack", "check", PACK, "--json")
    assert (answer.code, answer.err) == (0, "")
    hold(answer.data, PACKED)
    assert answer.data["ok"] is True
    counts: dict[str, Any] = answer.data["counts"]
    assert {name: counts[name] for name in ("articles", "fitments", "blades", "tools", "runsheets")} == {
        "articles": 4,
        "fitments": 4,
        "blades": 4,
        "tools": 2,
        "runsheets": 1,
    }


@pytest.mark.parametrize(
    "words",
    [
        ("vin", "check", CLASSIC),
        ("blade", "contour", "--standard", "heron-8", "--bitting", BITTING),
        ("runsheet", "check", PACK / "runsheets" / "marsh-turn-pair.toml"),
        ("pack", "check", PACK),
    ],
    ids=lambda words: " ".join(words[:2]),
)
def test_json_may_stand_before_or_after_what_is_asked(call: Call, words: tuple[object, ...]) -> None:
    assert call(*words, "--json").data == call(*words[:2], "--json", *words[2:]).data
