"""An adapter behind the real setting, with simulated units at the other end of a virtual bus."""

from __future__ import annotations

import itertools
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import can
import pytest
from django.conf import settings as django_settings

from bittern.bench.adapter import reader
from tests.link.vehicle import Unit, serving

SECONDS = 30.0
names = (f"bench-{count}" for count in itertools.count())


def wait_until(holds: Callable[[], Any]) -> Any:
    """Return what ``holds`` gives once that is something; fail where it stays nothing."""
    until_s = time.monotonic() + SECONDS
    while not (found := holds()):
        assert time.monotonic() < until_s, "it did not come about"
        threading.Event().wait(0.02)
    return found


class Plug:
    """The adapter's far end: units can be plugged in, pulled out, exchanged."""

    def __init__(self, name: str, stack: ExitStack) -> None:
        self.name = name
        self._stack = stack
        self.arrived: list[can.Message] = []

    def put(self, *units: Unit) -> None:
        self.arrived = self._stack.enter_context(serving(self.name, *units))

    def pull(self) -> None:
        self._stack.close()


@pytest.fixture
def folder() -> Iterator[Path]:
    folder = Path(django_settings.BITTERN_DATA) / "adapter"
    shutil.rmtree(folder, ignore_errors=True)
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def plug(settings: Any, folder: Path) -> Iterator[Plug]:
    """A bench with an adapter; afterwards no thread of it is left."""
    before = set(threading.enumerate())
    name = next(names)
    settings.BITTERN_ADAPTER = f"virtual:{name}"
    with ExitStack() as stack:
        yield Plug(name, stack)
        found = reader.find_reader()
        assert found is not None
        found.stop()
    assert {thread for thread in threading.enumerate() if thread not in before} == set()
