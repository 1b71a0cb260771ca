"""The shop's own run sheets: versions, who approved them, which one is in use."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Protocol

from bittern.core.errors import Fault, FaultsError, shorten
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.sheet import RunSheet
from bittern.formats.runsheets import parse_runsheet, write_runsheet
from bittern.formats.toml_files import ID_FORM
from bittern.work.entry import Entry
from bittern.work.errors import ConflictError, NoSuchSheetError, NotYetError
from bittern.work.people import Person, require
from bittern.work.ports import Desk
from bittern.work.sheet_difference import find_grave_changes

# Where a version comes from.
EDITED, IMPORTED, COPIED, LEARNT = "edited", "imported", "copied", "learnt"
MOST_LINE = 200
# Texts kept parsed: a shop's sheets and their versions, many times over.
_PARSED = 512


@dataclass(frozen=True, slots=True)
class SheetVersion:
    """One version of a run sheet: its text never changes, its approval may.

    Attributes
    ----------
    number
        1 for the first of the shop's own; 0 for the pack's sheet.
    line
        What changed, in a line.
    base_text
        The sheet with the figures that people gave it, before real runs taught; "" where it is the text.
    approval
        Rises with every approval of the sheet; 0 where it is not approved.
    """

    sheet: str
    number: int
    text: str
    person: str
    at: datetime
    line: str = ""
    origin: str = EDITED
    base_text: str = ""
    approved_by: str = ""
    approved_at: datetime | None = None
    approval: int = 0

    @property
    def name(self) -> str:
        """What a person calls it."""
        return f"version {self.number}" if self.number else "the pack's sheet"

    def read(self) -> RunSheet:
        """Return the sheet."""
        return read_text(self.text, self.sheet)

    def read_base(self) -> RunSheet:
        """Return the sheet before anything was learnt."""
        return read_text(self.base_text or self.text, self.sheet)


@dataclass(frozen=True, slots=True)
class SheetNote:
    """Who did what with a sheet, and when."""

    at: datetime
    person: str
    sheet: str
    number: int
    act: str
    what: str = ""


@dataclass(frozen=True, slots=True)
class SheetDraft:
    """What a person is writing: the document as typed, the version that it began with, a turn."""

    sheet: str
    person: str
    document: Mapping[str, object]
    based_on: int
    turn: int
    at: datetime


class SheetStore(Protocol):
    """Keeps the shop's run sheets. Changes happen inside :meth:`transaction`."""

    def transaction(self) -> AbstractContextManager[None]:
        """Open a transaction; it is undone when an error leaves it."""
        ...

    def hold(self, sheet: str, *, create: bool = False) -> bool:
        """Lock the sheet until the transaction ends; return whether it is there (made if need be)."""
        ...

    def names(self) -> Sequence[str]:
        """Return the ids of the shop's own sheets, those without a version too."""
        ...

    def versions(self, sheet: str) -> Sequence[SheetVersion]:
        """Return the versions of a sheet, newest first."""
        ...

    def all_in_use(self) -> Mapping[str, SheetVersion]:
        """Return the version in use of every sheet that has one approved."""
        ...

    def add(self, version: SheetVersion) -> None:
        """Keep a new version."""
        ...

    def set_approval(self, version: SheetVersion) -> None:
        """Keep the approval of a version."""
        ...

    def add_note(self, note: SheetNote) -> None:
        """Keep a note."""
        ...

    def notes(self, sheet: str) -> Sequence[SheetNote]:
        """Return the notes of a sheet, newest first."""
        ...

    def find_draft(self, sheet: str, person: str) -> SheetDraft | None:
        """Return what this person is writing."""
        ...

    def drafts(self, person: str) -> Sequence[SheetDraft]:
        """Return everything that this person is writing."""
        ...

    def keep_draft(self, draft: SheetDraft, turn: int) -> bool:
        """Keep a draft if the kept one stands at ``turn`` (0: there is none); return whether it did."""
        ...

    def drop_draft(self, sheet: str, person: str) -> None:
        """Remove a draft."""
        ...


@lru_cache(maxsize=_PARSED)
def read_text(text: str, sheet: str) -> RunSheet:
    """Return the run sheet in ``text``; the same text is read once."""
    return parse_runsheet(text, sheet)


def find_shop_sheet(desk: Desk, sheet_id: str) -> RunSheet | None:
    """Return the sheet in use: the shop's approved version, else the pack's, else None."""
    version = desk.sheets.all_in_use().get(sheet_id) if desk.sheets else None
    return version.read() if version else desk.pack.runsheets.get(sheet_id)


def list_sheets_in_use(desk: Desk) -> dict[str, RunSheet]:
    """Return every sheet in use by id: the pack's, and the shop's approved versions before them."""
    own = {name: one.read() for name, one in desk.sheets.all_in_use().items()} if desk.sheets else {}
    return dict(sorted((dict(desk.pack.runsheets) | own).items()))


def get_store(desk: Desk) -> SheetStore:
    """Return the store of run sheets; NotYetError where the desk has none."""
    if desk.sheets is None:
        raise NotYetError("no store of run sheets", "a desk that keeps them", where="run sheets")
    return desk.sheets


def list_versions(desk: Desk, sheet_id: str) -> list[SheetVersion]:
    """Return a sheet's versions, newest first, the pack's last as number 0; NoSuchSheetError for none.

    A sheet that somebody has begun and nobody saved has no version, and is there.
    """
    store = get_store(desk)
    found = list(store.versions(sheet_id))
    of_pack = desk.pack.runsheets.get(sheet_id)
    if of_pack is not None:
        found.append(_describe_pack(desk, of_pack))
    elif not found and sheet_id not in store.names():
        raise NoSuchSheetError(f"run sheet {sheet_id[:80]}", "the id of a run sheet")
    return found


def get_version(desk: Desk, sheet_id: str, number: int) -> SheetVersion:
    """Return one version; NoSuchSheetError."""
    for version in list_versions(desk, sheet_id):
        if version.number == number:
            return version
    raise NoSuchSheetError(f"version {number} of {sheet_id[:80]}", "the number of a version")


def find_in_use(versions: Sequence[SheetVersion]) -> SheetVersion | None:
    """Return the version in use among those of one sheet: approved last, else the pack's, else None."""
    approved = [one for one in versions if one.approval]
    if approved:
        return max(approved, key=lambda one: one.approval)
    return next((one for one in versions if one.number == 0), None)


def save_version(
    desk: Desk,
    person: Person,
    sheet: RunSheet,
    *,
    based_on: int,
    line: str,
    origin: str = EDITED,
    base: RunSheet | None = None,
) -> SheetVersion:
    """Keep ``sheet`` as a new version and return it.

    Parameters
    ----------
    based_on
        Number of the latest version when the writing began; a later one by now is a ConflictError.
    base
        The sheet before anything was learnt; left out, the figures that changed are a person's own.

    Raises
    ------
    FaultsError
        What is written does not read back: the form of a run sheet is broken.
    """
    require(person, "bench")
    require_id(sheet.id)
    text = write_runsheet(sheet)
    if parse_runsheet(text, sheet.id) != sheet:
        raise FaultsError([Fault(sheet.id, "a sheet that does not read back", "the form of a run sheet")])
    store, now = get_store(desk), desk.clock.now()
    with store.transaction():
        store.hold(sheet.id, create=True)
        versions = list_versions(desk, sheet.id)
        latest = versions[0] if versions else None
        _require_latest(sheet.id, latest, based_on)
        if latest and latest.text == text:
            raise NotYetError(
                "nothing changed", f"something other than version {latest.number}", where=sheet.id
            )
        kept = write_runsheet(base or carry_base(sheet, latest))
        version = SheetVersion(
            sheet=sheet.id,
            number=(latest.number if latest else 0) + 1,
            text=text,
            person=person.login,
            at=now,
            line=" ".join(line.split())[:MOST_LINE],
            origin=origin,
            base_text="" if kept == text else kept,
        )
        store.add(version)
        store.add_note(SheetNote(now, person.login, sheet.id, version.number, origin, version.line))
    return version


def require_id(sheet_id: str) -> None:
    """Raise FaultsError unless ``sheet_id`` can name a file and an address."""
    if not ID_FORM.fullmatch(sheet_id):
        expected = "at most 64 letters, digits, dots, dashes and underscores, a letter or digit first"
        raise FaultsError([Fault("id", shorten(sheet_id), expected)])


def carry_base(sheet: RunSheet, before: SheetVersion | None) -> RunSheet:
    """Return ``sheet`` with the figures as they were before anything was learnt.

    Where a step's figures are those of the version before, its base is kept; a step whose figures a person
    has changed starts from those.
    """
    if before is None or not before.base_text:
        return sheet
    old, base = before.read(), before.read_base()
    steps = dict(sheet.steps)
    for step_id, step in sheet.steps.items():
        if step_id in old.steps and step_id in base.steps and step == old.steps[step_id]:
            steps[step_id] = base.steps[step_id]
    return replace(sheet, steps=steps)


def approve_version(
    desk: Desk, sheet_id: str, number: int, person: Person, data: Mapping[str, object]
) -> SheetVersion:
    """Approve a version: fields in_use (the number in use when the page was drawn, or none) and sure.

    ``sure`` is the tick of the second deliberate act where points of no return or the census change.
    """
    require(person, "owner")
    store, entry = get_store(desk), Entry(data)
    with store.transaction():
        version, in_use = _hold_version(desk, sheet_id, number, entry)
        sheet = version.read()
        faults = find_sheet_faults(sheet)
        if faults:
            raise FaultsError(faults, where=sheet_id, hint="a version with faults cannot be approved")
        if in_use is not None and in_use.number == number:
            raise NotYetError(f"version {number} in use already", "another version", where=sheet_id)
        _require_sure(entry, in_use, version)
        now = desk.clock.now()
        last = max(one.approval for one in store.versions(sheet_id))
        approved = replace(version, approved_by=person.login, approved_at=now, approval=last + 1)
        store.set_approval(approved)
        store.add_note(SheetNote(now, person.login, sheet_id, number, "approved"))
    return approved


def take_back_approval(
    desk: Desk, sheet_id: str, number: int, person: Person, data: Mapping[str, object]
) -> SheetVersion | None:
    """Take back the approval of a version: fields in_use, sure, because; return what is in use now."""
    require(person, "owner")
    store, entry = get_store(desk), Entry(data)
    because = entry.text("because", limit=MOST_LINE)
    with store.transaction():
        version, in_use = _hold_version(desk, sheet_id, number, entry)
        if not version.approval:
            raise NotYetError(f"version {number} not approved", "a version that is", where=sheet_id)
        bare = replace(version, approved_by="", approved_at=None, approval=0)
        after = find_in_use([bare if one.number == number else one for one in list_versions(desk, sheet_id)])
        if after is None:
            _require_tick(entry)
        elif in_use is not None and after.number != in_use.number:
            _require_sure(entry, in_use, after)
        entry.finish()
        store.set_approval(bare)
        store.add_note(SheetNote(desk.clock.now(), person.login, sheet_id, number, "taken-back", because))
    return after


def _hold_version(
    desk: Desk, sheet_id: str, number: int, entry: Entry
) -> tuple[SheetVersion, SheetVersion | None]:
    """Return a version of the shop's own and the one in use, the sheet held; ConflictError on an old page."""
    get_store(desk).hold(sheet_id)
    version = get_version(desk, sheet_id, number)
    if number == 0:
        raise NotYetError("the pack's own sheet", "a version of the shop's", where=sheet_id)
    in_use = find_in_use(list_versions(desk, sheet_id))
    seen = entry.text("in_use", limit=20)
    if seen != mark_in_use(in_use):
        raise ConflictError(
            f"a page on which {seen or 'nothing'} was in use",
            f"{mark_in_use(in_use)}, which is in use now",
            where=sheet_id,
            hint="look at the page again: somebody approved or took back in the meantime",
        )
    return version, in_use


def mark_in_use(version: SheetVersion | None) -> str:
    """Return what a form says of the version that was in use when it was drawn.

    >>> mark_in_use(None)
    'none'
    """
    return "none" if version is None else str(version.number)


def _require_sure(entry: Entry, before: SheetVersion | None, after: SheetVersion) -> None:
    if find_grave_changes(before.read() if before else None, after.read()):
        _require_tick(entry)
    entry.finish()


def _require_tick(entry: Entry) -> None:
    if not entry.flag("sure"):
        entry.fault("sure", "not ticked", "a tick that you have read what changes")


def _require_latest(sheet_id: str, latest: SheetVersion | None, based_on: int) -> None:
    number = latest.number if latest else 0
    if number != based_on:
        raise ConflictError(
            f"what was begun from version {based_on}",
            f"version {number}, saved by {latest.person if latest else 'nobody'} in the meantime",
            where=sheet_id,
            hint="look at what changed there; what you wrote is kept, and can be saved on top",
        )


def _describe_pack(desk: Desk, sheet: RunSheet) -> SheetVersion:
    return SheetVersion(
        sheet=sheet.id,
        number=0,
        text=write_runsheet(sheet),
        person="",
        at=datetime.min,
        line=f"The sheet of the pack {desk.pack.title}, version {desk.pack.version}",
    )
