"""A list's work runs at once, in the test's own transaction; the thread is tested by itself."""

from __future__ import annotations

import pytest

from bittern.bench.packs import runs


@pytest.fixture
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Run what would run in a thread."""
    monkeypatch.setattr(runs, "launch", runs.run)
