"""Writing a run sheet: a draft of one's own that keeps whatever is typed, until it is saved as a version."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from bittern.core.errors import Fault, FaultsError, InputError, shorten
from bittern.work.entry import Entry
from bittern.work.errors import ConflictError, NotYetError
from bittern.work.people import Person, require
from bittern.work.ports import Desk
from bittern.work.sheet_difference import describe_changes, suggest_line
from bittern.work.sheet_draft import (
    MOST_WAYS,
    DraftSheet,
    DraftWay,
    add_step,
    copy_step,
    draft_of,
    drop_empty_rows,
    from_document,
    move_step,
    name_step,
    remove_step,
    to_document,
)
from bittern.work.sheet_reading import HEAD, Reading, read_draft
from bittern.work.sheets import (
    EDITED,
    MOST_LINE,
    SheetDraft,
    SheetVersion,
    get_store,
    list_versions,
    save_version,
)

MOST_DRAFT = 1_000_000
KEEP, OPEN, ADD, COPY, REMOVE, UP, DOWN, ON_TOP = (
    "keep",
    "open",
    "add",
    "copy",
    "remove",
    "up",
    "down",
    "on-top",
)
_HEAD_FIELDS = ("title", "start", "census", "other_needs", "least_v", "comfort_v")
_STEP_FIELDS = (
    "id",
    "kind",
    "say",
    "typical_s",
    "slowest_s",
    "then",
    "outcome",
    "recovery",
    "window_s",
    "no_return",
    "signal_kind",
    "signal_count",
    "signal_text",
)
# What no database keeps, and no person types.
_UNFIT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Writing:
    """What a person is writing.

    Attributes
    ----------
    turn
        Rises with every change kept; 0 where nothing differs from version ``based_on`` yet.
    latest
        The latest version now; another than ``based_on`` where somebody saved in the meantime.
    part
        What stands open: "head", or the key of a step.
    """

    draft: DraftSheet
    turn: int
    based_on: int
    latest: SheetVersion | None
    part: str = HEAD

    @property
    def overtaken(self) -> bool:
        """Whether somebody saved a version since this was begun."""
        return self.latest is not None and self.latest.number != self.based_on


def open_writing(desk: Desk, person: Person, sheet_id: str, part: str = "") -> Writing:
    """Return what this person is writing about a sheet, or its latest version as one would have typed it.

    Raises
    ------
    NotAllowedError, NoSuchSheetError
        The person does not write sheets; there is no such sheet.
    """
    require(person, "bench")
    versions = list_versions(desk, sheet_id)
    latest = versions[0] if versions else None
    kept = get_store(desk).find_draft(sheet_id, person.login)
    if kept is not None:
        draft, turn, based_on = from_document(kept.document), kept.turn, kept.based_on
    else:
        draft = draft_of(latest.read()) if latest else DraftSheet()
        turn, based_on = 0, latest.number if latest else 0
    known = part == HEAD or any(step.key == part for step in draft.steps)
    first = draft.start if any(step.key == draft.start for step in draft.steps) else HEAD
    return Writing(draft, turn, based_on, latest, part if known else first)


def write_writing(desk: Desk, person: Person, sheet_id: str, data: Mapping[str, object]) -> Writing:
    """Keep what was typed, then do what was asked; return what is written now.

    Parameters
    ----------
    data
        Fields turn, part (what stands open), those of the part, and line (what changed);
        do: nothing while typing, else ``keep``, ``on-top``, or ``open``, ``add``, ``copy``, ``remove``,
        ``up``, ``down`` with ":" and a step's key;
        anyway: keep it although another window wrote in the meantime.

    Raises
    ------
    ConflictError
        Another window of this person's changed the draft after this one was drawn.
    NotYetError, NoSuchSheetError, InputError
        The sheet is full; the step was taken out; the order is none, or far too much was typed.
    """
    before = open_writing(desk, person, sheet_id, Entry(data).text("part", limit=20))
    typed = _type(before, data)
    draft, part = _obey(typed, before.part, Entry(data).text("do", limit=40))
    based_on = before.based_on
    if Entry(data).text("do") == ON_TOP and before.latest:
        based_on = before.latest.number
    return _keep(desk, person, sheet_id, replace(before, draft=draft, part=part, based_on=based_on), before)


def _type(before: Writing, data: Mapping[str, object]) -> DraftSheet:
    """Return the draft with what was typed into the open part."""
    entry = Entry(data)
    turn = entry.text("turn", limit=12)
    if turn != str(before.turn) and not entry.flag("anyway"):
        raise ConflictError(
            "a page older than what was written since in another window",
            "the latest",
            where="the draft",
            hint="what you typed here is still in the fields",
        )
    return write_part(before.draft, before.part, data)


def write_part(draft: DraftSheet, part: str, data: Mapping[str, object]) -> DraftSheet:
    """Return the draft with the fields of one part as they were sent; a field left out stays."""
    draft = replace(draft, line=_text(data, "line")) if "line" in data else draft
    if part == HEAD:
        texts: dict[str, Any] = {name: _text(data, name) for name in _HEAD_FIELDS if name in data}
        needs = data.get("needs", [])
        ticked = [needs] if isinstance(needs, str) else needs if isinstance(needs, list) else []
        return replace(draft, **texts, needs=tuple(_clean(str(need)) for need in ticked))
    place = draft.place(part)
    texts = {name: _text(data, name) for name in _STEP_FIELDS if name in data}
    # A tick that was taken away is not sent.
    texts["no_return"] = "yes" if data.get("no_return") == "yes" else ""
    step = replace(draft.steps[place], **texts, options=_rows(data, "option"), fails=_rows(data, "fail"))
    return replace(draft, steps=(*draft.steps[:place], step, *draft.steps[place + 1 :]))


def _text(data: Mapping[str, object], name: str) -> str:
    value = data.get(name, "")
    return _clean(value).replace("\r\n", "\n") if isinstance(value, str) else ""


def _clean(text: str) -> str:
    return _UNFIT.sub("\N{REPLACEMENT CHARACTER}", text)


def _rows(data: Mapping[str, object], name: str) -> tuple[DraftWay, ...]:
    """Return the rows of ways that were sent, up to the last that something was typed into."""
    rows = [
        DraftWay(*(_text(data, f"{name}-{place}-{field}") for field in ("to", "chance", "words")))
        for place in range(MOST_WAYS)
    ]
    while rows and rows[-1].is_empty:
        rows.pop()
    return tuple(rows)


def _obey(draft: DraftSheet, part: str, order: str) -> tuple[DraftSheet, str]:
    """Return the draft after ``order``, and the part that stands open then."""
    verb, _, key = order.partition(":")
    if not verb:
        return draft, part
    # The page is drawn anew: its rows close up. While one types they stay where they are.
    draft = drop_empty_rows(draft)
    if verb in (KEEP, ON_TOP):
        return draft, part
    if verb == OPEN:
        known = key == HEAD or any(step.key == key for step in draft.steps)
        return draft, key if known else HEAD
    if verb in (UP, DOWN):
        return move_step(draft, key, -1 if verb == UP else 1), key
    deeds = {ADD: add_step, COPY: copy_step, REMOVE: remove_step}
    if verb not in deeds:
        raise InputError(shorten(order), "something that can be done with a step", where="do")
    changed, beside = deeds[verb](draft, key)
    return changed, beside or HEAD


def _keep(desk: Desk, person: Person, sheet_id: str, writing: Writing, before: Writing) -> Writing:
    """Keep what differs from what is kept; return it with its turn."""
    if (writing.draft, writing.based_on) == (before.draft, before.based_on):
        return writing
    document = to_document(writing.draft)
    if len(json.dumps(document)) > MOST_DRAFT:
        raise InputError("far more than a procedure has", f"at most {MOST_DRAFT:,} characters", where="draft")
    new = replace(writing, turn=before.turn + 1)
    store = get_store(desk)
    kept = SheetDraft(sheet_id, person.login, document, new.based_on, new.turn, desk.clock.now())
    if not store.keep_draft(kept, before.turn):
        raise ConflictError(
            "another window that wrote at the same moment",
            "one at a time",
            where="the draft",
            hint="what you typed here is still in the fields",
        )
    return new


def save_writing(desk: Desk, person: Person, sheet_id: str, data: Mapping[str, object]) -> SheetVersion:
    """Keep what was typed and save all of it as a new version: fields of :func:`write_writing`.

    Raises
    ------
    FaultsError
        A field cannot be read; each is named. A procedure with faults is saved: it cannot be approved.
    ConflictError
        Somebody saved a version since this was begun; the draft stays.
    """
    writing = write_writing(desk, person, sheet_id, {**data, "do": KEEP})
    reading = read_draft(writing.draft, sheet_id)
    if reading.unread:
        faults = [
            Fault(f"{name_part(writing.draft, one.part)}, {one.field}", one.found, one.expected)
            for one in reading.unread
        ]
        raise FaultsError(faults, where=sheet_id, hint="these fields cannot be read yet")
    line = writing.draft.line.strip()[:MOST_LINE] or suggest_save_line(writing, reading)
    version = save_version(desk, person, reading.sheet, based_on=writing.based_on, line=line, origin=EDITED)
    get_store(desk).drop_draft(sheet_id, person.login)
    return version


def suggest_save_line(writing: Writing, reading: Reading) -> str:
    """Return what changed since the latest version, for whoever writes no line of their own."""
    if writing.latest is None:
        return "The first version"
    return suggest_line(describe_changes(writing.latest.read(), reading.sheet))[:MOST_LINE]


def drop_writing(desk: Desk, person: Person, sheet_id: str) -> None:
    """Throw away what this person has written and not saved; NotYetError where there is nothing."""
    require(person, "bench")
    store = get_store(desk)
    if store.find_draft(sheet_id, person.login) is None:
        raise NotYetError("nothing unsaved", "something that you have written", where=sheet_id)
    store.drop_draft(sheet_id, person.login)


def name_part(draft: DraftSheet, part: str) -> str:
    """Return what a person calls a part: the sheet itself, or a step."""
    return "the sheet" if part == HEAD else name_step(draft, part)
