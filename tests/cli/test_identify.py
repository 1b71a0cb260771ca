"""``bittern identify`` as called from a shell."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import pytest

from bittern.cli import output
from bittern.cli.main import main
from tests.engines.key.toy import toy_catalogue

CASE = {
    "vehicle": {"make": "Heron", "model": "One", "year": 2016},
    "observations": [{"kind": "fcc_id", "value": "KX4-PR7B", "how": "read-aloud"}],
}


@pytest.fixture(autouse=True)
def toy_pack(monkeypatch: pytest.MonkeyPatch) -> None:
    pack = SimpleNamespace(catalogue=toy_catalogue(), currency="EUR", price=Decimal(0))
    monkeypatch.setattr(output, "load_pack", lambda folder: pack)
    monkeypatch.setattr("bittern.cli.identify.load_pack", lambda folder: pack, raising=False)


def call(tmp_path: Path, content: object, *options: str) -> int:
    file = tmp_path / "case.json"
    file.write_text(content if isinstance(content, str) else json.dumps(content))
    return main(["identify", str(file), *options])


def test_json_has_the_fixed_keys_and_nothing_else_on_standard_output(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(tmp_path, CASE, "--json") == 0
    shown = capsys.readouterr()
    data = json.loads(shown.out)
    assert shown.err == ""
    assert data["candidates"][0]["article"] == "P-4"
    assert all(isinstance(one, str) for one in data["candidates"][0]["because"])
    assert sum(one["probability"] for one in data["candidates"]) + data["outside_pack"] <= 1.0
    assert data["settled"] is (not data["ask"])
    assert data["order"] in ("P-4", None)


def test_not_settled_is_not_a_no(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(tmp_path, {"vehicle": CASE["vehicle"]}, "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert data["settled"] is False and data["order"] is None and data["ask"]


def test_a_person_reads_the_next_question_with_where_to_look(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(tmp_path, {"vehicle": CASE["vehicle"]}) == 0
    text = capsys.readouterr().out
    assert "Ask next, best first:" in text and "?" in text and "not in this pack" in text


def test_a_person_reads_what_to_order(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen = {"kind": "fcc_id", "value": "KX4-PR78", "how": "seen"}
    start = {"kind": "start", "value": "push", "how": "seen"}
    assert call(tmp_path, {**CASE, "observations": [seen, start]}) == 0
    assert capsys.readouterr().out.rstrip().endswith("Order P-4.")


def test_nothing_left_to_ask_is_undecided(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kinds = ["fcc_id", "button_count", "buttons", "start", "blade", "frequency_hz", "chip"]
    silent = [{"kind": kind, "value": None, "how": "told"} for kind in kinds]
    assert call(tmp_path, {**CASE, "observations": silent}) == 0
    assert "Undecided" in capsys.readouterr().out


@pytest.mark.parametrize(
    "content",
    [
        "not json",
        {"observations": [{"kind": "smell", "value": 1, "how": "seen"}]},
        {"observations": [{"kind": "button_count", "value": "4", "how": "seen"}]},
        [],
    ],
)
def test_unreadable_input_is_exit_2_with_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: object
) -> None:
    assert call(tmp_path, content, "--json") == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith("bittern: case.json") and shown.err.count("\n") == 1


def test_a_missing_file_is_exit_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["identify", str(tmp_path / "nothing.json")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
