"""Shops of their own for tests with several processes: on SQLite a folder, on PostgreSQL a database too."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import pytest

ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True, slots=True)
class Shop:
    """A shop that only the processes started here work on."""

    data: Path
    database: str

    @property
    def environment(self) -> dict[str, str]:
        """The environment of a process that works on it."""
        found = {**os.environ, "BITTERN_DATA": str(self.data)}
        found.pop("BITTERN_DATABASE", None)
        return {**found, "BITTERN_DATABASE": self.database} if self.database else found

    def start(self, *words: str) -> subprocess.Popen[str]:
        """Start a worker."""
        return subprocess.Popen(
            [sys.executable, "-m", "tests.bench.jobs.worker", *words],
            cwd=ROOT,
            env=self.environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(self, *words: str) -> dict[str, Any]:
        """Run a worker to its end and return the last thing it said."""
        out, err = self.start(*words).communicate("go\n", timeout=120)
        assert out, err
        found: dict[str, Any] = json.loads(out.splitlines()[-1])
        return found

    def run_together(self, count: int, *words: str) -> list[dict[str, Any]]:
        """Run several workers that begin when all are ready; return the last thing each said."""
        workers = [self.start(*words) for _ in range(count)]
        for worker in workers:
            assert worker.stdout is not None
            assert "ready" in worker.stdout.readline(), worker.communicate()[1]
        for worker in workers:
            assert worker.stdin is not None
            worker.stdin.write("go\n")
            worker.stdin.flush()
        ends = [worker.communicate(timeout=240) for worker in workers]
        assert [worker.returncode for worker in workers] == [0] * count, [err for _, err in ends]
        return [json.loads(out.splitlines()[-1]) for out, _ in ends]


@pytest.fixture
def empty_shop(tmp_path: Path) -> Iterator[Shop]:
    """Return a shop that nothing has been made for yet."""
    with make_database() as address:
        yield Shop(tmp_path / "data", address)


@pytest.fixture(scope="session")
def model_shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """Return a shop with job 1 open, to be copied: laying one out takes longer than most tests."""
    with make_database() as address:
        shop = Shop(tmp_path_factory.mktemp("model") / "data", address)
        shop.run("prepare")
        assert shop.run("open") == {"number": 1}
        yield shop


@pytest.fixture
def shop(model_shop: Shop, tmp_path: Path) -> Iterator[Shop]:
    """Return a shop of one's own with job 1 open."""
    shutil.copytree(model_shop.data, tmp_path / "data")
    with make_database(model_shop.database) as address:
        yield Shop(tmp_path / "data", address)


@contextmanager
def make_database(model: str = "") -> Iterator[str]:
    """Yield the address of a new PostgreSQL database, empty or like ``model``; SQLite needs none."""
    server = os.environ.get("BITTERN_DATABASE", "")
    if not server:
        yield ""
        return
    import psycopg

    name = f"shop_{uuid.uuid4().hex[:12]}"
    parts = urlsplit(server)
    like = f" TEMPLATE {urlsplit(model).path.strip('/')}" if model else ""
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}{like}".encode())
        try:
            yield urlunsplit(parts._replace(path=f"/{name}"))
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())
