"""Reading the old key: what was read is looked at, measured again, taken; who sees it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.models import Draft, Sealed
from bittern.bench.readings.models import ReadingRun
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.bench.pages.old_key import begin, do, find_hidden, send
from tests.bench.pages.test_label import dump_tables
from tests.bench.pages.walk import BITTING, act
from tests.conftest import Cast
from tests.key_pictures import KnowingReader, scan_key, stand_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("read_at_once")]

LogIn = Callable[[Any], Client]


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
    key_scan: Any,
    monkeypatch: pytest.MonkeyPatch,
    cast: Cast,
    log_in: LogIn,
    desk: Desk,
) -> None:
    reader = stand_in(monkeypatch, KnowingReader(key_scan, **more))
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
