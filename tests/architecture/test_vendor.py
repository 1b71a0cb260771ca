"""Front-end files of others: each listed in vendor.json with version, licence and hash, and unchanged."""

from __future__ import annotations

import base64
import hashlib
import json
from pathlib import Path

import pytest

from tests.architecture.places import SOURCE

VENDOR = SOURCE / "bench" / "static" / "vendor"


def find_faults(folder: Path) -> list[str]:
    """Return what is wrong with a folder of vendored files: unlisted, missing, changed, or listed in part."""
    parts = json.loads((folder / "vendor.json").read_text())
    faults = []
    listed: set[str] = set()
    for part in parts:
        lacking = [key for key in ("name", "version", "licence", "integrity", "files") if not part.get(key)]
        if lacking:
            faults.append(f"{part.get('name', '?')}: lacks {', '.join(lacking)}")
            continue
        for name, integrity in part["files"].items():
            listed.add(name)
            path = folder / name
            if not path.is_file():
                faults.append(f"{name}: listed, not there")
            elif compute_integrity(path) != integrity:
                faults.append(f"{name}: changed")
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    return faults + [f"{name}: there, not listed" for name in sorted(there - listed - {"vendor.json"})]


def compute_integrity(path: Path) -> str:
    """Return a file's hash as W3C Subresource Integrity writes it."""
    return "sha384-" + base64.b64encode(hashlib.sha384(path.read_bytes()).digest()).decode()


def test_vendored_files_are_listed_and_unchanged() -> None:
    assert find_faults(VENDOR) == []


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with one vendored file, rightly listed."""
    (tmp_path / "a.js").write_text("let a = 1\n")
    part = {
        "name": "a",
        "version": "1.0",
        "licence": "MIT",
        "integrity": "sha512-of-the-package",
        "files": {"a.js": compute_integrity(tmp_path / "a.js")},
    }
    (tmp_path / "vendor.json").write_text(json.dumps([part]))
    return tmp_path


def test_a_rightly_listed_file_is_accepted(folder: Path) -> None:
    assert find_faults(folder) == []


def test_a_changed_file_is_found(folder: Path) -> None:
    (folder / "a.js").write_text("let a = 2\n")
    assert find_faults(folder) == ["a.js: changed"]


def test_an_unlisted_and_a_missing_file_are_found(folder: Path) -> None:
    (folder / "a.js").rename(folder / "b.js")
    assert find_faults(folder) == ["a.js: listed, not there", "b.js: there, not listed"]


def test_a_part_without_licence_is_found(folder: Path) -> None:
    (folder / "vendor.json").write_text('[{"name": "a", "version": "1", "files": {"a.js": "x"}}]')
    assert "a: lacks licence, integrity" in find_faults(folder)


def test_the_integrity_is_the_one_the_standard_prints() -> None:
    # W3C Subresource Integrity, its first example, for SHA-384; from memory, recomputed.
    digest = hashlib.sha384(b"alert('Hello, world.');").digest()
    assert (
        base64.b64encode(digest).decode()
        == "H8BRh8j48O9oYatfu5AZzq6A9RINhZO5H16dQZngK7T62em8MUt1FLm52t+eX6xO"
    )
