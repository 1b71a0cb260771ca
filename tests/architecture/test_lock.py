"""The lock: every package pinned and hashed, no address, and the test lock holds all of the core lock."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.architecture.places import ROOT

LOCKS = [ROOT / "requirements" / "core.txt", ROOT / "requirements" / "test.txt"]


def read_pins(path: Path) -> dict[str, set[str]]:
    """Return the pin of each package (with its marker) and its hashes."""
    pins: dict[str, set[str]] = {}
    current = ""
    for line in path.read_text().splitlines():
        if line.startswith("    --hash="):
            pins[current].add(line.strip().rstrip("\\").strip())
        elif line and not line.lstrip().startswith("#"):
            current = line.rstrip("\\").strip()
            pins[current] = set()
    return pins


@pytest.mark.parametrize("lock", LOCKS, ids=lambda path: path.name)
def test_every_package_is_pinned_and_hashed(lock: Path) -> None:
    pins = read_pins(lock)
    assert len(pins) > 20
    for pin, hashes in pins.items():
        assert re.fullmatch(r"[a-z0-9._-]+==[^ ;]+( ; .+)?", pin), pin
        assert hashes, pin
        assert all(re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", each) for each in hashes), pin


@pytest.mark.parametrize("lock", LOCKS, ids=lambda path: path.name)
def test_the_lock_names_no_address_and_no_option(lock: Path) -> None:
    text = lock.read_text()
    assert "://" not in text
    assert not re.search(r"^-", text, re.MULTILINE)


def test_the_test_lock_holds_the_core_lock_at_the_same_versions() -> None:
    core, test = (read_pins(lock) for lock in LOCKS)
    assert {pin: test.get(pin) for pin in core} == core


def test_every_package_asked_for_is_locked() -> None:
    for lock in LOCKS:
        asked = lock.with_suffix(".in").read_text()
        names = {
            re.split(r"[\[<>=]", line)[0].strip().lower()
            for line in asked.splitlines()
            if line and not line.startswith(("#", "-"))
        }
        locked = {pin.split("==")[0] for pin in read_pins(lock)}
        assert names <= locked
