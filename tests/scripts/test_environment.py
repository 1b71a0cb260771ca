"""The project's own environment: made once, renewed when its lock changes, never robbed of its test tools."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.architecture.places import ROOT, load_script


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return an empty project folder that the script takes for its own; installing is only noted down."""
    script = load_script("environment")
    (tmp_path / "requirements").mkdir()
    for name in ("core", "test"):
        (tmp_path / "requirements" / f"{name}.txt").write_text(f"{name}==1\n")
    (tmp_path / "pyproject.toml").write_text("")
    venv = tmp_path / ".venv"
    for name, value in {
        "ROOT": tmp_path,
        "VENV": venv,
        "PYTHON": venv / "bin" / "python",
        "STAMP": venv / "bittern-setup.json",
        "LOCKS": {name: tmp_path / "requirements" / f"{name}.txt" for name in ("core", "test")},
        "use_wanted_python": lambda: None,
    }.items():
        monkeypatch.setattr(script, name, value)
    return tmp_path


@pytest.fixture
def installed(project: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the names of the locks that were installed, in order, filled as the script goes."""
    script = load_script("environment")
    done: list[str] = []

    def install(lock: Path) -> None:
        done.append(lock.stem)
        (project / ".venv" / "bin").mkdir(parents=True, exist_ok=True)
        for name in ("python", "bittern", *(["pytest"] if lock.stem == "test" else [])):
            (project / ".venv" / "bin" / name).touch()

    monkeypatch.setattr(script, "make_environment", lambda: None)
    monkeypatch.setattr(script, "install_locked", install)
    monkeypatch.setattr(script, "install_project", lambda: None)
    return done


def test_a_second_setup_installs_nothing(installed: list[str]) -> None:
    script = load_script("environment")
    script.prepare("core")
    script.prepare("core")
    assert installed == ["core"]


def test_tests_after_a_core_setup_add_the_test_tools(installed: list[str]) -> None:
    script = load_script("environment")
    script.prepare("core")
    script.prepare("test")
    assert installed == ["core", "test"]


def test_core_after_tests_keeps_the_test_tools(installed: list[str]) -> None:
    script = load_script("environment")
    script.prepare("test")
    script.prepare("core")
    assert installed == ["test"]


@pytest.mark.parametrize("name", ["requirements/core.txt", "requirements/test.txt", "pyproject.toml"])
def test_a_change_of_what_it_was_made_from_renews_it(installed: list[str], project: Path, name: str) -> None:
    script = load_script("environment")
    script.prepare("core")
    (project / name).write_text("changed==2\n")
    script.prepare("core")
    assert installed == ["core", "core"]


def test_a_renewal_keeps_the_test_tools(installed: list[str], project: Path) -> None:
    script = load_script("environment")
    script.prepare("test")
    (project / "requirements" / "core.txt").write_text("changed==2\n")
    script.prepare("core")
    assert installed == ["test", "test"]


def test_a_setup_that_was_broken_off_is_done_again(
    installed: list[str], project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = load_script("environment")

    def break_off() -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(script, "install_project", break_off)
        with pytest.raises(KeyboardInterrupt):
            script.prepare("test")
    assert not script.is_ready("core")
    script.prepare("core")
    assert installed == ["test", "test"], "the test tools were already there and stay"


def test_a_renewal_that_was_broken_off_leaves_nothing_to_trust(
    installed: list[str], project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = load_script("environment")
    lock = project / "requirements" / "core.txt"
    before = lock.read_text()
    script.prepare("core")
    lock.write_text("changed==2\n")

    def break_off() -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr(script, "install_project", break_off)
        with pytest.raises(KeyboardInterrupt):
            script.prepare("core")
    # Back at the old lock, the packages are already those of the new one.
    lock.write_text(before)
    assert not script.is_ready("core")


@pytest.mark.parametrize("text", ["", "{", "[]", '{"group": "test"}', '{"group": "core", "prints": {}}'])
def test_a_damaged_stamp_counts_as_none(installed: list[str], project: Path, text: str) -> None:
    script = load_script("environment")
    script.prepare("core")
    script.STAMP.write_text(text)
    assert not script.is_ready("core")
    script.prepare("core")
    assert installed == ["core", "core"]


def test_a_moved_folder_is_set_up_again(installed: list[str], project: Path) -> None:
    script = load_script("environment")
    script.prepare("core")
    stamp = json.loads(script.STAMP.read_text())
    stamp["prints"]["folder"] += "-before"
    script.STAMP.write_text(json.dumps(stamp))
    assert not script.is_ready("core")


def test_one_package_is_taken_out_of_the_lock_with_its_hashes() -> None:
    script = load_script("environment")
    text = "a==1 \\\n    --hash=sha256:00\nuv==2 ; python_version > '3' \\\n    --hash=sha256:11 \\\n"
    text += "    --hash=sha256:22\n    # via -r core.in\nuvloop==3 \\\n    --hash=sha256:33\n"
    kept = script.extract(text, "uv")
    assert kept == "uv==2 ; python_version > '3' \\\n    --hash=sha256:11 \\\n    --hash=sha256:22\n"


def test_uv_is_in_the_real_lock_with_hashes() -> None:
    script = load_script("environment")
    for lock in script.LOCKS.values():
        kept = script.extract(lock.read_text(), "uv")
        assert kept.startswith("uv==")
        assert kept.count("--hash=sha256:") > 1


@pytest.fixture
def outdated(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Take this Python for another version; return the folder that is the whole search path."""
    script = load_script("environment")
    monkeypatch.setattr(script.sys, "version_info", (3, 12, 4))
    monkeypatch.setattr(script.sys, "argv", ["scripts/setup.py", "word"])
    monkeypatch.setenv("PATH", str(tmp_path))
    return tmp_path


def write_program(path: Path, code: int) -> None:
    """Write a program that ends with ``code``."""
    path.write_text(f"#!/bin/sh\nexit {code}\n")
    path.chmod(0o755)


def test_another_python_gives_way_to_3_11(outdated: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class BecameError(Exception):
        """Stands for the process that is no more."""

    def become(program: str, arguments: list[str]) -> None:
        raise BecameError(program, arguments)

    write_program(outdated / "python3.11", 0)
    script = load_script("environment")
    monkeypatch.setattr(script.os, "execv", become)
    with pytest.raises(BecameError) as became:
        script.use_wanted_python()
    other = str(outdated / "python3.11")
    assert became.value.args == (other, [other, "scripts/setup.py", "word"])


@pytest.mark.parametrize("wrapper", [False, True], ids=["none", "a wrapper for a version not installed"])
def test_without_3_11_one_clear_line_says_so(
    outdated: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], wrapper: bool
) -> None:
    script = load_script("environment")
    monkeypatch.setattr(script.os, "execv", lambda *_: pytest.fail("became a Python that does not run"))
    if wrapper:
        write_program(outdated / "python3.11", 127)
    with pytest.raises(SystemExit) as stopped:
        script.use_wanted_python()
    assert stopped.value.code == 2
    written = capsys.readouterr().err
    assert written.count("\n") == 1
    assert "3.12.4" in written
    assert "needs Python 3.11" in written


def test_the_scripts_use_the_standard_library_alone() -> None:
    """A fresh machine has nothing else; so they must import without the environment's packages."""
    names = ["environment", "system_packages", "setup", "demo", "test", "bench", "study", "shots", "runner"]
    for name in names:
        code = f"import sys; sys.path.insert(0, {str(ROOT / 'scripts')!r}); import {name}"
        # -S leaves out site-packages, -I whatever the machine adds.
        done = subprocess.run(
            [sys.executable, "-I", "-S", "-c", code], capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, f"{name}: {done.stderr}"
