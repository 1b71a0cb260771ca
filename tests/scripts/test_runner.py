"""Benchmarks and studies: all are run, each by itself, and a failure of one is the exit code of all."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.architecture.places import load_script


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder of benchmark files inside what the script takes for the project."""
    runner = load_script("runner")
    (tmp_path / "bench").mkdir()
    monkeypatch.setattr(runner.environment, "ROOT", tmp_path)
    return tmp_path / "bench"


def write_main(path: Path, body: str) -> Path:
    """Write a benchmark file whose ``main`` does ``body``."""
    path.write_text(f"def main():\n    {body}\n\n\nif __name__ == '__main__':\n    main()\n")
    return path


def test_every_file_is_run_once_and_in_order(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    files = [write_main(folder / f"{name}.py", f"print('table {name}')") for name in ("one", "two")]
    assert load_script("runner").run_files(files) == 0
    lines = [line for line in capfd.readouterr().out.splitlines() if line]
    assert lines == ["== bench/one.py", "table one", "== bench/two.py", "table two"]


@pytest.mark.parametrize("body", ["raise ValueError", "return 3", "import sys; sys.exit('no')"])
def test_a_failure_does_not_stop_the_rest_and_is_told(
    folder: Path, capfd: pytest.CaptureFixture[str], body: str
) -> None:
    files = [write_main(folder / "bad.py", body), write_main(folder / "good.py", "print('table')")]
    assert load_script("runner").run_files(files) == 1
    written = capfd.readouterr().out
    assert "table" in written
    assert written.rstrip().endswith("failed: bad.py")


def test_studies_are_told_from_benchmarks(folder: Path) -> None:
    for name in ("_shared.py", "page.py", "study_reading.py", "table.csv"):
        (folder / name).touch()
    benchmarks, studies = load_script("runner").find_files(folder)
    assert [path.name for path in benchmarks] == ["page.py"]
    assert [path.name for path in studies] == ["study_reading.py"]
