"""``bittern pack``."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bittern.cli.main import main
from bittern.demo import PACK_DIR
from tests.formats.test_packs import DAMAGED, MINIMAL

Capture = pytest.CaptureFixture[str]


def run(capsys: Capture, *words: str) -> tuple[int, str, str]:
    """Return exit code, standard output and standard error of ``bittern pack check``."""
    code = main(["pack", "check", *words])
    shown = capsys.readouterr()
    return code, shown.out, shown.err


def test_sound_pack_is_exit_0_with_its_counts(capsys: Capture) -> None:
    code, out, err = run(capsys, str(MINIMAL), "--json")
    counts = {"articles": 2, "fitments": 2, "blades": 1, "tools": 1, "runsheets": 1, "numbers": 1}
    assert (code, err) == (0, "")
    assert json.loads(out) == {"ok": True, "faults": [], "counts": counts}


def test_demo_pack_is_sound(capsys: Capture) -> None:
    code, out, err = run(capsys, str(PACK_DIR), "--json")
    assert (code, err, json.loads(out)["ok"]) == (0, "", True)


@pytest.mark.parametrize("folder", DAMAGED, ids=lambda folder: folder.name)
def test_damaged_pack_is_exit_1_with_every_fault(capsys: Capture, folder: Path) -> None:
    expected = json.loads((folder / "faults.json").read_text(encoding="utf-8"))
    code, out, err = run(capsys, str(folder), "--json")
    data = json.loads(out)
    assert (code, err, data["ok"]) == (1, "", False)
    assert data["faults"] == expected
    code, out, err = run(capsys, str(folder))
    assert (code, err) == (1, "")
    lines = out.splitlines()
    assert len(lines) == len(expected) + 1
    for line, fault in zip(lines, expected, strict=False):
        assert all(fault[key] in line for key in ("file", "where", "found", "expected"))


@pytest.mark.parametrize("as_json", [(), ("--json",)])
def test_unreadable_pack_is_exit_2_with_one_line(
    capsys: Capture, tmp_path: Path, as_json: tuple[str, ...]
) -> None:
    (tmp_path / "pack.toml").write_bytes(b"\xff\xfe")
    for folder in (tmp_path, tmp_path / "nothing", MINIMAL / "pack.toml"):
        code, out, err = run(capsys, str(folder), *as_json)
        assert (code, out) == (2, "")
        assert err.startswith("bittern: ")
        assert err.count("\n") == 1
        assert str(folder) in err


def test_no_folder_is_bad_usage(capsys: Capture) -> None:
    code, out, err = run(capsys)
    assert (code, out) == (2, "")
    assert "DIR" in err
