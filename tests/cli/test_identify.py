"""``bittern identify`` as called from a shell."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from bittern.cli.main import main
from bittern.demo import PACK_DIR
from bittern.demo.numbers import make_number
from bittern.engines.key.evidence import Vehicle
from bittern.formats.packs import Pack, read_pack
from bittern.work.vehicle import complete_vehicle
from tests.engines.key.toy import toy_catalogue

CASE = {
    "vehicle": {"make": "Heron", "model": "One", "year": 2016},
    "observations": [{"kind": "fcc_id", "value": "KX4-PR7B", "how": "read-aloud"}],
}


@pytest.fixture(scope="module")
def demo() -> Pack:
    return read_pack(PACK_DIR)


@pytest.fixture(autouse=True)
def toy_pack(monkeypatch: pytest.MonkeyPatch, demo: Pack) -> None:
    """Serve the toy catalogue unless a folder is given."""
    toy = toy_catalogue()
    pack = replace(demo, articles=toy.articles, fitments=toy.fitments, numbers=())
    monkeypatch.setattr(
        "bittern.cli.identify.load_pack", lambda folder: read_pack(folder) if folder else pack, raising=False
    )


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
    text = capsys.readouterr().out
    assert "Everything that could be asked was asked." in text
    assert "Undecided" in text


def test_a_person_reads_what_does_not_go_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen = [
        {"kind": "fcc_id", "value": "KX4-HM22", "how": "seen"},
        {"kind": "frequency_hz", "value": 315.0e6, "how": "measured"},
    ]
    assert call(tmp_path, {**CASE, "observations": seen}) == 0
    assert "The identifier and the frequency cannot both be right" in capsys.readouterr().out
    assert call(tmp_path, {**CASE, "observations": seen}, "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert data["conflicts"] and data["stop"] is None


def test_a_person_reads_why_nothing_more_is_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen = {"kind": "fcc_id", "value": "KX4-PR78", "how": "seen"}
    start = {"kind": "start", "value": "push", "how": "seen"}
    assert call(tmp_path, {**CASE, "observations": [seen, start]}, "--json") == 0
    stop = json.loads(capsys.readouterr().out)["stop"]
    assert call(tmp_path, {**CASE, "observations": [seen, start]}) == 0
    assert stop["text"] in capsys.readouterr().out


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


def test_a_pack_is_taken_from_its_folder_and_the_number_says_the_vehicle(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], demo: Pack
) -> None:
    row = next(one for one in demo.fitments if demo.articles[one.article].fcc_id and one.share > 0.5)
    vin = make_number(demo, row.make, row.model, row.year_from, 4711, row.start)
    label = {"kind": "fcc_id", "value": demo.articles[row.article].fcc_id, "how": "photographed"}
    buttons = {"kind": "buttons", "value": demo.articles[row.article].buttons, "how": "seen"}
    case = {"vehicle": {"vin": vin}, "observations": [label, buttons]}
    assert call(tmp_path, case, "--json", "--pack", str(PACK_DIR)) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["order"] == row.article
    assert f"make {row.make} taken from the vehicle number" in data["assumed"]


def test_what_the_number_says_fills_gaps_and_never_replaces_what_was_given(demo: Pack) -> None:
    row = demo.fitments[0]
    vin = make_number(demo, row.make, row.model, row.year_from, 1, row.start)
    filled, taken = complete_vehicle(Vehicle(vin=vin), demo)
    assert (filled.make, filled.model, filled.year, filled.year_sure) == (
        row.make,
        row.model,
        row.year_from,
        True,
    )
    assert len(taken) >= 3
    other, notes = complete_vehicle(Vehicle(vin=vin, make="Wader", model=row.model, year=1990), demo)
    assert (other.make, other.year, other.year_sure) == ("Wader", 1990, False)
    assert any("Wader was given and is used" in note for note in notes)
    assert any("1990 was given and is used" in note for note in notes)


def test_a_told_year_off_by_one_gives_way_to_the_number(demo: Pack) -> None:
    row = demo.fitments[0]
    vin = make_number(demo, row.make, row.model, row.year_from, 1, row.start)
    told = Vehicle(vin=vin, make=row.make, model=row.model, year=row.year_from + 1)
    vehicle, taken = complete_vehicle(told, demo)
    assert (vehicle.year, vehicle.year_sure) == (row.year_from, True)
    assert f"model year {row.year_from} taken from the vehicle number" in taken


def test_nothing_is_taken_from_a_number_that_is_not_valid(demo: Pack) -> None:
    row = demo.fitments[0]
    vin = make_number(demo, row.make, row.model, row.year_from, 1, row.start)
    wrong = vin[:-1] + ("2" if vin[-1] != "2" else "3")
    vehicle, taken = complete_vehicle(Vehicle(vin=wrong), demo)
    assert vehicle == Vehicle(vin=wrong)
    assert taken == ("the vehicle number is not valid, so nothing is taken from it",)
