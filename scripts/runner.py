"""Runs the ``main()`` of benchmark and study files, each in a process of its own."""

from __future__ import annotations

from pathlib import Path

import environment
from environment import say

# A process each: no file measures with another's memory, imports or random state.
CALL = "import runpy, sys; raise SystemExit(runpy.run_path(sys.argv[1])['main']())"


def run_files(files: list[Path]) -> int:
    """Run ``main()`` of each file under a heading; return 1 when one failed, else 0."""
    failed = []
    for path in files:
        say("")
        say(f"== {path.relative_to(environment.ROOT)}")
        if environment.run_in_environment(["python", "-c", CALL, str(path)]):
            failed.append(path.name)
    if failed:
        say("")
        say(f"failed: {', '.join(failed)}")
    return 1 if failed else 0


def find_files(folder: Path) -> tuple[list[Path], list[Path]]:
    """Return the benchmarks and the studies of ``folder``, each in order of name."""
    files = sorted(path for path in folder.glob("*.py") if not path.name.startswith("_"))
    studies = [path for path in files if path.name.startswith("study_")]
    return [path for path in files if path not in studies], studies
