"""What comes from Debian's packages: said first, installed only when missing, never skipped in silence."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.architecture.places import load_script


@pytest.fixture
def bare(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder that is the whole search path: a machine with nothing but what a test puts there."""
    monkeypatch.setenv("PATH", str(tmp_path))
    return tmp_path


def put(folder: Path, name: str, text: str) -> None:
    """Put a shell script into the search path."""
    (folder / name).write_text(f"#!/bin/sh\n{text}\n")
    (folder / name).chmod(0o755)


@pytest.fixture
def apt(bare: Path) -> Path:
    """Put an ``apt-get`` that only notes how it was called; return its notes."""
    notes = bare / "notes"
    put(
        bare,
        "apt-get",
        f'echo "$DEBIAN_FRONTEND $*" >> {notes}\n[ "$1" != "install" ] || exit ${{APT_CODE:-0}}',
    )
    (bare / "env").symlink_to("/usr/bin/env")
    return notes


@pytest.fixture
def as_root(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take the person for root."""
    monkeypatch.setattr(load_script("system_packages").os, "geteuid", lambda: 0)


@pytest.mark.usefixtures("as_root")
def test_missing_packages_are_named_with_their_reason_and_installed(
    apt: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    script = load_script("system_packages")
    assert script.install({"chromium": "the browser tests drive it"}, who="test")
    written = capfd.readouterr().out
    assert "test: chromium is missing: the browser tests drive it\n" in written
    assert "test: installing from Debian's packages: chromium\n" in written
    assert apt.read_text().splitlines() == [
        "noninteractive update -qq",
        "noninteractive install -y -qq --no-install-recommends chromium",
    ]


@pytest.mark.usefixtures("as_root")
def test_nothing_missing_installs_and_says_nothing(apt: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert load_script("system_packages").install({}, who="test")
    assert capfd.readouterr().out == ""
    assert not apt.exists()


@pytest.mark.usefixtures("as_root")
def test_a_failed_install_is_said_and_told(
    apt: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("APT_CODE", "100")
    assert not load_script("system_packages").install({"postgresql": "why"}, who="test")
    assert "apt-get install failed" in capfd.readouterr().out
    assert len(apt.read_text().splitlines()) == 2


@pytest.mark.usefixtures("as_root", "bare")
def test_without_apt_the_lack_is_said(capfd: pytest.CaptureFixture[str]) -> None:
    assert not load_script("system_packages").install({"postgresql": "why"}, who="test")
    written = capfd.readouterr().out
    assert "there is no apt-get here" in written
    assert "postgresql will fail" in written


def test_who_is_not_root_installs_by_sudo_without_waiting_for_a_password(
    apt: Path, bare: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = load_script("system_packages")
    monkeypatch.setattr(script.os, "geteuid", lambda: 1000)
    monkeypatch.setattr(script.sys, "stdin", None)
    put(bare, "sudo", f'echo "sudo $1" >> {apt}\nshift\nexec "$@"')
    assert script.install({"chromium": "why"}, who="test")
    assert apt.read_text().splitlines()[0] == "sudo -n"


def test_who_is_neither_root_nor_has_sudo_is_told(
    apt: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    script = load_script("system_packages")
    monkeypatch.setattr(script.os, "geteuid", lambda: 1000)
    assert not script.install({"chromium": "why"}, who="test")
    assert "this takes root or sudo" in capfd.readouterr().out
    assert not apt.exists()


def test_a_bare_machine_lacks_the_browser_fonts_and_the_database(
    bare: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = load_script("system_packages")
    monkeypatch.setattr(script, "SERVER_FOLDER", bare / "none")
    put(bare, "fc-list", "exit 0")
    assert script.find_missing() == ["chromium", "fonts-dejavu-core", "postgresql"]
    assert set(script.find_missing()) == set(script.REASONS)


def test_a_machine_that_has_all_lacks_nothing(bare: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    script = load_script("system_packages")
    put(bare, "chromium", "exit 0")
    put(bare, "fc-list", "echo /fonts/a.ttf: A:style=Book")
    (bare / "16" / "bin").mkdir(parents=True)
    (bare / "16" / "bin" / "initdb").touch()
    monkeypatch.setattr(script, "SERVER_FOLDER", bare)
    assert script.find_missing() == []
