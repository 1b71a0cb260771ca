"""The doors of the house: make's targets, the script of continuous integration, what the README promises."""

from __future__ import annotations

import doctest
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tests.architecture.places import ROOT, SCRIPTS, load_script


@pytest.mark.parametrize("target", ["setup", "demo", "test", "bench", "study", "shots"])
def test_each_target_is_one_script(target: str) -> None:
    done = subprocess.run(
        ["make", "--dry-run", "--no-print-directory", target],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == f"python3 scripts/{target}.py\n"
    assert (SCRIPTS / f"{target}.py").is_file()


def test_continuous_integration_runs_make_test_and_nothing_less() -> None:
    script = ROOT / ".ci" / "run"
    lines = [line for line in script.read_text().splitlines() if line and not line.startswith("# ")]
    assert lines == [
        "#!/usr/bin/env bash",
        "set -euo pipefail",
        'cd "$(dirname "${BASH_SOURCE[0]}")/.."',
        "exec make test",
    ]
    assert os.access(script, os.X_OK)


def test_continuous_integration_hands_on_the_exit_code_from_any_folder(tmp_path: Path) -> None:
    make = tmp_path / "make"
    make.write_text(f"#!/bin/sh\npwd > {tmp_path}/where\necho $* > {tmp_path}/words\nexit 7\n")
    make.chmod(0o755)
    path = f"{tmp_path}:{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", str(ROOT / ".ci" / "run")],
        cwd=tmp_path,
        env={**os.environ, "PATH": path, "CI": "true"},
        stdin=subprocess.DEVNULL,
        check=False,
    )
    assert done.returncode == 7
    assert (tmp_path / "where").read_text().strip() == str(ROOT)
    assert (tmp_path / "words").read_text() == "test\n"


@pytest.mark.parametrize("port", ["http", "65536", "-1", "8 000"])
def test_a_port_that_is_none_is_refused_before_anything_is_made(port: str) -> None:
    done = subprocess.run(
        [sys.executable, str(SCRIPTS / "demo.py")],
        env={**os.environ, "PORT": port},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert repr(port) in done.stderr


def test_an_unknown_section_is_refused_before_anything_is_made() -> None:
    done = subprocess.run(
        [sys.executable, str(SCRIPTS / "test.py"), "everything"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "no section 'everything'" in done.stderr


@pytest.mark.parametrize(("codes", "expected"), [({}, 0), ({"types": 1}, 1), ({"lint": 1, "tests": 5}, 1)])
def test_every_section_is_run_and_one_failure_fails_all(
    codes: dict[str, int],
    expected: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    script = load_script("test")
    ran: list[str] = []

    def run(section: object) -> tuple[int, float]:
        name = str(section.name)  # type: ignore[attr-defined]
        ran.append(name)
        return codes.get(name, 0), 1.0

    monkeypatch.setattr(script, "run", run)
    monkeypatch.setattr(script.environment, "prepare", lambda group: ran.append(f"prepare {group}"))
    monkeypatch.setattr(script.system_packages, "find_missing", list)
    assert script.main([]) == expected
    assert ran == ["prepare test", "lint", "format", "types", "imports", "store", "tests"]
    summary = capsys.readouterr().out.split("== Summary\n")[1].splitlines()
    assert [line.split()[1] for line in summary if line.startswith("FAILED")] == sorted(codes)


def test_the_readme_gives_the_two_commands_each_alone_on_a_line() -> None:
    lines = (ROOT / "README.md").read_text().splitlines()
    assert lines.index("make demo") < lines.index("make test")


def test_what_the_readme_links_to_is_there() -> None:
    for page in (ROOT / "README.md", ROOT / "CONTRIBUTING.md", ROOT / "docs" / "index.md"):
        for link in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text()):
            assert (page.parent / link).exists(), f"{page.name}: {link}"


def read_blocks(language: str) -> list[str]:
    """Return the README's code blocks of one language."""
    return re.findall(
        rf"^```{language}\n(.*?)^```$", (ROOT / "README.md").read_text(), re.MULTILINE | re.DOTALL
    )


def test_the_readme_s_library_example_does_what_it_shows() -> None:
    (block,) = read_blocks("python")
    example = doctest.DocTestParser().get_doctest(block, {}, "README", "README.md", 0)
    assert len(example.examples) > 5
    flags = doctest.ELLIPSIS | doctest.IGNORE_EXCEPTION_DETAIL
    assert doctest.DocTestRunner(optionflags=flags).run(example).failed == 0


def test_the_readme_s_commands_do_what_they_say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from bittern.cli.main import main

    (evidence,) = read_blocks("json")
    (commands,) = read_blocks("sh")
    (tmp_path / "evidence.json").write_text(evidence)
    monkeypatch.chdir(tmp_path)
    lines = [shlex.split(line) for line in commands.splitlines()]
    assert {line[0] for line in lines} == {"bittern"}
    assert [line for line in lines if main(line[1:]) != 0] == []
    assert (tmp_path / "heron.svg").stat().st_size > 0
