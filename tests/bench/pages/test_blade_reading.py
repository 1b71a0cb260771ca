"""Reading the old key: its picture comes in, is read, looked at, measured again, taken; or refused."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.models import Draft, Sealed
from bittern.bench.readings import runs
from bittern.bench.readings.models import CANCELLED, DONE, FAILED, ReadingRun
from bittern.engines.blade.errors import PictureError
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.bench.pages.test_label import dump_tables
from tests.bench.pages.walk import BITTING, act
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

    def launch(*arguments: Any) -> None:
        runs.run(*arguments)

    monkeypatch.setattr(runs, "launch", launch)
    threads = "bittern.bench.readings.runs.threading.Thread"
    monkeypatch.setattr("bittern.bench.readings.runs.connections.close_all", lambda: None)
    monkeypatch.setattr(f"{threads}.start", lambda thread: thread.run())
    monkeypatch.setattr(f"{threads}.join", lambda thread, timeout=None: None)
    monkeypatch.setattr(f"{threads}.is_alive", lambda thread: False)


def send(client: Client, number: int, picture: bytes | None, **fields: str) -> Any:
    files = {} if picture is None else {"picture": SimpleUploadedFile("key.png", picture)}
    return client.post(reverse("blade-picture", args=[number]), {"how": "scan", **fields, **files})


def do(client: Client, number: int, what: str, part: str = "", **fields: str) -> Any:
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


# In doubt

OFF = {3: -0.27}


def begin(client: Client, number: int, reader: KnowingReader, **fields: str) -> dict[str, str]:
    """Send the reader's scan, look at what was read, and return the hidden fields of the page."""
    send(client, number, reader.scan.png, **fields)
    return find_hidden(do(client, number, "look-reading"))


def find_hidden(answer: Any) -> dict[str, str]:
    return {one["name"]: one["value"] for one in find_inputs(answer, type="hidden") if one["name"] != "do"}


@pytest.fixture
def doubtful(scan: Any, monkeypatch: pytest.MonkeyPatch) -> KnowingReader:
    return stand_in(monkeypatch, KnowingReader(scan, off=OFF))


def test_a_doubtful_cut_is_said_first_with_its_place_and_ringed_in_the_picture(
    doubtful: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    send(client, number, doubtful.scan.png)
    answer = do(client, number, "look-reading")
    words = read_words(answer)
    begins = words.index("Do not cut by this yet Measure cut 4 again with the caliper, 12.00 mm from the")
    assert begins < words.index(BITTING) < words.index("Cut by cut")
    page = answer.content.decode()
    assert page.count('class="key-ring"') == 1
    assert "Cut 4 is ringed: measure it again." in page
    assert ">4?</text>" in page


def test_a_cut_measured_again_is_weighed_at_once(
    doubtful: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    hidden = begin(client, number, doubtful)
    answer = do(
        client, number, "measure-again", part="yes", **{**hidden, "reading-4": "6,21", "sd_mm": "0.02"}
    )
    words = read_words(answer)
    assert "<html" not in answer.content.decode()
    assert "Nothing speaks against it" in words
    assert "6.210 ± 0.020 with the caliper" in words
    assert len(doubtful.asked) == 1, "the picture is not read again"
    (logged,) = desk.store.entries(number, "blade.measured-again")
    assert logged.payload == {"cuts": ["4"]}
    # It is still there after a reload, and can be taken back.
    (field,) = find_inputs(do(client, number, "look-reading"), name="reading-4")
    assert field["value"] == "6.21"
    hidden = find_hidden(answer)
    answer = do(client, number, "measure-again", part="yes", **{**hidden, "reading-4": ""})
    assert "Do not cut by this yet" in read_words(answer)


def test_a_height_that_is_none_is_said_beside_its_field(
    doubtful: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    hidden = begin(client, number, doubtful)
    answer = do(client, number, "measure-again", **{**hidden, "reading-4": "six"})
    assert answer.status_code == 422
    (field,) = find_inputs(answer, name="reading-4")
    assert (field["value"], field["aria-invalid"]) == ("six", "true")
    assert "expected the height at cut 4" in read_words(answer)
    assert desk.store.entries(number, "blade.measured-again") == []


def test_what_is_in_doubt_is_taken_only_with_a_reason(
    doubtful: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    hidden = begin(client, number, doubtful)
    answer = do(client, number, "take-reading", **hidden)
    assert answer.status_code == 422
    (field,) = find_inputs(answer, tag="textarea", name="accept_because")
    assert field["aria-invalid"] == "true"
    assert desk.store.load(number).blade is None
    answer = do(client, number, "take-reading", **{**hidden, "accept_because": "measured twice, the same"})
    assert answer.status_code == 302
    blade = desk.store.load(number).blade
    assert blade is not None
    assert (blade.source, blade.doubts, blade.accepted_because) == ("read", 1, "measured twice, the same")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"p_none": 0.4}, "a chance of 0.40 that the blade is of another standard"),
        ({"allowed": False}, "a bitting that the standard's rules forbid"),
    ],
)
def test_no_reason_makes_up_for_another_standard_or_a_broken_rule(
    more: dict[str, Any],
    said: str,
    scan: Any,
    monkeypatch: pytest.MonkeyPatch,
    cast: Cast,
    log_in: LogIn,
    desk: Desk,
) -> None:
    reader = stand_in(monkeypatch, KnowingReader(scan, **more))
    number, client = carry(desk, "promise"), log_in(cast.technician)
    send(client, number, reader.scan.png)
    answer = do(client, number, "look-reading")
    words = read_words(answer)
    assert "Do not cut by this yet" in words
    assert said in words
    assert find_inputs(answer, name="do", value="take-reading") == []
    answer = do(client, number, "take-reading", accept_because="I want to", **find_hidden(answer))
    assert answer.status_code == 422
    assert said in read_words(answer)
    assert desk.store.load(number).blade is None


# Two edges, other units


ALDER = "B C D C B A B C / A B B C D C B A"


def test_on_a_split_blade_a_person_says_which_edge_is_a(
    monkeypatch: pytest.MonkeyPatch, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    with desk.store.transaction():
        job = desk.store.load_for_change(number)
        assert job.key is not None
        key = job.key.model_copy(update={"blade": "alder-8"})
        desk.store.save(job.model_copy(update={"key": key}), waits_for="bitting")
    made = scan_key(desk.pack.blades["alder-8"], ALDER, dpi=300, turned_over=False)
    answer = send(client, number, made.png)
    answer = do(client, number, "look-reading")
    words = read_words(answer)
    a, b = ALDER.split(" / ")
    assert ALDER in words
    assert "Edge A is taken to be the upper one in the picture." in words
    hidden = find_hidden(answer)
    answer = do(client, number, "take-reading", **hidden)
    assert answer.status_code == 422
    assert "its edges change places" in read_words(answer)
    answer = do(client, number, "swap-edges", "yes", **hidden)
    words = read_words(answer)
    assert f"{b} / {a}" in words
    assert "Edge A is taken to be the lower one in the picture, as a person has said." in words
    answer = do(client, number, "take-reading", edges="yes", **find_hidden(answer))
    assert answer.status_code == 302
    assert desk.store.unseal(number, "bitting") == f"{b} / {a}"
    assert desk.store.entries(number, "blade.edges-swapped")


def test_lengths_are_said_in_the_shops_unit(
    doubtful: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    from bittern.bench.jobs.shop import save_terms

    save_terms(replace(desk.terms, unit="inch"))
    number, client = carry(desk, "promise"), log_in(cast.technician)
    send(client, number, doubtful.scan.png)
    words = read_words(do(client, number, "look-reading"))
    assert "Measure cut 4 again with the caliper, 0.472 inch from the shoulder." in words
    assert "Height now, inch" in words
    assert "0.0016 ± 0.0002 inch" in words
    # The caliper's field says its own unit.
    assert "Cut 4 in mm" in words


# Not read


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
    monkeypatch.setattr(runs, "_turn", threading.Semaphore(2))
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


# Who, and what is seen


def test_nothing_is_read_without_authority_or_by_others(
    reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "promise")
    assert send(log_in(cast.counter), number, reader.scan.png).status_code == 403
    assert send(log_in(None), number, reader.scan.png).status_code == 302
    early = carry(desk)
    answer = send(log_in(cast.technician), early, reader.scan.png)
    assert answer.status_code == 409
    assert "no authority on record" in read_words(answer)
    assert not ReadingRun.objects.exists()
    assert reader.asked == []


def test_what_was_read_stands_nowhere_in_clear(
    reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    begin(client, number, reader)
    everything = dump_tables()
    for secret in (BITTING, "JFIF", "by_label", "upper_mm", "height_mm"):
        assert secret not in everything, secret
    for address in (f"/jobs/{number}/?leg=blade", f"/jobs/{number}/log/", f"/jobs/{number}/blade-reading/"):
        page = client.get(address).content.decode()
        assert BITTING not in page
        assert "data:image/jpeg" not in page


def test_a_colleague_says_why_and_every_look_is_on_record(
    reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "promise")
    begin(log_in(cast.technician), number, reader)
    client = log_in(cast.colleague)
    answer = do(client, number, "look-reading")
    assert answer.status_code == 422
    assert BITTING not in read_words(answer)
    assert find_inputs(answer, name="reason")[0]["aria-invalid"] == "true"
    assert BITTING in read_words(do(client, number, "look-reading", reason="cuts it for Tamsin"))
    looks = [
        (entry.person, entry.payload["name"], entry.payload["reason"])
        for entry in desk.store.entries(number, "seal.looked")
    ]
    assert looks == [
        ("tamsin", "reading", "reads the old key"),
        ("corin", "reading", "cuts it for Tamsin"),
    ]


def test_a_page_that_is_no_longer_true_takes_nothing(
    doubtful: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    hidden = begin(client, number, doubtful)
    do(client, number, "measure-again", **{**hidden, "reading-4": "6.21"})
    answer = do(client, number, "take-reading", **hidden, accept_because="seen before")
    assert answer.status_code == 409
    assert "a reading that was changed since this page was read" in read_words(answer)
    assert desk.store.load(number).blade is None


def test_a_reading_ends_with_its_job_or_when_it_is_thrown_away(
    reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    client = log_in(cast.technician)
    for end in ("drop", "withdraw", "enter"):
        number = carry(desk, "promise")
        begin(client, number, reader)
        assert "nobody has taken its bitting" in read_words(client.get(f"/jobs/{number}/?leg=blade"))
        if end == "drop":
            assert do(client, number, "drop-reading").status_code == 302
            assert [entry.kind for entry in desk.store.entries(number)][-1] == "blade.reading-dropped"
        elif end == "withdraw":
            act(desk, number, "withdraw", because="the key was found", sure="yes")
        else:
            act(desk, number, "enter-bitting", bitting=BITTING)
        assert not Sealed.objects.filter(job_id=number, name="reading").exists()
        words = read_words(do(client, number, "look-reading"))
        assert "No reading is on hand." in words
        assert "Show what was read" not in words


def test_a_good_reading_stays_until_a_better_picture_was_read(
    reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    begin(client, number, reader)
    send(log_in(cast.colleague), number, b"not a picture")
    words = read_words(client.get(reverse("blade-reading", args=[number])))
    assert "The picture was not read" in words
    assert "What was read before is still there." in words
    # Still the reader's own, who says no reason for it.
    assert BITTING in read_words(do(client, number, "look-reading"))
    send(client, number, reader.scan.png, dpi="301")
    assert "301 dpi as typed" in read_words(do(client, number, "look-reading"))
    assert Sealed.objects.filter(name="reading").count() == 1


@pytest.mark.parametrize(
    ("blade", "status", "said"),
    [
        ("alder-8", 200, "The key was read as heron-8, and the article takes alder-8 by now"),
        ("", 200, "the article takes no blade by now"),
    ],
)
def test_a_reading_for_another_article_is_shown_and_not_taken(
    blade: str, status: int, said: str, reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    hidden = begin(client, number, reader)
    with desk.store.transaction():
        job = desk.store.load_for_change(number)
        assert job.key is not None
        key = job.key.model_copy(update={"blade": blade})
        desk.store.save(job.model_copy(update={"key": key}), waits_for="")
    answer = do(client, number, "look-reading")
    assert answer.status_code == status
    assert said in read_words(answer)
    assert find_inputs(answer, name="do", value="take-reading") == []
    assert do(client, number, "take-reading", **hidden).status_code == 409
    typed = {**hidden, "reading-1": "7.4"}
    assert do(client, number, "measure-again", **typed).status_code == 409
    assert desk.store.load(number).blade is None
    assert do(client, number, "drop-reading").status_code == 302


def test_only_a_ticked_picture_stays(reader: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    hidden = begin(client, number, reader, keep="yes")
    do(client, number, "take-reading", **hidden)
    assert set(Sealed.objects.values_list("name", flat=True)) == {"bitting", "picture-1"}


def test_heights_half_typed_come_back(doubtful: KnowingReader, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    begin(client, number, doubtful)
    client.post(reverse("draft", args=[number, "measure-again"]), {"reading-4": "6.2", "sd_mm": "0.03"})
    (field,) = find_inputs(do(client, number, "look-reading"), name="reading-4")
    assert field["value"] == "6.2"
    do(client, number, "drop-reading")
    assert not Draft.objects.exists()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_measuring_card_is_served_to_print(paper: str, cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.counter)
    answer = client.get(reverse("measuring-card", args=[paper]))
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content[:5] == b"%PDF-"
    assert client.get(reverse("measuring-card", args=["a3"])).status_code == 404
