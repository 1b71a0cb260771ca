"""Reading a label from a photo in the bench: what is shown, taken, kept, refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.urls import reverse

from bittern.bench.pages import label_upload
from bittern.work.label import LabelReading, interpret
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.conftest import Cast
from tests.label_images import Camera, draw_code, make_vin, photograph, save

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
VIN = make_vin(np.random.default_rng(7))


@pytest.fixture(scope="module")
def label() -> bytes:
    """Return a photo of a bar code; without print, and the print reader is not asked in these tests."""
    pixels = photograph(draw_code(VIN, "Code39", 2), Camera(turn_deg=12), np.random.default_rng(1))
    return save(pixels, "JPEG", quality=90, comment=b"taken at a secret place")


@pytest.fixture(autouse=True)
def _no_print(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bittern.work.label.read_print", lambda pixels: ())


def send(client: Client, number: int, picture: bytes | None, **fields: str) -> Any:
    files = {} if picture is None else {"picture": SimpleUploadedFile("IMG_0001.jpg", picture)}
    headers = {"HX-Request": "true", "HX-Target": "photo-result"} if fields.pop("part", "") else {}
    return client.post(
        reverse("read-photo", args=[number]), {"leg": "vehicle", **fields, **files}, headers=headers
    )


def dump_tables() -> str:
    cells = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names():
            cursor.execute(f'SELECT * FROM "{table}"')
            cells += [
                bytes(c).decode("latin-1") if isinstance(c, bytes | memoryview) else str(c)
                for row in cursor.fetchall()
                for c in row
            ]
    return "\n".join(cells)


def test_a_number_is_read_shown_over_the_picture_and_offered(
    label: bytes, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "request"), log_in(cast.counter)
    for part in ("", "yes"):
        answer = send(client, number, label, part=part)
        assert answer.status_code == 200
        page = answer.content.decode()
        assert VIN in page
        assert 'class="label-box"' in page
        assert "data:image/jpeg;base64," in page
        assert ("<html" in page) == (not part)
        assert answer["Cache-Control"] == "private, no-store"


def test_only_pages_with_a_photo_may_show_one(label: bytes, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "request"), log_in(cast.counter)
    pages = [send(client, number, label), client.get(reverse("job", args=[number]) + "?leg=key")]
    others = [client.get(reverse("today")), client.get(reverse("job", args=[number]) + "?leg=request")]
    assert [("data:" in one["Content-Security-Policy"]) for one in pages + others] == [True] * 2 + [False] * 2
    for one in pages:
        parts = one["Content-Security-Policy"].split(";")
        assert [part.split()[0] for part in parts if "data:" in part] == ["img-src"]


def test_nothing_of_a_picture_is_kept_without_the_tick(
    label: bytes, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "request"), log_in(cast.counter)
    before, entries = dump_tables(), len(desk.store.entries(number))
    answer = send(client, number, label)
    assert "secret place" not in answer.content.decode("latin-1")
    assert len(desk.store.entries(number)) == entries
    after = dump_tables()
    assert VIN not in after
    assert len(after) - len(before) < 2_000


def test_a_number_is_typed_into_the_form_only_by_a_press(
    label: bytes, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "request"), log_in(cast.counter)
    send(client, number, label)
    page = client.get(reverse("job", args=[number]))
    assert [one.get("value", "") for one in find_inputs(page, name="vin")] == [""]
    page = client.post(reverse("study-number", args=[number]), {"vin": "X", "take_photo": VIN})
    assert [one["value"] for one in find_inputs(page, name="vin")] == [VIN]
    assert '<option value="photographed" selected>' in page.content.decode()
    # A draft of the form, and nothing on record.
    assert desk.store.load(number).vehicle is None
    assert VIN in read_words(client.get(reverse("job", args=[number])))


def test_an_identifier_is_recorded_as_photographed(
    monkeypatch: pytest.MonkeyPatch, label: bytes, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    from bittern.engines.label.lines import Line

    box = ((5.0, 5.0), (90.0, 5.0), (90.0, 20.0), (5.0, 20.0))

    def read(pixels: Any, pack: Any) -> LabelReading:
        return interpret((500, 500), (), (Line("FCC ID: 9ZZQM-QMR523O", 0.83, box),), pack)

    monkeypatch.setattr("bittern.work.label.read_label", read)
    number, client = carry(desk, "vehicle"), log_in(cast.counter)
    answer = send(client, number, label, leg="key")
    words = read_words(answer)
    assert "83 %" in words
    assert "9ZZQM-QMR5230" in words, "0 and O look the same: the other reading is offered"
    form = {"kind": "fcc_id", "how": "photographed", "value": "9ZZQM-QMR523O"}
    assert client.post(reverse("act", args=[number, "observe"]), form).status_code == 302
    (seen,) = desk.store.load(number).observations
    assert (seen.kind, seen.value, seen.how) == ("fcc_id", "9ZZQM-QMR523O", "photographed")


def test_a_kept_picture_is_sealed_and_each_look_is_on_record(
    label: bytes, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "request"), log_in(cast.technician)
    send(client, number, label, keep="yes")
    (kept,) = desk.store.entries(number, "picture.kept")
    name = kept.payload["name"]
    assert "JFIF" not in dump_tables()
    address = reverse("kept-picture", args=[number])
    assert client.post(address, {"name": name, "reason": ""}).status_code == 422
    assert desk.store.entries(number, "seal.looked") == []
    answer = client.post(address, {"name": name, "reason": "the customer asks"})
    assert "data:image/jpeg;base64," in answer.content.decode()
    assert answer["Cache-Control"] == "private, no-store"
    (look,) = desk.store.entries(number, "seal.looked")
    assert look.payload == {"name": name, "reason": "the customer asks"}
    assert log_in(cast.counter).post(address, {"name": name, "reason": "x"}).status_code == 403
    for other in ("bitting", "picture-9", "../x"):
        assert client.post(address, {"name": other, "reason": "x"}).status_code == 409
    words = read_words(client.get(reverse("job-log", args=[number])))
    assert "Kept a picture with the job" in words


def test_a_job_keeps_only_so_many_pictures(label: bytes, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    from bittern.work.pictures import MOST_KEPT

    number, client = carry(desk, "request"), log_in(cast.counter)
    answers = [send(client, number, label, keep="yes") for _ in range(MOST_KEPT + 1)]
    assert [one.status_code for one in answers] == [200] * MOST_KEPT + [422]
    assert f"at most {MOST_KEPT}" in read_words(answers[-1])
    assert len(desk.store.entries(number, "picture.kept")) == MOST_KEPT


@pytest.mark.parametrize(
    ("picture", "words"),
    [
        (None, "no picture"),
        (b"", "no picture"),
        (b"hello", "no picture of a known kind"),
        (b"\x00\x00\x00\x18ftypheic" + b"\0" * 60, "HEIC"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 60, "damaged"),
    ],
)
def test_what_is_no_picture_is_refused_in_words(
    picture: bytes | None, words: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "request"), log_in(cast.counter)
    answer = send(client, number, picture)
    assert answer.status_code == 422
    assert words in read_words(answer)
    # A fragment is swapped in by the page only if it is answered as done.
    part = send(client, number, picture, part="yes")
    assert part.status_code == 200
    assert words in read_words(part)


def test_a_picture_beyond_the_limit_ends_the_upload(
    monkeypatch: pytest.MonkeyPatch, label: bytes, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    monkeypatch.setattr(label_upload.PictureUpload, "limit_bytes", 1000)
    number = carry(desk, "request")
    answer = send(log_in(cast.counter), number, label)
    assert answer.status_code == 422
    assert "a file of more than" in read_words(answer)


def test_files_come_in_nowhere_else(label: bytes, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "request")
    files = {"picture": SimpleUploadedFile("a.jpg", label)}
    client = log_in(cast.counter)
    for name, args in (("study-number", [number]), ("kept-picture", [number]), ("act", [number, "observe"])):
        assert client.post(reverse(name, args=args), files).status_code == 400
    # A stranger's picture is not read at all.
    answer = log_in(None).post(reverse("read-photo", args=[number]), files)
    assert answer["Location"].startswith(reverse("login"))
    # Nor is one under another name, or a second one.
    answer = client.post(reverse("read-photo", args=[number]), {"other": SimpleUploadedFile("a.jpg", label)})
    assert "no picture" in read_words(answer)


def test_a_closed_job_takes_no_photo(label: bytes, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "request"), log_in(cast.counter)
    client.post(reverse("act", args=[number, "withdraw"]), {"because": "gone", "sure": "yes"})
    assert send(client, number, label).status_code == 409


def test_a_kept_picture_is_removed_alone_with_a_reason_and_a_tick(
    label: bytes, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "request"), log_in(cast.technician)
    for _ in range(2):
        send(client, number, label, keep="yes")
    address = reverse("kept-picture", args=[number])
    form = {"do": "remove-picture", "name": "picture-1", "key": "picture-1"}
    answer = client.post(address, {**form, "reason": "blurred"})
    assert answer.status_code == 422
    (field,) = find_inputs(answer, name="sure", id="f-remove-picture-sure-picture-1")
    assert field["aria-invalid"] == "true"
    assert client.post(address, {**form, "sure": "yes"}).status_code == 422
    whole = {**form, "sure": "yes", "reason": "blurred"}
    assert log_in(cast.counter).post(address, whole).status_code == 403
    assert desk.store.unseal(number, "picture-1")
    assert client.post(address, whole).status_code == 302
    assert desk.store.unseal(number, "picture-1") is None
    assert desk.store.unseal(number, "picture-2")
    (gone,) = desk.store.entries(number, "picture.removed")
    assert gone.payload == {"name": "picture-1", "reason": "blurred"}
    assert "Destroyed picture-1, reason: blurred." in read_words(
        client.get(reverse("job-log", args=[number]))
    )
    assert client.post(address, whole).status_code == 409
    assert client.post(address, {"name": "picture-1", "reason": "to see"}).status_code == 409
    # Room is there again, and no name is given twice.
    send(client, number, label, keep="yes")
    words = read_words(client.get(reverse("read-photo", args=[number])))
    assert "Look at picture-1" not in words
    assert "Look at picture-3" in words
