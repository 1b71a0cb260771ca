"""A run sheet as it is typed: what it reads as, and what one does with its steps."""

from __future__ import annotations

import json
from dataclasses import fields, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.demo import PACK_DIR
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.sheet import RunSheet
from bittern.formats.packs import read_pack
from bittern.formats.runsheets import parse_runsheet, write_runsheet
from bittern.formats.sheetmap import render_map
from bittern.work.sheet_draft import (
    DraftSheet,
    DraftStep,
    DraftWay,
    add_step,
    copy_step,
    draft_of,
    from_document,
    move_step,
    remove_step,
    to_document,
    write_number,
)
from bittern.work.sheet_new import make_starter
from bittern.work.sheet_reading import HEAD, read_draft

SHEETS = read_pack(PACK_DIR).runsheets


@pytest.mark.parametrize("name", sorted(SHEETS))
def test_a_sheet_typed_and_stored_reads_back_exactly(name: str) -> None:
    sheet = SHEETS[name]
    stored = json.loads(json.dumps(to_document(draft_of(sheet))))
    reading = read_draft(from_document(stored), name)
    assert reading.faults == ()
    assert reading.sheet == sheet
    assert list(reading.sheet.steps) == list(sheet.steps)


@given(st.floats(0, 1, allow_nan=False))
def test_a_chance_typed_in_percent_is_the_same_number(chance: float) -> None:
    sheet = make_starter("plain", "Plain")
    first = sheet.steps["first"]
    sheet = replace(
        sheet, steps={**sheet.steps, "first": replace(first, fails=(replace(first.fails[0], chance=chance),))}
    )
    # One cannot type more digits than the field takes; floats in between have at most seventeen.
    if len(write_number(chance, percent=True)) <= 30:
        assert read_draft(draft_of(sheet), "plain").sheet.steps["first"].fails[0].chance == chance


def find(draft: DraftSheet, step_id: str) -> DraftStep:
    return next(step for step in draft.steps if step.id == step_id)


def test_a_step_written_anew_keeps_the_ways_that_lead_to_it() -> None:
    draft = draft_of(SHEETS["marsh-turn-pair"])
    key = find(draft, "wake").key
    renamed = replace(
        draft, steps=tuple(replace(one, id="rouse") if one.key == key else one for one in draft.steps)
    )
    reading = read_draft(renamed, "marsh-turn-pair")
    assert reading.faults == ()
    before = SHEETS["marsh-turn-pair"]
    assert [one.then for one in before.steps.values() if one.then == "wake"]
    assert not [one for one in reading.sheet.steps.values() if "wake" in (one.then, one.id)]
    assert len(reading.sheet.steps) == len(before.steps)


def test_a_new_step_stands_in_the_way_and_taking_it_out_mends_it() -> None:
    draft = draft_of(make_starter("plain", "Plain"))
    more, key = add_step(draft, find(draft, "first").key)
    sheet = read_draft(more, "plain").sheet
    new = more.find(key).id
    assert (sheet.steps["first"].then, sheet.steps[new].then) == (new, "good")
    less, beside = remove_step(more, key)
    assert less == draft
    assert beside == find(draft, "good").key


def test_a_step_added_at_the_head_is_the_first() -> None:
    draft = draft_of(make_starter("plain", "Plain"))
    more, key = add_step(draft, "")
    assert (more.start, more.steps[0].key) == (key, key)
    assert read_draft(more, "plain").sheet.steps[more.find(key).id].then == "first"


def test_taking_out_an_end_leaves_the_ways_to_it_open_and_says_so() -> None:
    draft = draft_of(make_starter("plain", "Plain"))
    less, _ = remove_step(draft, find(draft, "unchanged").key)
    reading = read_draft(less, "plain")
    faults = [one for one in reading.faults if one.part == find(draft, "first").key]
    assert faults and any("unchanged" in one.found for one in faults)


def test_a_copy_leads_where_its_original_does_and_nothing_leads_to_it() -> None:
    draft = draft_of(make_starter("plain", "Plain"))
    original = find(draft, "first")
    more, key = copy_step(draft, original.key)
    copied = more.find(key)
    assert replace(copied, key=original.key, id="first") == original
    assert any(one.part == key for one in read_draft(more, "plain").unsound)


def test_moving_a_step_moves_no_way() -> None:
    draft = draft_of(make_starter("plain", "Plain"))
    down = move_step(draft, draft.steps[0].key, 1)
    assert [one.id for one in down.steps] == ["good", "first", "unchanged"]
    assert read_draft(down, "plain").sheet == read_draft(draft, "plain").sheet
    assert move_step(down, down.steps[-1].key, 1) == down


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("typical_s", "ten"), ("slowest_s", "-4"), ("window_s", "1e9"), ("id", "good"), ("id", ""),
        ("id", "a" * 65), ("kind", "hope"), ("outcome", "splendid"), ("signal_kind", "song"),
    ],
)  # fmt: skip
def test_a_field_that_cannot_be_read_is_named(field: str, typed: str) -> None:
    draft = draft_of(make_starter("plain", "Plain"))
    place = ["first", "good"].index("good" if field == "outcome" else "first")
    step = draft.steps[place]
    steps = [replace(one, **{field: typed}) if one is step else one for one in draft.steps]
    changed = replace(draft, steps=tuple(steps))
    assert (step.key, field) in {(one.part, one.field) for one in read_draft(changed, "plain").faults}


HOSTILE = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        ["1", "2", "3", "9", "?1", "?", "12", "0.5", "1e5", "100", "act", "end", "choose", "good", "yes"]
    ),
)
NEEDS = st.lists(HOSTILE, max_size=3).map(tuple)
WAYS = st.lists(st.builds(DraftWay, HOSTILE, HOSTILE, HOSTILE), max_size=3).map(tuple)
TEXTS = {one.name: HOSTILE for one in fields(DraftStep) if one.name not in ("key", "options", "fails")}
HEAD_TEXTS = {one.name: HOSTILE for one in fields(DraftSheet) if one.name not in ("needs", "steps")}


@st.composite
def drafts(draw: st.DrawFn) -> DraftSheet:
    count = draw(st.integers(0, 4))
    steps = tuple(
        DraftStep(
            key=str(place + 1), options=draw(WAYS), fails=draw(WAYS), **draw(st.fixed_dictionaries(TEXTS))
        )
        for place in range(count)
    )
    return DraftSheet(needs=draw(NEEDS), steps=steps, **draw(st.fixed_dictionaries(HEAD_TEXTS)))


@settings(max_examples=300)
@given(drafts())
def test_whatever_is_typed_is_read_drawn_and_stored(draft: DraftSheet) -> None:
    assert from_document(json.loads(json.dumps(to_document(draft)))) == draft
    reading = read_draft(draft, "any")
    keys = {HEAD, *(step.key for step in draft.steps)}
    assert {fault.part for fault in reading.faults} <= keys
    assert len(reading.sheet.steps) == len(draft.steps)
    if draft.steps:
        render_map(reading.sheet)
    check_savable(reading.sheet, readable=not reading.unread, sound=not reading.faults)


def check_savable(sheet: RunSheet, *, readable: bool, sound: bool) -> None:
    """A draft without unread fields keeps the form of a sheet; one without faults has none by the check."""
    if readable:
        assert parse_runsheet(write_runsheet(sheet), sheet.id) == sheet
    if sound:
        assert find_sheet_faults(sheet) == []
