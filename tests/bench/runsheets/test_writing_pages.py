"""The pages on which run sheets are written, taken in, compared, approved and taught, with hostile input."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from bittern.bench.people.models import as_person
from bittern.bench.runsheets.upload import LIMIT_BYTES
from bittern.formats.runsheets import parse_runsheet, write_runsheet
from bittern.work.memory import StepClock
from bittern.work.ports import Desk
from bittern.work.sheet_edit import open_writing
from bittern.work.sheets import find_shop_sheet, list_versions, save_version
from tests.bench.pages.walk import CENSUS, act, begin, carry_to_blade, find_run, make_event, walk
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
LogIn = Callable[[Any], Client]
SHEET = "marsh-turn-pair"
SCRIPT = "<script>alert(1)</script>"


def read(answer: Any) -> str:
    return unescape(answer.content.decode())


def save(desk: Desk, cast: Cast, **changes: Any) -> int:
    latest = list_versions(desk, SHEET)[0]
    sheet = replace(latest.read(), **changes)
    return save_version(desk, as_person(cast.technician), sheet, based_on=latest.number, line="x").number


# Approval


def test_an_owner_approves_on_the_page_and_a_technician_is_not_asked(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    save(desk, cast, title="Turned")
    address = reverse("run-sheet", args=[SHEET]) + "?version=1"
    assert reverse("run-sheet-approval", args=[SHEET]) not in read(log_in(cast.technician).get(address))
    owner = log_in(cast.owner)
    assert reverse("run-sheet-approval", args=[SHEET]) in read(owner.get(address))
    form = {"act": "approve-sheet", "number": "1", "in_use": "0"}
    refused = log_in(cast.technician).post(reverse("run-sheet-approval", args=[SHEET]), form)
    assert refused.status_code == 403
    answer = owner.post(reverse("run-sheet-approval", args=[SHEET]), form)
    assert answer.status_code == 302
    assert "This version is in use." in read(owner.get(answer["Location"]))
    assert find_shop_sheet(desk, SHEET).title == "Turned"  # type: ignore[union-attr]


@pytest.mark.parametrize("number", ["7", "-1", "one", "9" * 30, ""])
def test_a_version_that_is_not_there_is_approved_by_nobody(
    number: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    form = {"act": "approve-sheet", "number": number, "in_use": "0"}
    answer = log_in(cast.owner).post(reverse("run-sheet-approval", args=[SHEET]), form)
    assert 400 <= answer.status_code < 500
    assert find_shop_sheet(desk, SHEET) == desk.pack.runsheets[SHEET]


# Versions beside each other, and as files


def test_a_difference_names_what_changed_and_nothing_else(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    sheet = desk.pack.runsheets[SHEET]
    step = sheet.steps[sheet.start]
    save(desk, cast, steps={**sheet.steps, step.id: replace(step, typical_s=77.0, slowest_s=177.0)})
    page = read(
        log_in(cast.technician).get(reverse("run-sheet-difference", args=[SHEET]) + "?before=0&after=1")
    )
    main = page[page.index("<main") : page.index("</main")]
    assert "77" in main and "177" in main and step.id in main
    assert not [other for other in sheet.steps if other != step.id and f">{other}<" in main]


@pytest.mark.parametrize("query", ["?before=0&after=9", "?before=x&after=1", "", "?before=0"])
def test_a_difference_of_what_is_not_there_is_no_fault_of_the_program(
    query: str, cast: Cast, log_in: LogIn
) -> None:
    answer = log_in(cast.technician).get(reverse("run-sheet-difference", args=[SHEET]) + query)
    assert answer.status_code in (302, 404)


def test_a_version_is_given_as_a_file_that_reads_back(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    save(desk, cast, title="Turned")
    client = log_in(cast.technician)
    for number, title in ((0, desk.pack.runsheets[SHEET].title), (1, "Turned")):
        answer = client.get(reverse("run-sheet-file", args=[SHEET]) + f"?version={number}")
        assert answer["Content-Type"] == "application/toml"
        assert answer["Content-Disposition"] == f'attachment; filename="{SHEET}.toml"'
        assert parse_runsheet(answer.content.decode(), SHEET).title == title
    assert client.get(reverse("run-sheet-file", args=["no-such"]) + "?version=0").status_code == 404


# A file taken in


def send(client: Client, content: bytes, name: str = "own.toml") -> Any:
    return client.post(reverse("import-run-sheet"), {"file": SimpleUploadedFile(name, content)})


def test_a_file_is_taken_in_as_a_version(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    text = write_runsheet(replace(desk.pack.runsheets[SHEET], title="From a file"))
    answer = send(log_in(cast.technician), text.encode())
    assert answer.status_code == 302
    version = list_versions(desk, SHEET)[0]
    assert (version.number, version.origin, version.read().title) == (1, "imported", "From a file")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "file"),
        (b"\x00\x01\xff\xfe" * 40, "NUL byte"),
        (b"title = \xe9", "not UTF-8 in line 1"),
        (b"this is no toml", "not TOML"),
        (b'id = "own"\ntitle = "T"\nstart = "a"\ncensus = "all"\n', "own"),
        (b"x = 1\n" * (LIMIT_BYTES // 6 + 10), f"{LIMIT_BYTES:,}"),
    ],
)
def test_a_file_that_is_none_says_so_and_keeps_nothing(
    content: bytes, said: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    before = set(desk.sheets.names()) if desk.sheets else set()
    answer = send(log_in(cast.technician), content)
    assert 400 <= answer.status_code < 500
    assert said in read(answer)
    assert desk.sheets is not None and set(desk.sheets.names()) == before


def test_a_fault_of_a_file_names_its_step(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    text = write_runsheet(desk.pack.runsheets[SHEET]).replace('kind = "act"', 'kind = "hope"', 1)
    page = read(send(log_in(cast.technician), text.encode()))
    assert "hope" in page and desk.pack.runsheets[SHEET].start in page


# What real runs taught


def test_what_runs_taught_is_shown_before_it_is_taken(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk, inspected=True)
    assert isinstance(desk.clock, StepClock)
    desk.clock.step = timedelta(seconds=200)
    for _ in range(4):
        begin(desk, number, **CENSUS)
        walk(desk, number, lambda run: len(run.state.history) == 2)
        run = find_run(desk, number)
        act(desk, number, "pairing-event", **make_event(run), kind="abandoned", give_up="yes")
    name = find_run(desk, number).sheet.id
    client, address = log_in(cast.technician), reverse("run-sheet-runs", args=[name])
    page = read(client.get(address))
    mark = re.search(r'name="mark" value="([0-9a-f]+)"', page)
    keys = re.findall(r'name="take" value="([^"]+)"', page)
    assert mark and keys
    assert find_run(desk, number).sheet.steps[desk.pack.runsheets[name].start].id in page
    assert "200 s" in page
    assert [one.number for one in list_versions(desk, name)] == [0]
    assert client.post(address, {"mark": "0" * 16, "take": keys[:1]}).status_code == 409
    assert client.post(address, {"mark": mark[1]}).status_code == 422
    assert [one.number for one in list_versions(desk, name)] == [0]
    assert client.post(address, {"mark": mark[1], "take": keys[:1]}).status_code == 302
    version = list_versions(desk, name)[0]
    assert (version.number, version.origin) == (1, "learnt")
    assert version.read() != version.read_base() == desk.pack.runsheets[name]


# The editor


def get_editor(client: Client, part: str = "head") -> str:
    return read(client.get(reverse("run-sheet-edit", args=[SHEET]) + f"?part={part}"))


def type_into(client: Client, **fields: str) -> Any:
    return client.post(reverse("run-sheet-edit", args=[SHEET]), fields)


def test_the_editor_shows_every_field_of_a_step_as_it_is(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    writing = open_writing(desk, as_person(cast.technician), SHEET)
    step = next(one for one in writing.draft.steps if one.signal_kind and one.fails)
    page = get_editor(log_in(cast.technician), step.key)
    for typed in (step.id, step.say, step.typical_s, step.slowest_s, step.signal_count, step.fails[0].words):
        assert typed in page


def test_words_of_a_sheet_are_words_wherever_they_stand(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client = log_in(cast.technician)
    first = open_writing(desk, as_person(cast.technician), SHEET).draft.steps[0]
    typed = {
        "part": first.key,
        "turn": "0",
        "say": SCRIPT,
        "id": SCRIPT,
        "fail-0-words": SCRIPT,
        "fail-0-chance": "1",
        "fail-0-to": first.key,
        "do": "keep",
    }
    assert type_into(client, **typed).status_code == 302
    kept = open_writing(desk, as_person(cast.technician), SHEET)
    head = {"part": "head", "turn": str(kept.turn), "title": SCRIPT, "other_needs": SCRIPT, "do": "save"}
    assert type_into(client, **head).status_code == 302
    for address in (
        reverse("run-sheet-edit", args=[SHEET]),
        reverse("run-sheet", args=[SHEET]) + "?version=1",
        reverse("run-sheet-difference", args=[SHEET]) + "?before=0&after=1",
    ):
        page = client.get(address).content.decode()
        assert SCRIPT not in page
        assert "&lt;script&gt;" in page


@pytest.mark.parametrize(
    "fields",
    [
        {"part": "no-such-step", "turn": "0", "title": "x"},
        {"part": "head", "turn": "0", "do": "explode"},
        {"part": "head", "turn": "0", "do": "remove:999"},
        {"part": "head", "turn": "many", "title": "x"},
        {"part": "head", "turn": "0", "title": "x" * 1_200_000},
        {"part": "head", "turn": "0", "census": "all", "least_v": "1e999", "do": "save"},
        {"turn": "\x00", "part": "\x00", "do": "\x00:\x00"},
        {},
    ],
)
def test_what_no_page_sends_is_refused_in_words(
    fields: dict[str, str], cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    answer = type_into(log_in(cast.technician), **fields)
    assert answer.status_code < 500
    assert [one.number for one in list_versions(desk, SHEET)] == [0]
    kept = open_writing(desk, as_person(cast.technician), SHEET)
    assert len(kept.draft.steps) == len(desk.pack.runsheets[SHEET].steps)
    assert len(kept.draft.title) < 1000


def test_a_fault_stands_beside_its_field_and_what_was_typed_stays(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    client = log_in(cast.technician)
    step = open_writing(desk, as_person(cast.technician), SHEET).draft.steps[0]
    answer = type_into(client, part=step.key, turn="0", typical_s="soon", do="keep")
    page = read(client.get(answer["Location"]))
    assert 'value="soon"' in page
    assert "“soon”" in page and "a number from 0" in page
    # All the rest of the step was not sent, and stands.
    assert step.say in page


def test_nobody_at_the_counter_writes(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client = log_in(cast.counter)
    address = reverse("run-sheet-edit", args=[SHEET])
    assert client.get(address).status_code == 403
    assert client.post(address, {"part": "head", "turn": "0", "title": "x", "do": "save"}).status_code == 403
    assert [one.number for one in list_versions(desk, SHEET)] == [0]
