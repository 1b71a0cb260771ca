"""The shop's run sheets: versions, approval, files, what real runs taught, and what an open job keeps."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from bittern.bench.people.models import as_person
from bittern.core.errors import FaultsError
from bittern.engines.pairing.sheet import RunSheet
from bittern.formats.runsheets import parse_runsheet, write_runsheet
from bittern.work.errors import ConflictError, NoSuchSheetError, NotAllowedError, NotYetError
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.sheet_draft import write_number
from bittern.work.sheet_edit import drop_writing, open_writing, save_writing, write_writing
from bittern.work.sheet_new import begin_sheet, import_sheet
from bittern.work.sheets import (
    approve_version,
    find_in_use,
    find_shop_sheet,
    get_store,
    list_sheets_in_use,
    list_versions,
    save_version,
    take_back_approval,
)
from tests.conftest import Cast

pytestmark = [pytest.mark.django_db, pytest.mark.store]
SHEET = "marsh-turn-pair"


@pytest.fixture
def owner(cast: Cast) -> Person:
    return as_person(cast.owner)


@pytest.fixture
def tech(cast: Cast) -> Person:
    return as_person(cast.technician)


def retitle(desk: Desk, person: Person, title: str, *, based_on: int = 0, name: str = SHEET) -> RunSheet:
    sheet = replace(desk.pack.runsheets[name], title=title)
    save_version(desk, person, sheet, based_on=based_on, line=title)
    return sheet


def approve(desk: Desk, owner: Person, number: int, in_use: str, **more: str) -> Any:
    return approve_version(desk, SHEET, number, owner, {"in_use": in_use, **more})


def test_a_saved_version_is_in_use_from_its_approval_on(desk: Desk, owner: Person, tech: Person) -> None:
    sheet = retitle(desk, tech, "Turned")
    assert find_shop_sheet(desk, SHEET) == desk.pack.runsheets[SHEET]
    approved = approve(desk, owner, 1, "0")
    assert (approved.approved_by, approved.number) == (owner.login, 1)
    assert find_shop_sheet(desk, SHEET) == sheet
    assert list_sheets_in_use(desk)[SHEET] == sheet
    assert [(note.act, note.person) for note in get_store(desk).notes(SHEET)] == [
        ("approved", owner.login), ("edited", tech.login),
    ]  # fmt: skip


def test_only_an_owner_approves_and_nobody_at_the_counter_writes(
    desk: Desk, cast: Cast, tech: Person
) -> None:
    retitle(desk, tech, "Turned")
    with pytest.raises(NotAllowedError):
        approve(desk, tech, 1, "0")
    with pytest.raises(NotAllowedError):
        retitle(desk, as_person(cast.counter), "Mine", based_on=1)
    assert find_in_use(list_versions(desk, SHEET)).number == 0  # type: ignore[union-attr]


def test_the_pack_s_sheet_a_second_time_and_a_page_grown_old_are_refused(desk: Desk, owner: Person) -> None:
    retitle(desk, owner, "Turned")
    with pytest.raises(NotYetError):
        approve(desk, owner, 0, "0")
    with pytest.raises(NoSuchSheetError):
        approve(desk, owner, 7, "0")
    approve(desk, owner, 1, "0")
    with pytest.raises(NotYetError):
        approve(desk, owner, 1, "1")
    retitle(desk, owner, "Turned again", based_on=1)
    with pytest.raises(ConflictError):
        approve(desk, owner, 2, "0")


def test_approval_taken_back_leaves_what_was_in_use_before(desk: Desk, owner: Person) -> None:
    retitle(desk, owner, "One")
    approve(desk, owner, 1, "0")
    retitle(desk, owner, "Two", based_on=1)
    approve(desk, owner, 2, "1")
    after = take_back_approval(desk, SHEET, 2, owner, {"in_use": "2", "because": "It was too early."})
    assert after is not None and after.number == 1
    assert find_shop_sheet(desk, SHEET).title == "One"  # type: ignore[union-attr]
    assert get_store(desk).notes(SHEET)[0].what == "It was too early."
    after = take_back_approval(desk, SHEET, 1, owner, {"in_use": "1", "because": ""})
    assert after is not None and after.number == 0


def test_a_point_of_no_return_is_changed_by_a_second_deliberate_act(desk: Desk, owner: Person) -> None:
    sheet = desk.pack.runsheets[SHEET]
    point = next(step for step in sheet.steps.values() if step.no_return)
    milder = replace(sheet, steps={**sheet.steps, point.id: replace(point, no_return=False)})
    save_version(desk, owner, milder, based_on=0, line="No point of no return")
    with pytest.raises(FaultsError):
        approve(desk, owner, 1, "0")
    assert approve(desk, owner, 1, "0", sure="yes").approval


def test_a_version_with_faults_is_kept_and_not_approved(desk: Desk, owner: Person) -> None:
    sheet = desk.pack.runsheets[SHEET]
    first = sheet.steps[sheet.start]
    broken = replace(sheet, steps={**sheet.steps, first.id: replace(first, then="nowhere")})
    save_version(desk, owner, broken, based_on=0, line="Broken")
    with pytest.raises(FaultsError, match="nowhere"):
        approve(desk, owner, 1, "0", sure="yes")


def test_two_people_who_save_at_once_do_not_write_over_each_other(
    desk: Desk, owner: Person, tech: Person
) -> None:
    retitle(desk, tech, "Mine")
    with pytest.raises(ConflictError, match="version 1"):
        retitle(desk, owner, "No, mine")
    assert list_versions(desk, SHEET)[0].line == "Mine"
    with pytest.raises(NotYetError):
        retitle(desk, owner, "Mine", based_on=1)


@pytest.mark.parametrize("name", ["marsh-turn-pair", "tide-remote-sync", "fen-push-renew"])
def test_a_sheet_goes_out_as_a_file_and_comes_in_as_it_was(desk: Desk, tech: Person, name: str) -> None:
    sheet = replace(desk.pack.runsheets[name], title="As it was")
    text = write_runsheet(sheet)
    version = import_sheet(desk, tech, text, f"{name}.toml")
    assert (version.number, version.origin, version.read()) == (1, "imported", sheet)
    assert parse_runsheet(version.text, name) == sheet
    assert "As it was" in version.line or name in version.line


def test_a_broken_file_says_where_and_keeps_nothing(desk: Desk, tech: Person) -> None:
    text = write_runsheet(desk.pack.runsheets[SHEET]).replace('kind = "act"', 'kind = "hope"', 1)
    with pytest.raises(FaultsError, match="hope"):
        import_sheet(desk, tech, text, "broken.toml")
    assert [one.number for one in list_versions(desk, SHEET)] == [0]


def test_a_sheet_is_begun_from_scratch_or_like_another(desk: Desk, tech: Person) -> None:
    begun = begin_sheet(desk, tech, {"id": "own-pair", "title": "Our own"})
    assert begun.read().steps["good"].outcome == "good"
    copied = begin_sheet(desk, tech, {"id": "own-copy", "title": "A copy", "like": SHEET})
    assert copied.read() == replace(desk.pack.runsheets[SHEET], id="own-copy", title="A copy")
    assert "own-copy" not in list_sheets_in_use(desk)
    for data in (
        {"id": "own-pair", "title": "Twice"},
        {"id": "../up", "title": "Out"},
        {"id": "x", "title": ""},
    ):
        with pytest.raises(FaultsError):
            begin_sheet(desk, tech, data)
    with pytest.raises(FaultsError):
        begin_sheet(desk, tech, {"id": "own-third", "title": "Like none", "like": "no-such"})


def type_title(desk: Desk, person: Person, title: str, turn: str, **more: str) -> Any:
    return write_writing(desk, person, SHEET, {"part": "head", "turn": turn, "title": title, **more})


def test_what_is_typed_is_kept_until_it_is_saved(desk: Desk, tech: Person, owner: Person) -> None:
    assert open_writing(desk, tech, SHEET).turn == 0
    type_title(desk, tech, "Begun", "0")
    kept = open_writing(desk, tech, SHEET)
    assert (kept.draft.title, kept.turn) == ("Begun", 1)
    assert open_writing(desk, owner, SHEET).draft.title == desk.pack.runsheets[SHEET].title
    version = save_writing(
        desk, tech, SHEET, {"part": "head", "turn": "1", "title": "Done", "line": "A better name"}
    )
    assert (version.read().title, version.line, version.number) == ("Done", "A better name", 1)
    assert open_writing(desk, tech, SHEET).turn == 0
    with pytest.raises(NotYetError):
        drop_writing(desk, tech, SHEET)


def test_a_second_window_does_not_write_over_the_first_unasked(desk: Desk, tech: Person) -> None:
    type_title(desk, tech, "First", "0")
    with pytest.raises(ConflictError):
        type_title(desk, tech, "Second", "0")
    assert open_writing(desk, tech, SHEET).draft.title == "First"
    type_title(desk, tech, "Second", "0", anyway="yes")
    assert open_writing(desk, tech, SHEET).draft.title == "Second"
    drop_writing(desk, tech, SHEET)
    assert open_writing(desk, tech, SHEET).draft.title == desk.pack.runsheets[SHEET].title


def test_a_field_that_cannot_be_read_keeps_a_version_from_being_saved(desk: Desk, tech: Person) -> None:
    step = open_writing(desk, tech, SHEET).draft.steps[0]
    with pytest.raises(FaultsError, match="soon"):
        save_writing(desk, tech, SHEET, {"part": step.key, "turn": "0", "typical_s": "soon"})
    kept = open_writing(desk, tech, SHEET, step.key)
    assert kept.draft.find(step.key).typical_s == "soon"
    assert [one.number for one in list_versions(desk, SHEET)] == [0]
    typed = {"part": step.key, "turn": str(kept.turn), "typical_s": write_number(12.0)}
    assert save_writing(desk, tech, SHEET, typed).read().steps[step.id].typical_s == 12.0


def test_saving_upon_somebody_else_s_version_is_asked_for(desk: Desk, tech: Person, owner: Person) -> None:
    type_title(desk, tech, "Mine", "0")
    retitle(desk, owner, "Theirs")
    assert open_writing(desk, tech, SHEET).overtaken
    with pytest.raises(ConflictError):
        save_writing(desk, tech, SHEET, {"part": "head", "turn": "1"})
    turn = str(open_writing(desk, tech, SHEET).turn)
    write_writing(desk, tech, SHEET, {"part": "head", "turn": turn, "do": "on-top"})
    turn = str(open_writing(desk, tech, SHEET).turn)
    assert save_writing(desk, tech, SHEET, {"part": "head", "turn": turn}).number == 2
