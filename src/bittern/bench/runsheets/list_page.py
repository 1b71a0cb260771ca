"""What the list of run sheets shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from bittern.bench.runsheets.users import RunningJob, list_articles, list_running
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.sheets import SheetVersion, find_in_use, get_store, list_versions

BEGIN, IMPORT = "begin-sheet", "import-sheet"


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One run sheet of the list.

    Attributes
    ----------
    waiting
        A version newer than the one in use, which nobody has approved; None where there is none.
    running
        Open jobs that run it, each with the version that it began with.
    """

    id: str
    title: str
    in_use: SheetVersion | None
    waiting: SheetVersion | None
    running: tuple[tuple[RunningJob, str], ...]
    articles: int
    writing: bool


def build_list(desk: Desk, person: Person) -> dict[str, Any]:
    """Return the context of the page."""
    store, articles, running = get_store(desk), list_articles(desk.pack), list_running()
    writing = {draft.sheet for draft in store.drafts(person.login)}
    own = set(store.names())
    rows = [
        describe_sheet(desk, name, articles, running, writing=name in writing)
        for name in sorted({*desk.pack.runsheets, *own})
    ]
    return {
        "own": [row for row in rows if row.id in own],
        "of_pack": [row for row in rows if row.id not in own],
        "pack": desk.pack,
        "begin_act": BEGIN,
        "import_act": IMPORT,
        "like_words": {row.id: row.title for row in rows if row.in_use},
    }


def describe_sheet(
    desk: Desk,
    name: str,
    articles: Mapping[str, Sequence[str]],
    running: Mapping[str, Sequence[RunningJob]],
    *,
    writing: bool,
) -> SheetRow:
    """Return one line of the list."""
    versions = list_versions(desk, name)
    in_use = find_in_use(versions)
    latest = versions[0] if versions else None
    shown = in_use or latest
    newer = latest is not None and not latest.approval and latest.number > (in_use.number if in_use else 0)
    jobs = running.get(name, ())
    return SheetRow(
        id=name,
        title=shown.read().title if shown else name,
        in_use=in_use,
        waiting=latest if newer else None,
        running=tuple((job, job.name_version(versions)) for job in jobs),
        articles=len(articles.get(name, ())),
        writing=writing,
    )
