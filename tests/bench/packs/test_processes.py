"""Imports in threads and processes of their own: done, cancelled, killed; nothing is ever half there."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from bittern.demo import PACK_DIR
from tests.architecture.places import ROOT
from tests.bench.jobs.conftest import Shop, make_database

pytestmark = pytest.mark.store

MOORLAND = ROOT / "tests" / "files" / "lists" / "moorland.csv"
OURS = len((PACK_DIR / "articles.csv").read_text(encoding="utf-8").splitlines()) - 1


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """Return a shop with a list in it that is not imported."""
    with make_database() as address:
        shop = Shop(tmp_path / "data", address)
        run(shop, "prepare", str(MOORLAND))
        yield shop


def start(shop: Shop, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.bench.packs.worker", *words],
        cwd=ROOT,
        env=shop.environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def run(shop: Shop, *words: str) -> dict[str, Any]:
    out, err = start(shop, *words).communicate(timeout=120)
    assert out, err
    found: dict[str, Any] = json.loads(out.splitlines()[-1])
    return found


def test_an_import_in_its_thread_is_there_for_the_next_process(shop: Shop) -> None:
    done = {
        "state": "active",
        "run": "",
        "articles": OURS + 2,
        "parts": ["layer"],
        "events": ["uploaded", "imported"],
    }
    assert run(shop, "import") == done
    assert run(shop, "report") == done


def test_a_process_killed_with_the_layer_written_leaves_nothing_and_the_list_can_be_imported(
    shop: Shop,
) -> None:
    worker = start(shop, "stop-inside")
    assert worker.stdout is not None
    assert json.loads(worker.stdout.readline()) == {"inside": True}
    worker.kill()
    worker.communicate(timeout=60)
    left = {"state": "draft", "articles": OURS, "parts": ["file"], "events": ["uploaded"]}
    # The next to look cannot know yet that it is dead.
    assert run(shop, "report") == {**left, "run": "running"}
    assert run(shop, "report", "1") == {**left, "run": "failed"}
    assert run(shop, "import")["state"] == "active"


def test_a_cancelled_import_ends_and_leaves_nothing(shop: Shop) -> None:
    assert run(shop, "cancel-inside") == {
        "state": "draft",
        "run": "cancelled",
        "articles": OURS,
        "parts": ["file"],
        "events": ["uploaded"],
    }
