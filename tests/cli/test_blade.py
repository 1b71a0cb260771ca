"""``bittern blade``."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from types import SimpleNamespace

import pytest

from bittern.cli import blade as commands
from bittern.cli import blade_ladder
from bittern.cli.main import main
from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.blade.outline import get_height_mm
from tests.strategies.blades import HERON, RAIL, SNIPE, TEAL

GOOD = "2 1 3 4 2 2 1 3"
TEN = "2 1 3 4 2 2 1 3 4 4"


@pytest.fixture(autouse=True)
def shop_pack(monkeypatch: pytest.MonkeyPatch) -> None:
    """The commands see a pack of four invented families; reading packs is tested elsewhere."""
    pack = SimpleNamespace(blades={blade.id: blade for blade in (HERON, RAIL, TEAL, SNIPE)})
    for module in (commands, blade_ladder):
        monkeypatch.setattr(module, "load_pack", lambda folder: pack)


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict, str]:
    """Run with --json; return exit code, the one JSON object (or none) and standard error."""
    code = main(["blade", *words, "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out) if out else {}, err


def test_the_contour_is_the_formula_at_every_vertex(capsys):
    code, data, err = run(capsys, "contour", "--standard", "heron-8", "--bitting", GOOD)
    assert (code, err) == (0, "")
    bitting = parse_bitting(HERON, GOOD)
    assert data["points_mm"][0] == [0, 8.4]
    assert data["points_mm"][-1] == [28, 8.4]
    for x, h in data["points_mm"]:
        assert h == pytest.approx(get_height_mm(HERON, bitting, x), abs=1e-9)


def test_a_step_samples_the_contour(capsys):
    code, data, _ = run(capsys, "contour", "--standard", "snipe-10", "--bitting", TEN, "--step", "0.5")
    assert code == 0
    assert [x for x, _ in data["points_mm"]] == [number / 2 for number in range(53)]
    bitting = parse_bitting(SNIPE, TEN)
    assert all(h == pytest.approx(get_height_mm(SNIPE, bitting, x)) for x, h in data["points_mm"])


@pytest.mark.parametrize("step", ["0.0009", "0", "-1", "nan", "inf", "fine"])
def test_a_step_too_fine_or_no_number_is_bad_usage(capsys, step):
    code, data, err = run(capsys, "contour", "--standard", "heron-8", "--bitting", GOOD, f"--step={step}")
    assert (code, data, err.count("\n")) == (2, {}, 1)


def test_mirror_and_split_have_a_lower_edge_too(capsys):
    _, mirror, _ = run(capsys, "contour", "--standard", "rail-10", "--bitting", TEN)
    assert mirror["lower_points_mm"] == [[x, -h] for x, h in mirror["points_mm"]]
    _, split, _ = run(capsys, "contour", "--standard", "teal-10", "--bitting", f"{TEN} / 1 2 2 4 3 2 2 1 3 3")
    heights = dict(map(tuple, split["lower_points_mm"]))
    bitting = parse_bitting(TEAL, split["bitting"])
    assert all(-h == pytest.approx(get_height_mm(TEAL, bitting, x, edge=1)) for x, h in heights.items())


@pytest.mark.parametrize(
    ("standard", "bitting", "message"),
    [
        ("heron-9", GOOD, "heron-8, rail-10, snipe-10, teal-10"),
        ("heron-8", "2 1 3 9 2 2 1 3", "'9' at cut 4"),
        ("heron-8", "2 1 3", "8 labels"),
        ("heron-8", "", "8 labels"),
        ("heron-8", "2 1 ? 4 2 2 1 3", "unknown cut 3"),
    ],
)
@pytest.mark.parametrize("command", ["contour", "chart"])
def test_what_cannot_be_read_is_one_line_and_exit_2(capsys, tmp_path, command, standard, bitting, message):
    out = tmp_path / "chart.svg"
    extra = ["--out", str(out)] if command == "chart" else []
    code, data, err = run(capsys, command, "--standard", standard, "--bitting", bitting, *extra)
    assert (code, data, err.count("\n")) == (2, {}, 1)
    assert message in err
    assert not out.exists()


@pytest.mark.parametrize("command", ["contour", "chart"])
def test_a_broken_rule_is_a_no_that_names_rule_and_cuts(capsys, tmp_path, command):
    out = tmp_path / "chart.svg"
    extra = ["--out", str(out)] if command == "chart" else []
    code, data, err = run(capsys, command, "--standard", "heron-8", "--bitting", "1 4 2 2 2 2 1 1", *extra)
    assert code == 1
    assert data["allowed"] is False
    assert [(item["rule"], item["cuts"]) for item in data["violations"]] == [
        ("macs", ["1", "2"]),
        ("max_run", ["3", "4", "5", "6"]),
    ]
    assert "macs" in err
    assert not data.get("points_mm")
    assert not out.exists()
    assert main(["blade", command, "--standard", "heron-8", "--bitting", "1 4 2 2 2 2 1 1", *extra]) == 1
    assert capsys.readouterr().out == ""


def test_the_chart_is_written_as_svg(capsys, tmp_path):
    out = tmp_path / "chart.svg"
    words = [
        "--standard",
        "heron-8",
        "--bitting",
        GOOD,
        "--out",
        str(out),
        "--unit",
        "inch",
        "--title",
        "Van",
    ]
    code, data, _ = run(capsys, "chart", *words)
    assert (code, data["out"]) == (0, str(out))
    root = ET.fromstring(out.read_text(encoding="utf-8"))
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "Van" in root[0].text


@pytest.mark.parametrize(
    "extra", [["--out", "missing/chart.svg"], ["--out", "."], ["--out", "a.svg", "--unit", "ell"], []]
)
def test_a_chart_that_cannot_be_written_is_bad_usage(capsys, tmp_path, monkeypatch, extra):
    monkeypatch.chdir(tmp_path)
    code, data, err = run(capsys, "chart", "--standard", "heron-8", "--bitting", GOOD, *extra)
    assert (code, data, err.count("\n")) == (2, {}, 1)
    assert list(tmp_path.iterdir()) == []


def write_readings(folder: Path, heights: list[float], first: int = 1) -> str:
    rows = [f"{number},{height},0.02" for number, height in enumerate(heights, first)]
    path = folder / "readings.csv"
    path.write_text("position,height_mm,sd_mm\n" + "\n".join(rows), encoding="utf-8")
    return str(path)


def test_readings_become_a_bitting(capsys, tmp_path):
    path = write_readings(tmp_path, [7.41, 7.99, 6.8, 6.22, 7.4, 7.38, 8.0, 6.8])
    code, data, err = run(capsys, "measure", path, "--standard", "heron-8")
    assert (code, err) == (0, "")
    assert (data["bitting"], data["allowed"], data["problems"]) == (GOOD, True, [])
    assert data["standard"] == "heron-8"
    assert data["probability"] > 0.98
    assert [cut["label"] for cut in data["cuts"]] == GOOD.split()
    assert data["cuts"][3]["depth_mm"] == 6.22
    assert data["cuts"][3]["sd_mm"] == 0.02
    assert data["positions_as"] == "cut numbers"


def test_doubt_is_no_failure_and_is_said_in_text_too(capsys, tmp_path):
    path = write_readings(tmp_path, [7.4, 8.0, 7.1, 6.2, 7.4, 7.4, 8.0])
    code, data, _ = run(capsys, "measure", path, "--standard", "heron-8")
    assert code == 0
    assert data["bitting"].endswith("?")
    assert [problem.split()[1] for problem in data["problems"]] == ["3", "8"]
    assert main(["blade", "measure", path, "--standard", "heron-8"]) == 0
    out = capsys.readouterr().out
    assert all(problem in out for problem in data["problems"])


def test_a_measured_bitting_the_rules_forbid_is_a_no(capsys, tmp_path):
    path = write_readings(tmp_path, [8.0, 6.2, 6.8, 6.2, 7.4, 7.4, 8.0, 6.8])
    code, data, _ = run(capsys, "measure", path, "--standard", "heron-8")
    assert (code, data["allowed"], data["bitting"]) == (1, False, "1 4 3 4 2 2 1 3")


def test_places_in_mm_are_said_on_standard_error(capsys, tmp_path):
    path = tmp_path / "places.csv"
    path.write_text("position,height_mm,sd_mm\n3.0,7.4,0.02\n24.0,6.8,0.02\n", encoding="utf-8")
    code, data, err = run(capsys, "measure", str(path), "--standard", "heron-8")
    assert (code, data["bitting"]) == (0, "2 ? ? ? ? ? ? 3")
    assert "mm from the datum" in err


@pytest.mark.parametrize(
    "content",
    [
        None,
        b"\x00\x01",
        b"",
        b"position,height_mm\n1,7.4\n",
        b"position,height_mm,sd_mm\n1,nan,0.02\n",
        b"1" * 5_000_001,
    ],
)
def test_a_file_that_is_no_readings_is_one_line_and_exit_2(capsys, tmp_path, content):
    path = tmp_path / "readings.csv"
    if content is not None:
        path.write_bytes(content)
    code, data, err = run(capsys, "measure", str(path), "--standard", "heron-8")
    assert (code, data, err.count("\n")) == (2, {}, 1)


def test_a_ladder_covers_what_is_left(capsys):
    code, data, err = run(capsys, "ladder", "--standard", "heron-8", "--known", "2 1 3 ? ? 2 1 3")
    assert (code, err) == (0, "")
    rungs = [rung for ladder in data["ladders"] for rung in ladder]
    assert data["remaining"] == len(rungs) == len(set(rungs))
    assert data["blanks"] == data["lower_bound"] == len(data["ladders"])
    assert data["expected_cuttings"] == pytest.approx((len(rungs) + 1) / 2)


def test_a_ladder_where_nothing_is_left_is_a_no(capsys):
    # A step of three depths over one unknown cut cannot keep a MACS of 2 and the run besides.
    code, data, _ = run(capsys, "ladder", "--standard", "heron-8", "--known", "1 4 1 4 ? ? ? ?")
    assert code == 1
    assert (data["remaining"], data["ladders"]) == (0, [])


def test_a_ladder_of_a_track_blade_is_refused(capsys):
    known = " ".join("?" * len(SNIPE.positions_mm))
    code, data, err = run(capsys, "ladder", "--standard", "snipe-10", "--known", known)
    assert (code, data, err.count("\n")) == (2, {}, 1)


def test_too_many_for_ladders_is_a_no_with_advice(capsys):
    known = " / ".join([" ".join("?" * len(TEAL.positions_mm))] * 2)
    code, data, _ = run(capsys, "ladder", "--standard", "teal-10", "--known", known)
    assert code == 1
    assert data["remaining"] > 10**6
    assert (data["blanks"], data["ladders"]) == (None, [])
    assert "find out cut" in data["problems"][0]
