"""A run sheet begun or taken in: from scratch, like another, from a file, or with what real runs taught."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from bittern.core.errors import FaultsError
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.learning import Proposal, apply_proposals
from bittern.engines.pairing.sheet import Failure, RunSheet, Step
from bittern.formats.runsheets import parse_runsheet
from bittern.formats.toml_files import ID_FORM
from bittern.work.entry import Entry
from bittern.work.errors import ConflictError, NoSuchSheetError, NotYetError
from bittern.work.people import Person, require
from bittern.work.ports import Desk
from bittern.work.run_records import propose_for_sheet
from bittern.work.sheet_difference import describe_changes, suggest_line
from bittern.work.sheets import (
    COPIED,
    EDITED,
    IMPORTED,
    LEARNT,
    SheetVersion,
    find_in_use,
    get_store,
    list_versions,
    save_version,
)

MOST_TITLE = 120


@dataclass(frozen=True, slots=True)
class Taught:
    """What real runs propose for the latest version of a sheet.

    Attributes
    ----------
    version
        What the proposals are for.
    runs
        How many runs of this sheet there are, all versions together.
    mark
        Tells these figures from those that more runs would give.
    """

    version: SheetVersion
    proposals: tuple[Proposal, ...]
    runs: int
    mark: str


def begin_sheet(desk: Desk, person: Person, data: Mapping[str, object]) -> SheetVersion:
    """Keep a first version: fields id, title, and like (the sheet that it is a copy of, or none)."""
    require(person, "bench")
    entry = Entry(data)
    sheet_id = entry.text("id", limit=64)
    title = entry.text("title", required=True, expected="what the sheet is called", limit=MOST_TITLE)
    like = entry.text("like", limit=80)
    if not ID_FORM.fullmatch(sheet_id):
        entry.fault("id", sheet_id or "nothing", "letters, digits, dots and dashes, a letter or digit first")
    elif _is_taken(desk, sheet_id):
        entry.fault("id", sheet_id, "an id that no run sheet has")
    copied = None
    try:
        copied = find_in_use(list_versions(desk, like)) or list_versions(desk, like)[0] if like else None
    except (NoSuchSheetError, IndexError):
        entry.fault("like", like, "a run sheet that there is")
    entry.finish()
    if copied is None:
        return save_version(
            desk, person, make_starter(sheet_id, title), based_on=0, line="Begun from scratch", origin=EDITED
        )
    sheet, line = replace(copied.read(), id=sheet_id, title=title), f"A copy of {like}, {copied.name}"
    return save_version(desk, person, sheet, based_on=0, line=line, origin=COPIED)


def make_starter(sheet_id: str, title: str) -> RunSheet:
    """Return the sheet that one begun from scratch starts as: sound, and with nothing in it."""
    first = Step(
        "first",
        "act",
        "Say here what is done first.",
        10.0,
        30.0,
        then="good",
        fails=(Failure("unchanged", 0.1, "it does not happen"),),
    )
    ends = [
        Step("good", "end", "The key works.", outcome="good"),
        Step("unchanged", "end", "Everything is as before.", outcome="unchanged"),
    ]
    return RunSheet(sheet_id, title, "first", "all", steps={step.id: step for step in (first, *ends)})


def import_sheet(desk: Desk, person: Person, text: str, file: str) -> SheetVersion:
    """Keep the run sheet in ``text`` as a new version of the sheet whose id it has.

    What breaks the form is an error that names each step; a sheet whose paths lead nowhere is kept, and
    cannot be approved.
    """
    require(person, "bench")
    sheet = parse_runsheet(text, file)
    latest = None
    if _is_taken(desk, sheet.id):
        versions = list_versions(desk, sheet.id)
        latest = versions[0] if versions else None
    line = f"From the file {file}"
    if latest is not None:
        line += f". {suggest_line(describe_changes(latest.read(), sheet))}"
    number = latest.number if latest else 0
    return save_version(desk, person, sheet, based_on=number, line=line, origin=IMPORTED)


def study_runs(desk: Desk, sheet_id: str) -> Taught:
    """Return what real runs propose for the latest version; NotYetError or FaultsError where it cannot be."""
    versions = list_versions(desk, sheet_id)
    if not versions:
        raise NotYetError("no version saved yet", "a version, and runs of it", where=sheet_id)
    version = versions[0]
    sheet = version.read()
    faults = find_sheet_faults(sheet)
    if faults:
        raise FaultsError(faults, where=sheet_id, hint="mend the latest version first")
    proposals, runs = propose_for_sheet(desk, sheet, version.read_base())
    return Taught(version, proposals, runs, mark_proposals(version, proposals))


def mark_proposals(version: SheetVersion, proposals: Sequence[Proposal]) -> str:
    """Return what a form says of the proposals that it was drawn with."""
    said = [(one.key, [(figure.name, figure.proposed) for figure in one.figures]) for one in proposals]
    return hashlib.sha256(repr((version.number, said)).encode()).hexdigest()[:16]


def take_proposals(desk: Desk, person: Person, sheet_id: str, data: Mapping[str, object]) -> SheetVersion:
    """Keep the latest version with the proposals that were ticked: fields take (their keys) and mark."""
    require(person, "bench")
    entry, taught = Entry(data), study_runs(desk, sheet_id)
    if entry.text("mark", limit=40) != taught.mark:
        raise ConflictError(
            "figures that are not those of the page",
            "what the runs say now",
            where=sheet_id,
            hint="look at the page again: a run was ended or a version saved in the meantime",
        )
    keys = [one.key for one in taught.proposals]
    taken = entry.words("take", keys, expected="at least one figure to take")
    entry.finish()
    chosen = [one for one in taught.proposals if one.key in taken]
    sheet = apply_proposals(taught.version.read(), chosen)
    steps = ", ".join(dict.fromkeys(one.step for one in chosen))
    line = f"Figures from {taught.runs} real run{'' if taught.runs == 1 else 's'}: {shorten_line(steps)}"
    return save_version(
        desk,
        person,
        sheet,
        based_on=taught.version.number,
        line=line,
        origin=LEARNT,
        base=taught.version.read_base(),
    )


def shorten_line(text: str, most: int = 120) -> str:
    """Return ``text`` cut to ``most`` characters, with a mark where it was.

    >>> shorten_line("one, two, three", 9)
    'one, two…'
    """
    return text if len(text) <= most else text[: most - 1].rstrip(", ") + "…"


def _is_taken(desk: Desk, sheet_id: str) -> bool:
    return sheet_id in desk.pack.runsheets or sheet_id in get_store(desk).names()
