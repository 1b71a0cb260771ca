"""Reading the old key: pictures that are refused, runs that end early or are overtaken, the card."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.models import Sealed
from bittern.bench.readings import runs
from bittern.bench.readings.models import CANCELLED, DONE, FAILED, ReadingRun
from bittern.engines.blade.errors import PictureError
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.bench.pages.old_key import do, send
from tests.conftest import Cast
from tests.key_pictures import KnowingReader, stand_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("read_at_once")]

LogIn = Callable[[Any], Client]


def test_a_picture_that_shows_no_key_is_refused_with_what_to_do(
    reader: KnowingReader, monkeypatch: pytest.MonkeyPatch, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    def refuse(*args: Any, **kwargs: Any) -> Any:
        raise PictureError("a round thing", "a key with a blade", hint="lay the key alone")

    monkeypatch.setattr(reader, "read", refuse)
    stand_in(monkeypatch, reader)
    number, client = carry(desk, "promise"), log_in(cast.technician)
    answer = send(client, number, reader.scan.png, dpi="620")
    answer = client.get(answer["Location"])
    words = read_words(answer)
    assert (
        "The picture was not read Found a round thing; expected a key with a blade. Lay the key alone."
        in words
    )
    (field,) = find_inputs(answer, name="dpi")
    assert field["value"] == "620"
    assert "Found a round thing" in read_words(client.get(f"/jobs/{number}/"))
    assert Sealed.objects.count() == 0


@pytest.mark.parametrize(
    ("picture", "fields", "said"),
    [
        (None, {}, "Found no picture; expected a scan or a photo of the old key."),
        (b"", {}, "Found no picture; expected a scan or a photo of the old key."),
        (b"x", {"dpi": "fine"}, "expected the scanner's pixels per inch"),
        (b"x", {"dpi": "30"}, "Found 30; expected the scanner's pixels per inch"),
    ],
)
def test_what_is_wrong_with_an_upload_stands_beside_its_field_and_nothing_begins(
    picture: bytes | None, fields: dict[str, str], said: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    answer = send(client, number, picture, **fields)
    assert answer.status_code == 422
    assert said in read_words(answer)
    (field,) = find_inputs(answer, name="dpi")
    assert field["value"] == fields.get("dpi", "")
    assert not ReadingRun.objects.exists()


def test_a_file_that_is_too_large_ends_the_upload(
    monkeypatch: pytest.MonkeyPatch, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    monkeypatch.setattr("bittern.bench.pages.blade_upload.KeyUpload.limit_bytes", 1000)
    number, client = carry(desk, "promise"), log_in(cast.technician)
    answer = send(client, number, bytes(5000))
    assert answer.status_code == 422
    assert "expected at most that" in read_words(answer)


def test_a_scan_that_says_no_dots_per_inch_is_asked_for_them(
    reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    from bittern.formats.images import decode_picture, encode_picture

    plain = encode_picture(decode_picture(reader.scan.png))
    number, client = carry(desk, "promise"), log_in(cast.technician)
    send(client, number, plain)
    words = read_words(client.get(reverse("blade-reading", args=[number])))
    assert "Found a file that does not say its dots per inch" in words
    assert reader.asked == []
    send(client, number, plain, dpi="300")
    assert [one["dpi"] for one in reader.asked] == [300.0]
    assert "Scale: 300 dpi as typed." in read_words(do(client, number, "look-reading"))


def test_what_is_no_picture_is_said_so(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    send(client, number, b"not a picture")
    words = read_words(client.get(reverse("blade-reading", args=[number])))
    assert "Found no picture of a known kind" in words


# Runs


def test_a_run_that_was_cancelled_leaves_nothing(
    reader: KnowingReader, monkeypatch: pytest.MonkeyPatch, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    read = reader.read

    def read_and_be_cancelled(*args: Any, **kwargs: Any) -> Any:
        page = client.get(reverse("blade-reading", args=[number]))
        assert find_inputs(page, name="do", value="cancel-reading")
        assert "every 1s" in page.content.decode()
        assert do(client, number, "cancel-reading").status_code == 302
        return read(*args, **kwargs)

    monkeypatch.setattr(reader, "read", read_and_be_cancelled)
    stand_in(monkeypatch, reader)
    send(client, number, reader.scan.png)
    assert ReadingRun.objects.get().state == CANCELLED
    assert Sealed.objects.count() == 0
    assert desk.store.entries(number, "blade.read") == []
    assert "No reading is on hand." in read_words(client.get(reverse("blade-reading", args=[number])))


def test_a_run_that_was_overtaken_leaves_nothing(
    reader: KnowingReader, monkeypatch: pytest.MonkeyPatch, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    read, times = reader.read, []

    def read_twice(*args: Any, **kwargs: Any) -> Any:
        times.append(1)
        if len(times) == 1:
            send(client, number, reader.scan.png, dpi="301")
        return read(*args, **kwargs)

    monkeypatch.setattr(reader, "read", read_twice)
    monkeypatch.setattr(runs, "TURN", threading.Semaphore(2))
    stand_in(monkeypatch, reader)
    send(client, number, reader.scan.png, dpi="299")
    assert ReadingRun.objects.get().state == DONE
    assert len(desk.store.entries(number, "blade.read")) == 1
    assert "301 dpi as typed" in read_words(do(client, number, "look-reading"))


def test_a_run_that_died_with_its_process_is_said_to_be_broken_off(
    reader: KnowingReader, monkeypatch: pytest.MonkeyPatch, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    monkeypatch.setattr(runs, "launch", lambda *args: None)
    send(client, number, reader.scan.png)
    page = reverse("blade-reading", args=[number])
    assert "Starting." in read_words(client.get(page))
    run = ReadingRun.objects.get()
    ReadingRun.objects.update(beat_at=run.beat_at - runs.STILL - timedelta(seconds=1))
    words = read_words(client.get(page))
    assert "Found a reading that was broken off: the program stopped while it worked" in words
    assert "Send the picture again." in words
    assert ReadingRun.objects.get().state == FAILED


def test_a_mistake_of_the_program_ends_the_run(
    reader: KnowingReader, monkeypatch: pytest.MonkeyPatch, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    def slip(*args: Any, **kwargs: Any) -> Any:
        raise ZeroDivisionError

    monkeypatch.setattr(reader, "read", slip)
    stand_in(monkeypatch, reader)
    number, client = carry(desk, "promise"), log_in(cast.technician)
    with pytest.raises(ZeroDivisionError):
        send(client, number, reader.scan.png)
    assert "Found a mistake of the program" in read_words(client.get(reverse("blade-reading", args=[number])))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_measuring_card_is_served_to_print(paper: str, cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.counter)
    answer = client.get(reverse("measuring-card", args=[paper]))
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content[:5] == b"%PDF-"
    assert client.get(reverse("measuring-card", args=["a3"])).status_code == 404
