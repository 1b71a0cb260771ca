"""``make test``: the environment with the test tools, then every check; the exit code says whether all held.

``python3 scripts/test.py lint types`` runs only the sections named.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass, field

import environment
import system_packages
from environment import say


@dataclass(frozen=True)
class Section:
    """One check: its name for the command line, what it asks, and the program that answers."""

    name: str
    title: str
    program: list[str]
    extra: dict[str, str] = field(default_factory=dict)


# The same examples each time, and no deadline that a busy machine would miss: a gate has no moods. Random
# examples are for the runs between, by pytest alone.
GATE = ["--hypothesis-profile=ci"]
# The quick ones first; pytest last, so that its closing lines are the last thing above the summary.
SECTIONS = [
    Section("lint", "Lint: ruff check", ["ruff", "check", "."]),
    Section("format", "Format: ruff format --check", ["ruff", "format", "--check", "."]),
    Section("types", "Types: mypy, strict on core, data, engines, formats and work", ["mypy"]),
    Section("imports", "Import contracts: lint-imports", ["lint-imports"]),
    Section(
        "store",
        "Store and concurrency tests on PostgreSQL",
        ["python", "-m", "tests.postgres", ".venv/bin/pytest", *GATE, "-m", "store"],
    ),
    Section(
        "tests",
        "All tests, on SQLite, the browser's among them",
        ["pytest", *GATE, "-n", "2", "--durations=10"],
    ),
]


def main(names: list[str]) -> int:
    """Run the sections named, or all, and return 0 when every one of them held."""
    known = [section.name for section in SECTIONS]
    unknown = [name for name in names if name not in known]
    if unknown:
        environment.stop(f"test: no section {unknown[0]!r}; there are {', '.join(known)}")
    environment.prepare("test")
    missing = {name: system_packages.REASONS[name] for name in system_packages.find_missing()}
    # Where this fails the tests in need of it fail too, and say so: nothing is skipped in silence.
    system_packages.install(missing, who="test")
    results = [(section, *run(section)) for section in SECTIONS if not names or section.name in names]
    say("")
    say("== Summary")
    for section, code, seconds in results:
        say(f"{'held' if code == 0 else 'FAILED':6}  {section.name:8} {seconds:5.0f} s  {section.title}")
    return 1 if any(code for _, code, _ in results) else 0


def run(section: Section) -> tuple[int, float]:
    """Run one section under its heading; return its exit code and the seconds it took."""
    say("")
    say(f"== {section.title}")
    begun = time.monotonic()
    # A database of the person's own, named in the environment, is never what the tests write to.
    os.environ.pop("BITTERN_DATABASE", None)
    # Where it sees this one, pytest writes long differences out in full, tens of thousands of lines of them.
    os.environ.pop("CI", None)
    code = environment.run_in_environment(section.program, section.extra)
    return code, time.monotonic() - begun


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
