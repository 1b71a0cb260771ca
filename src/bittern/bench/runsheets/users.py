"""Who uses a run sheet: articles by the pack's fitments, open jobs by the sheet that they began with."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bittern.bench.jobs.models import Job
from bittern.engines.key.fitments import FitmentTable
from bittern.formats.packs import Pack
from bittern.work.sheets import SheetVersion


@dataclass(frozen=True, slots=True)
class RunningJob:
    """An open job whose run of a sheet has not ended, with the sheet's text as it began with it."""

    number: int
    sheet: str
    text: str

    def name_version(self, versions: Sequence[SheetVersion]) -> str:
        """Return which of the sheet's versions it runs, as a person calls it."""
        found = next((one.name for one in versions if one.text == self.text), "")
        return found or "a sheet that the pack no longer has"


def list_articles(pack: Pack) -> dict[str, list[str]]:
    """Return by run sheet the articles whose fitments name it, in order."""
    table = FitmentTable.of(pack.fitments)
    columns = table.columns
    many = max(1, len(table.articles))
    found: dict[str, list[str]] = defaultdict(list)
    for pair in np.unique(columns.runsheet.astype(np.int64) * many + columns.article):
        found[table.runsheets[pair // many]].append(table.articles[pair % many])
    return {sheet: sorted(articles) for sheet, articles in found.items() if sheet}


def list_running(sheet: str = "") -> dict[str, list[RunningJob]]:
    """Return by run sheet the open jobs that run it; one query, and only jobs that have begun one."""
    rows = Job.objects.filter(state="open").exclude(facts__contains='"pairing":null')
    found: dict[str, list[RunningJob]] = defaultdict(list)
    for number, facts in rows.order_by("number").values_list("number", "facts").iterator():
        pairing: Mapping[str, str] = json.loads(facts).get("pairing") or {}
        name = pairing.get("sheet", "")
        if name and not pairing.get("outcome") and sheet in ("", name):
            found[name].append(RunningJob(number, name, pairing.get("sheet_text", "")))
    return dict(found)
