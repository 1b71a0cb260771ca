"""Words that have no place in the project, wherever they stand, and names of modules that say nothing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.architecture.places import ROOT, find_python, find_texts, name_of

# Written in pieces, so that this file does not find itself.
FORBIDDEN = {
    "a path of one machine": r"(?<![\w.])/(?:wor" + r"k|roo" + r"t|hom" + r"e/\w+)/\w",
    "the host of a package registry": r"(?i)\b(?:py" + r"pi\.org|files\.python" + r"hosted|registry\.npm"
    r"js|deb\.deb" + r"ian\.org|npm" + r"js\.com)\b",
    "an unfinished thought": r"\b(?:TO" + r"DO|FIX" + r"ME|XX" + r"X|HA" + r"CK)\b",
    "an unresolved merge": r"^(?:<{7}|>{7}) ",
}  # fmt: skip
EMPTY_NAMES = {"util", "utils", "helper", "helpers", "common", "misc", "manager", "managers", "stuff"}


def find_words(text: str) -> list[str]:
    """Return a line for each forbidden word in ``text``."""
    return [
        f"line {text.count(chr(10), 0, match.start()) + 1}: {why}: {match.group(0)!r}"
        for why, pattern in FORBIDDEN.items()
        for match in re.finditer(pattern, text, re.MULTILINE)
    ]


def test_no_file_says_what_it_should_not() -> None:
    faults = [
        f"{name_of(path)}: {fault}"
        for path in find_texts()
        # Files of others are listed and unchanged (test_vendor.py): their words are their own.
        if "/static/vendor/" not in name_of(path) or path.name == "vendor.json"
        for fault in find_words(path.read_text(errors="replace"))
    ]
    assert faults == []


@pytest.mark.parametrize(
    "text",
    [
        "see /wor" + "k/main",
        "# TO" + "DO later",
        "https://py" + "pi.org/simple",
        "a\n<<<<<<< HEAD\n",
        "/hom" + "e/me/x",
    ],
)
def test_a_forbidden_word_is_found(text: str) -> None:
    assert find_words(text)


@pytest.mark.parametrize(
    "text", ["the worktop/bench", "a hackle", "docs/home/start", "~/bittern", "tests/work/x"]
)
def test_ordinary_words_are_left_alone(text: str) -> None:
    assert find_words(text) == []


def test_modules_are_named_by_their_subject() -> None:
    empty = [name_of(path) for path in find_python("src", "scripts", "tests") if path.stem in EMPTY_NAMES]
    assert empty == []


def test_the_project_is_read_as_a_whole() -> None:
    names = {name_of(path) for path in find_texts()}
    assert {"README.md", "Makefile", "pyproject.toml", ".ci/run", "requirements/core.txt"} <= names
    assert name_of(Path(__file__)) in names
    assert (ROOT / "LICENSE").read_text().count("Apache License") > 0
