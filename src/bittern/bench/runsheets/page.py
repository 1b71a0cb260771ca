"""What the page of one run sheet shows: one of its versions, and what is known about all of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.utils.safestring import mark_safe

from bittern.bench.runsheets.users import list_articles, list_running
from bittern.engines.pairing.census import word_need
from bittern.engines.pairing.check import find_sheet_cautions, find_sheet_faults
from bittern.engines.pairing.sheet import RunSheet, Signal, Step
from bittern.engines.pairing.value import find_gains, pick_gains, word_gain
from bittern.formats.sheetmap import render_map
from bittern.work.errors import NoSuchSheetError
from bittern.work.figures import get_figures
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.sheet_difference import CENSUS_WORDS, describe_changes, find_grave_changes
from bittern.work.sheets import (
    SheetVersion,
    find_in_use,
    get_store,
    list_versions,
    mark_in_use,
)

APPROVE, TAKE_BACK = "approve-sheet", "take-back-sheet"
ORIGIN_WORDS = {"edited": "edited", "imported": "from a file", "copied": "copied", "learnt": "from real runs"}
ACT_WORDS = {
    "edited": "saved",
    "imported": "read in",
    "copied": "copied",
    "learnt": "taken from real runs",
    "approved": "approved",
    "taken-back": "approval taken back",
}
KIND_WORDS = {"act": "Do", "wait": "Wait", "check": "Check", "choose": "Which is it?", "end": "End"}
MOST_GAINS = 3
OUTCOME_WORDS = {"good": "the key works", "unchanged": "all is as before", "stranded": "no key works"}


@dataclass(frozen=True, slots=True)
class VersionView:
    """One version in the list of all: what it is, and the version before it to compare with (-1: none)."""

    version: SheetVersion
    origin: str
    in_use: bool
    shown: bool
    before: int


@dataclass(frozen=True, slots=True)
class StepView:
    """One step in words."""

    step: Step
    kind: str
    ways: tuple[str, ...]
    signal: str


def build_sheet(desk: Desk, person: Person, sheet_id: str, number: int | None = None) -> dict[str, Any]:
    """Return the context of the page: version ``number``, or the one in use, or the latest."""
    store, versions = get_store(desk), list_versions(desk, sheet_id)
    in_use = find_in_use(versions)
    context: dict[str, Any] = {
        "sheet_id": sheet_id,
        "in_use": in_use,
        "latest": versions[0] if versions else None,
        "notes": [(note, ACT_WORDS.get(note.act, note.act)) for note in store.notes(sheet_id)],
        "draft": store.find_draft(sheet_id, person.login),
        "running": [(job, job.name_version(versions)) for job in list_running(sheet_id).get(sheet_id, ())],
        "articles": [desk.pack.articles[name] for name in list_articles(desk.pack).get(sheet_id, ())],
        "may_approve": person.may("owner"),
    }
    if not versions:
        return context
    shown = _choose(versions, number, in_use)
    return {
        **context,
        "shown": shown,
        "is_in_use": in_use is not None and shown.number == in_use.number,
        "versions": list_views(versions, in_use, shown),
        **describe_version(shown.read()),
        **build_approval(shown, versions),
    }


def _choose(
    versions: Sequence[SheetVersion], number: int | None, in_use: SheetVersion | None
) -> SheetVersion:
    if number is None:
        return in_use or versions[0]
    for one in versions:
        if one.number == number:
            return one
    raise NoSuchSheetError(f"version {number} of {versions[0].sheet}", "the number of a version")


def list_views(
    versions: Sequence[SheetVersion], in_use: SheetVersion | None, shown: SheetVersion
) -> list[VersionView]:
    """Return the versions as they are listed, newest first."""
    earlier = [one.number for one in versions[1:]] + [-1]
    return [
        VersionView(
            one,
            ORIGIN_WORDS.get(one.origin, one.origin) if one.number else "",
            in_use is not None and one.number == in_use.number,
            one.number == shown.number,
            before,
        )
        for one, before in zip(versions, earlier, strict=True)
    ]


def describe_version(sheet: RunSheet) -> dict[str, Any]:
    """Return what is said of one version: faults, or figures and cautions; its map and its steps."""
    faults = find_sheet_faults(sheet)
    figures = None if faults else get_figures(sheet)
    return {
        "sheet": sheet,
        "faults": faults,
        "cautions": [] if faults else find_sheet_cautions(sheet),
        "figures": figures,
        "chances": list_chances(sheet) if figures else [],
        "gains": [word_gain(one) for one in pick_gains(find_gains(sheet), MOST_GAINS)] if figures else [],
        "typical": f"{max(1, round(figures.time_p50_s / 60))} min" if figures else "",
        "slow": f"{max(1, math.ceil(figures.time_p90_s / 60))} min" if figures else "",
        # Words of the sheet are escaped by the drawing itself.
        "map": mark_safe(render_map(sheet)),  # noqa: S308
        "steps": [describe_step(step) for step in sheet.steps.values()],
        "needs": [word_need(need) for need in sheet.needs],
        "census": CENSUS_WORDS[sheet.census],
    }


def list_chances(sheet: RunSheet) -> list[tuple[str, float]]:
    """Return the chance of each outcome with its word."""
    figures = get_figures(sheet)
    found = (figures.p_good, figures.p_unchanged, figures.p_stranded)
    return list(zip(("The key works", "All is as before", "No key works"), found, strict=True))


def describe_step(step: Step) -> StepView:
    """Return a step in words."""
    ways = [f"then {step.then}"] if step.then else []
    ways += [f"{one.label}: to {one.then}" for one in step.options]
    ways += [f"{one.because or 'it fails'}: to {one.to} ({100 * one.chance:.3g} %)" for one in step.fails]
    kind = KIND_WORDS.get(step.kind, step.kind)
    if step.outcome:
        kind += f": {OUTCOME_WORDS[step.outcome]}"
    return StepView(step, kind, tuple(ways), _word_signal(step.signal))


def _word_signal(signal: Signal | None) -> str:
    if signal is None:
        return ""
    return f"{signal.count} × {signal.kind}" + (f" “{signal.text}”" if signal.text else "")


def build_approval(shown: SheetVersion, versions: Sequence[SheetVersion]) -> dict[str, Any]:
    """Return what approving the shown version, or taking its approval back, would change."""
    in_use = find_in_use(versions)
    is_in_use = in_use is not None and shown.number == in_use.number
    found: dict[str, Any] = {
        "approve_act": APPROVE,
        "take_back_act": TAKE_BACK,
        "in_use_mark": mark_in_use(in_use),
    }
    if shown.number and not is_in_use:
        before = in_use.read() if in_use else None
        found["approvable"] = True
        found["changes"] = describe_changes(before, shown.read()) if before else []
        found["grave"] = find_grave_changes(before, shown.read())
    if shown.approval:
        bare = replace(shown, approval=0)
        after = find_in_use([bare if one.number == shown.number else one for one in versions])
        found["after"] = after
        found["can_take_back"] = True
        if after is None:
            found["grave_back"] = ["No version is in use then: jobs find no run sheet for these articles."]
        elif is_in_use:
            found["grave_back"] = find_grave_changes(shown.read(), after.read())
    return found
