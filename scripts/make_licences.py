"""Writes docs/reference/licences.md: what Bittern stands on, under the licences that the packages state.

Run in the environment: ``.venv/bin/python scripts/make_licences.py``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "requirements" / "core.txt"
PAGE = ROOT / "docs" / "reference" / "licences.md"
PINNED = re.compile(r"^([a-z0-9._-]+)==(\S+)(?: ; (.+?))? \\$", re.MULTILINE)
# What other packages carry inside them and the bench sends to browsers.
INSIDE = {"django-htmx": "htmx 2.0.10, licence 0BSD, sent to browsers by the bench"}
# Locked for other systems only, so that this one cannot ask them: from their own packages.
ELSEWHERE = {"colorama": "BSD-3-Clause", "tzdata": "Apache-2.0"}


@dataclass(frozen=True)
class Part:
    """One locked package."""

    name: str
    version: str
    licence: str
    remark: str = ""


def read_lock() -> list[tuple[str, str, str]]:
    """Return name, version and marker of every package in the core lock."""
    return [(name, version, marker) for name, version, marker in PINNED.findall(LOCK.read_text())]


def find_parts() -> Iterator[Part]:
    """Yield every locked package with its licence; those for other systems are marked as such."""
    for name, version, marker in read_lock():
        remark = INSIDE.get(name, "")
        try:
            data = metadata.metadata(name)
        except metadata.PackageNotFoundError:
            yield Part(name, version, ELSEWHERE[name], f"only where `{marker}`")
            continue
        if marker:
            remark = "; ".join(filter(None, [remark, f"where `{marker}`"]))
        yield Part(name, version, find_licence(data), remark)


def find_licence(data: metadata.PackageMetadata) -> str:
    """Return the licence a package states: its expression, else its classifiers, else its free text."""
    expression = data.get("License-Expression")
    if expression:
        return str(expression)
    classified = [
        line.split(" :: ")[-1] for line in data.get_all("Classifier") or [] if line.startswith("License ::")
    ]
    if classified:
        return ", ".join(classified)
    text = str(data.get("License") or "").strip()
    if not text:
        raise SystemExit(f"licences: {data['Name']} states none")
    return text.splitlines()[0]


def write_page() -> str:
    """Return the page."""
    rows = "".join(
        f"| {part.name} | {part.version} | {part.licence} | {part.remark} |\n" for part in find_parts()
    )
    return (
        "<!-- Written by scripts/make_licences.py from the installed packages; change it there. -->\n\n"
        "# Licences\n\n"
        "Bittern itself is licensed under the Apache License 2.0 (see [LICENSE](../../LICENSE)). It stands\n"
        "on the packages below, installed beside it and not copied into it, under the licences they state.\n"
        "The full texts lie with each package, in its `*.dist-info` folder inside `.venv`.\n\n"
        "| package | version | licence | |\n|---|---|---|---|\n" + rows + "\n"
        "Files of others that are copied into this repository are listed, with version, licence and hash,\n"
        "in `src/bittern/bench/static/vendor/vendor.json`.\n"
    )


if __name__ == "__main__":
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(write_page(), encoding="utf-8")
    print(PAGE.relative_to(ROOT))
