"""``bittern cut solid``: GLB, DXF and SVG of a cut key."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.contract.calls import Call, in_process

BITTING = "2 1 3 4 2 2 1 3"


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return in_process(capsys)


@pytest.mark.parametrize(
    ("ending", "first", "facts"),
    [
        ("glb", b"glTF", {"triangles", "volume_mm3"}),
        ("dxf", b"999", {"lines", "arcs"}),
        ("SVG", b"<svg", {"lines", "arcs"}),
    ],
)
def test_each_ending_is_its_format(
    call: Call, tmp_path: Path, ending: str, first: bytes, facts: set[str]
) -> None:
    out = tmp_path / f"key.{ending}"
    answer = call("cut", "solid", "--standard", "heron-8", "--bitting", BITTING, "--out", out, "--json")
    assert answer.code == 0
    assert out.read_bytes().startswith(first)
    assert answer.data["out"] == str(out)
    assert facts <= set(answer.data)
    said = call("cut", "solid", "--standard", "heron-8", "--bitting", BITTING, "--out", out)
    assert said.out.startswith(f"Wrote {out}: ")


def test_what_cannot_be_written_is_said(call: Call, tmp_path: Path) -> None:
    asked = ("cut", "solid", "--standard", "heron-8", "--bitting", BITTING, "--out")
    assert "'key.stl'" in call(*asked, tmp_path / "key.stl").err
    answer = call(*asked, tmp_path / "none" / "key.glb")
    assert answer.code == 2
    assert "none/key.glb" in answer.err


def test_a_bitting_against_the_rules_is_a_no(call: Call, tmp_path: Path) -> None:
    out = tmp_path / "key.glb"
    answer = call(
        "cut", "solid", "--standard", "heron-8", "--bitting", "1 4 1 1 1 1 1 1", "--out", out, "--json"
    )
    assert answer.code == 1
    assert answer.data["out"] is None
    assert not out.exists()
