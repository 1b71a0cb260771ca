"""``bittern cut check``: what comes out is measured, and only a key without fault is a yes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.contract.calls import Answer, Call, hold, in_process
from tests.engines.cutting.programs import get_pack, plan
from tests.engines.cutting.test_toolpath import draw_bittings

BITTING = "2 1 3 4 2 2 1 3"
SHAPE = {
    "worst_error_mm": float,
    "root_error_mm": float,
    "gouge_mm": float,
    "within": bool,
    "good": bool,
    "findings": [{"kind": str, "line": object, "spoils": bool, "text": str}],
}


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return in_process(capsys)


@pytest.fixture
def program(tmp_path: Path, call: Call) -> Path:
    out = tmp_path / "F.nc"
    made = call(
        "cut", "plan", "--standard", "heron-8", "--bitting", BITTING, "--tool", "endmill-20", "--out", out
    )
    assert made.code == 0
    return out


def ask(call: Call, program: Path, bitting: str = BITTING, tool: str = "endmill-20", *more: object) -> Answer:
    return call("cut", "check", program, "--standard", "heron-8", "--bitting", bitting, "--tool", tool, *more)


def test_a_program_that_was_planned_is_a_yes(call: Call, program: Path) -> None:
    answer = ask(call, program, BITTING, "endmill-20", "--json")
    assert answer.code == 0
    hold(answer.data, SHAPE)
    assert answer.data["within"]
    assert answer.data["root_error_mm"] <= 0.01
    assert answer.data["gouge_mm"] <= 0.005
    # What the mill's radius of 1 mm leaves in hollow corners of 45 degrees.
    assert answer.data["worst_error_mm"] == pytest.approx(0.0898, abs=0.001)


def test_a_program_for_another_bitting_is_a_no(call: Call, program: Path) -> None:
    answer = ask(call, program, "2 1 3 4 2 2 2 3", "endmill-20", "--json")
    assert answer.code == 1
    assert not answer.data["within"]
    assert answer.data["root_error_mm"] == pytest.approx(0.6, abs=0.001)
    said = ask(call, program, "2 1 3 4 2 2 2 3")
    assert said.code == 1
    assert "NOT within" in said.out
    assert "FAULT: a root is 0.600 mm off" in said.out


def test_a_key_within_tolerance_from_a_program_that_crashes_is_a_no(call: Call, program: Path) -> None:
    text = program.read_text()
    program.write_text(text.replace("\nM3", "\nG0 Z-1\nG0 Z5\nM3", 1).replace("G1 ", "G01 "))
    before = ask(call, program, BITTING, "endmill-20", "--json")
    assert before.code == 0
    program.write_text(text.replace("\nM3", "\nG0 Y5\nG0 Z-1\nG0 Z5\nM3", 1))
    answer = ask(call, program, BITTING, "endmill-20", "--json")
    assert answer.code == 1
    assert {"rapid"} <= {finding["kind"] for finding in answer.data["findings"] if finding["spoils"]}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no move"),
        ("G21 G90 G17\nG0 X1 Y1 Z1\n", "FRAME"),
        ("(FRAME x=+X h=+Y n=+Z)\n(ORIGIN X0 Y0 Z0)\n(POINT end-centre)\nG21 G0 X0 Y0 Z0\nG1 X1 Q5 F5", "Q5"),
    ],
)
def test_what_is_no_program_is_unreadable(call: Call, tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "a.nc"
    path.write_text(text)
    answer = ask(call, path)
    assert answer.code == 2
    assert says in answer.err
    assert str(path) in answer.err


def test_a_file_that_is_not_there_and_a_tool_unknown_are_bad_usage(call: Call, program: Path) -> None:
    assert ask(call, program.with_name("none.nc")).code == 2
    answer = ask(call, program, BITTING, "wheel-1")
    assert answer.code == 2
    assert "wheel-90" in answer.err


def test_a_wheel_for_a_track_is_a_no_with_the_reason(call: Call, program: Path) -> None:
    bitting = "1 2 1 3 1 2"
    answer = call(
        "cut", "check", program, "--standard", "eddy-6", "--bitting", bitting, "--tool", "wheel-90", "--json"
    )
    assert answer.code == 1
    assert answer.data["within"] is False
    assert answer.data["worst_error_mm"] is None
    assert any("groove" in warning for warning in answer.data["warnings"])


def test_the_edge_of_a_split_blade_is_chosen(call: Call, tmp_path: Path) -> None:
    standard, cutter = get_pack().blades["alder-8"], get_pack().tools["wheel-84"]
    bitting = next(b for b in draw_bittings(standard, 20, seed=2) if b.edges[0] != b.edges[1])
    path = tmp_path / "b.nc"
    path.write_text(plan(standard, bitting, cutter, edge=1))
    words = " / ".join(" ".join(standard.labels[cut or 0] for cut in edge) for edge in bitting.edges)
    asked = ("cut", "check", path, "--standard", "alder-8", "--bitting", words, "--tool", "wheel-84")
    assert call(*asked, "--edge", "B").code == 0
    assert call(*asked, "--edge", "A").code == 1
    assert call(*asked).code == 1
    assert call(*asked, "--edge", "C").code == 2
    single = ("--standard", "heron-8", "--bitting", BITTING, "--tool", "wheel-84")
    assert "only a split blade" in call("cut", "check", path, *single, "--edge", "B").err
