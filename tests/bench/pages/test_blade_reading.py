"""Reading the old key: its picture comes in, is read, looked at, measured again, taken; or refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.models import Sealed
from bittern.bench.readings import runs
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.bench.pages.walk import BITTING
from tests.conftest import Cast
from tests.key_pictures import KnowingReader, scan_key, stand_in

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]


@pytest.fixture(scope="module")
def scan() -> Any:
    from bittern.demo import PACK_DIR
    from bittern.formats.packs import read_pack

    standard = read_pack(PACK_DIR).blades["heron-8"]
    return scan_key(standard, BITTING, dpi=300, turned_over=False)


@pytest.fixture
def reader(scan: Any, monkeypatch: pytest.MonkeyPatch) -> KnowingReader:
    return stand_in(monkeypatch, KnowingReader(scan))


@pytest.fixture(autouse=True)
def _at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Runs within the test's own connection: its transaction is seen by no other."""
    import threading

    def launch(*arguments: Any) -> None:
        runs.run(*arguments)

    def start_here(self: threading.Thread) -> None:
        self.run()

    monkeypatch.setattr(runs, "launch", launch)
    monkeypatch.setattr(runs.connections, "close_all", lambda: None)
    monkeypatch.setattr(runs.threading.Thread, "start", start_here)
    monkeypatch.setattr(runs.threading.Thread, "join", lambda self, timeout=None: None)
    monkeypatch.setattr(runs.threading.Thread, "is_alive", lambda self: False)


def send(client: Client, number: int, picture: bytes | None, **fields: str) -> Any:
    files = {} if picture is None else {"picture": SimpleUploadedFile("key.png", picture)}
    return client.post(reverse("blade-picture", args=[number]), {"how": "scan", **fields, **files})


def do(client: Client, number: int, what: str, *, part: bool = False, **fields: str) -> Any:
    headers = {"HX-Request": "true", "HX-Target": "reading"} if part else {}
    return client.post(reverse("blade-reading", args=[number]), {"do": what, **fields}, headers=headers)


def test_a_scan_is_read_shown_and_its_bitting_taken(
    reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    answer = send(client, number, reader.scan.png)
    assert answer["Location"] == reverse("blade-reading", args=[number])
    # A plain visit shows that it was read, and nothing of what.
    words = read_words(client.get(answer["Location"]))
    assert "The key was read." in words
    assert BITTING not in words
    answer = do(client, number, "look-reading")
    words = read_words(answer)
    assert BITTING in words
    assert "Nothing speaks against it" in words
    assert "0.041 ± 0.006 mm" in words
    assert answer["Cache-Control"] == "private, no-store"
    assert b"data:image/jpeg;base64," in answer.content
    (version,) = {one["value"] for one in find_inputs(answer, name="version")}
    answer = do(client, number, "take-reading", version=version)
    assert answer.status_code == 302
    blade = desk.store.load(number).blade
    assert blade is not None
    assert (blade.source, blade.doubts, blade.accepted_because) == ("read", 0, "")
    assert desk.store.unseal(number, "bitting") == BITTING
    assert list(Sealed.objects.values_list("name", flat=True)) == ["bitting"], "picture and reading are gone"
    kinds = [entry.kind for entry in desk.store.entries(number)][-4:]
    assert kinds == ["blade.reading-begun", "blade.read", "seal.looked", "blade.entered"]
