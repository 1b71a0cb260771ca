"""``bittern cut plan``: files that are right, refusals without a file, and a spoilt file that goes again."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bittern.work import cutting
from tests.cli.contract.calls import Call, hold, in_process, nullable

BITTING = "4 2 1 3 4 2 2 1"
SHAPE = {
    "out": nullable(str),
    "length_mm": nullable(float),
    "time_s": nullable(float),
    "worst_error_mm": nullable(float),
    "root_error_mm": nullable(float),
    "gouge_mm": nullable(float),
    "warnings": [str],
    "cutters": [str],
}
HERON = ("cut", "plan", "--standard", "heron-8", "--bitting", BITTING)
ALDER = ("cut", "plan", "--standard", "alder-8", "--bitting", "D B A C D B B A / A A B C D B B A")


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return in_process(capsys)


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "key.nc"


@pytest.mark.parametrize("tool", ["wheel-90", "wheel-84", "endmill-10", "endmill-20"])
def test_a_program_is_kept_that_leaves_the_blade_right(call: Call, out: Path, tool: str) -> None:
    answer = call(*HERON, "--tool", tool, "--out", out, "--job", "J-1027", "--json")
    assert answer.code == 0
    hold(answer.data, SHAPE)
    data = answer.data
    assert data["out"] == str(out)
    assert data["root_error_mm"] <= 0.05 / 5
    assert data["gouge_mm"] <= 0.005
    assert data["worst_error_mm"] < 0.1
    assert 60 * data["cutting_min"] < data["time_s"]
    text = out.read_text(encoding="ascii")
    assert text.startswith("(JOB J-1027)\n")
    assert BITTING not in text
    assert f"S{data['speed_rpm']:.0f}" in text
    cut = re.search(r"F(\d+)$", text, re.MULTILINE)
    assert cut is not None
    spoken = call(*HERON, "--tool", tool, "--out", out)
    assert spoken.code == 0
    assert "eye protection" in spoken.out
    assert all(f"Note: {warning}." in spoken.out for warning in data["warnings"])


def test_both_edges_of_a_split_blade_have_a_program(call: Call, tmp_path: Path) -> None:
    texts = {}
    for edge in "AB":
        out = tmp_path / f"{edge}.nc"
        answer = call(*ALDER, "--tool", "wheel-100", "--edge", edge, "--out", out, "--json")
        assert answer.code == 0
        assert any(f"this is edge {edge}" in warning for warning in answer.data["warnings"])
        texts[edge] = out.read_text()
        assert f"(EDGE {edge} UP)" in texts[edge]
    assert texts["A"] != texts["B"]
    call(*ALDER, "--tool", "wheel-100", "--out", tmp_path / "plain.nc", "--json")
    assert (tmp_path / "plain.nc").read_text() == texts["A"]


def test_what_is_left_to_do_for_a_mirror_blade_is_said(call: Call, out: Path) -> None:
    answer = call(
        "cut", "plan", "--standard", "reed-6", "--bitting", "1 2 3 4 3 2", "--tool", "wheel-90",
        "--out", out, "--json",
    )  # fmt: skip
    assert answer.code == 0
    assert any("run the program again" in warning for warning in answer.data["warnings"])


def test_a_cutter_that_cannot_make_the_blade_gives_no_file_and_names_those_that_can(
    call: Call, out: Path
) -> None:
    answer = call(*HERON, "--tool", "wheel-100", "--out", out, "--json")
    assert answer.code == 1
    hold(answer.data, SHAPE)
    assert answer.data["out"] is None
    assert answer.data["cutters"] == ["endmill-10", "endmill-15", "endmill-20", "wheel-84", "wheel-90"]
    assert "wider than the cut's 90" in answer.data["warnings"][0]
    assert "wheel-84, wheel-90" in answer.data["warnings"][1]
    assert not out.exists()
    out.write_text("kept")
    again = call(*HERON, "--tool", "wheel-100", "--out", out)
    assert (again.code, again.out, out.read_text()) == (1, "", "kept")
    assert "is from before" in again.err


def test_a_machine_that_cannot_go_there_gives_no_file(call: Call, out: Path, tmp_path: Path) -> None:
    profile = tmp_path / "mill.toml"
    profile.write_text('id = "small"\n[travel]\nX = [0.0, 20.0]\n')
    answer = call(*HERON, "--tool", "wheel-90", "--machine", profile, "--out", out, "--json")
    assert answer.code == 1
    assert "0 to 20 mm" in answer.data["warnings"][0]
    assert not out.exists()


def test_a_profile_speaks_in_the_program(call: Call, out: Path, tmp_path: Path) -> None:
    profile = tmp_path / "mill.toml"
    profile.write_text('id = "mill"\n[frame]\nx = "-X"\nh = "-Y"\n[words]\npercent = true\narcs = false\n')
    answer = call(*HERON, "--tool", "endmill-15", "--machine", profile, "--out", out, "--json")
    assert answer.code == 0
    text = out.read_text()
    assert text.startswith("%\n")
    assert "(FRAME x=-X h=-Y n=+Z)" in text
    assert "G2 " not in text
    assert answer.data["gouge_mm"] <= 0.005


def test_a_file_that_spoils_the_key_is_removed(
    call: Call, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = cutting.write_program

    def write_wrong(*words: object, **options: object) -> str:
        # One point half a millimetre too deep.
        return re.sub(r"(?m)^(G1 .*Y)6\.200", r"\g<1>5.700", write(*words, **options))  # type: ignore[arg-type]

    monkeypatch.setattr(cutting, "write_program", write_wrong)
    answer = call(*HERON, "--tool", "wheel-90", "--out", out, "--json")
    assert answer.code == 1
    hold(answer.data, SHAPE)
    assert answer.data["out"] is None
    assert answer.data["gouge_mm"] == pytest.approx(0.5, abs=0.001)
    assert any("was removed" in warning for warning in answer.data["warnings"])
    assert not out.exists()


def test_a_file_that_cannot_be_read_back_is_removed(
    call: Call, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = cutting.write_program

    def write_broken(*words: object, **options: object) -> str:
        return write(*words, **options).replace("(FRAME", "(FRAM")  # type: ignore[arg-type]

    monkeypatch.setattr(cutting, "write_program", write_broken)
    call(*HERON, "--tool", "wheel-90", "--out", out, "--json").refuse()
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tool", "saw"), "--tool"),
        (("--tool", "wheel-90", "--edge", "B"), "--edge"),
        (("--tool", "wheel-90", "--material", "wood"), "--material"),
        (("--tool", "wheel-90", "--milling", "up"), "--milling"),
        (("--tool", "wheel-90", "--feed", "0"), "--feed"),
        (("--tool", "wheel-90", "--speed", "nan"), "--speed"),
        (("--tool", "wheel-90", "--depth-of-cut", "-1"), "--depth-of-cut"),
        (("--tool", "wheel-90", "--job", "7" * 65), "--job"),
        (("--tool", "wheel-90", "--machine", "/nowhere.toml"), "/nowhere.toml"),
    ],
)
def test_bad_usage_is_one_line(call: Call, out: Path, words: tuple[str, ...], said: str) -> None:
    assert said in call(*HERON, *words, "--out", out, "--json").refuse()
    assert not out.exists()


def test_unknown_cuts_and_places_that_cannot_be_written_are_refused(call: Call, tmp_path: Path) -> None:
    words = ("cut", "plan", "--standard", "heron-8", "--tool", "wheel-90")
    assert (
        "unknown cut 2" in call(*words, "--bitting", "4 ? 1 3 4 2 2 1", "--out", tmp_path / "a.nc").refuse()
    )
    assert "cannot be written" in call(*words, "--bitting", BITTING, "--out", tmp_path).refuse()
    broken = call(*words, "--bitting", "4 1 1 1 1 2 2 1", "--out", tmp_path / "a.nc", "--json")
    assert (broken.code, broken.data["out"]) == (1, None)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("tool", ["endmill-10", "endmill-20"])
def test_a_track_is_planned(call: Call, out: Path, tool: str) -> None:
    answer = call(
        "cut",
        "plan",
        "--standard",
        "eddy-6",
        "--bitting",
        "1 2 3 4 3 2",
        "--tool",
        tool,
        "--out",
        out,
        "--json",
    )
    assert answer.code == 0
    assert answer.data["root_error_mm"] <= 0.06 / 5
    assert out.exists()
