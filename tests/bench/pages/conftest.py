"""Reading the old key in tests of its pages: a scan, a reader that knows what is true of it, runs at once."""

from __future__ import annotations

from typing import Any

import pytest

from bittern.bench.readings import runs
from bittern.demo import PACK_DIR
from bittern.formats.packs import read_pack
from tests.bench.pages.walk import BITTING
from tests.key_pictures import KnowingReader, scan_key, stand_in

# Cut 4 lies below the lowest depth.
OFF_MM = {3: -0.27}


@pytest.fixture(scope="session")
def key_scan() -> Any:
    standard = read_pack(PACK_DIR).blades["heron-8"]
    return scan_key(standard, BITTING, dpi=300, turned_over=False)


@pytest.fixture
def reader(key_scan: Any, monkeypatch: pytest.MonkeyPatch) -> KnowingReader:
    return stand_in(monkeypatch, KnowingReader(key_scan))


@pytest.fixture
def read_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Runs within the test's own connection: its transaction is seen by no other."""

    def launch(*arguments: Any) -> None:
        runs.run(*arguments)

    monkeypatch.setattr(runs, "launch", launch)
    threads = "bittern.bench.readings.runs.threading.Thread"
    monkeypatch.setattr("bittern.bench.readings.runs.connections.close_all", lambda: None)
    monkeypatch.setattr(f"{threads}.start", lambda thread: thread.run())
    monkeypatch.setattr(f"{threads}.join", lambda thread, timeout=None: None)
    monkeypatch.setattr(f"{threads}.is_alive", lambda thread: False)


@pytest.fixture
def doubtful(key_scan: Any, monkeypatch: pytest.MonkeyPatch) -> KnowingReader:
    return stand_in(monkeypatch, KnowingReader(key_scan, off=OFF_MM))
