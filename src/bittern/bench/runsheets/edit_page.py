"""What the page on which a run sheet is written shows: parts, the open one, what the program makes of it."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from bittern.bench.runsheets.page import KIND_WORDS, OUTCOME_WORDS, describe_version
from bittern.bench.templatetags.bench import name_field
from bittern.core.errors import shorten
from bittern.engines.pairing.census import NEED_WORDS
from bittern.engines.pairing.sheet import SIGNAL_KINDS
from bittern.formats.sheetmap import render_map
from bittern.work.sheet_difference import CENSUS_WORDS
from bittern.work.sheet_draft import LOST, DraftStep, DraftWay
from bittern.work.sheet_edit import Writing, name_part, suggest_save_line
from bittern.work.sheet_reading import HEAD, DraftFault, Reading, read_draft

ACT = "write-sheet"
FIELD_WORDS = {
    "title": "Title",
    "start": "First step",
    "census": "After a good end",
    "other_needs": "Other needs",
    "least_v": "Least supply",
    "comfort_v": "Comfortable supply",
    "id": "Short name",
    "kind": "What it is",
    "say": "What is said",
    "typical_s": "Usual time",
    "slowest_s": "Slowest time",
    "window_s": "Time allowed",
    "then": "Then",
    "outcome": "How it ends",
    "recovery": "Help",
    "signal_kind": "Signal",
    "signal_count": "How many times",
    "signal_text": "What it shows",
}
_ROW_WORDS = {"to": "leads to", "chance": "how often", "words": "in words"}
_ROW = re.compile(r"(option|fail)-([0-9]+)-(to|chance|words)")
SIGNAL_WORDS = {
    "beep": "it beeps",
    "lamp": "a lamp",
    "lock-cycle": "it locks and unlocks",
    "message": "a message",
}
KINDS = {
    "act": "Do something",
    "wait": "Wait",
    "check": "Look whether",
    "choose": "Which is it? Several ways on",
    "end": "End",
}


@dataclass(frozen=True, slots=True)
class PartRow:
    """One line of the list of parts."""

    key: str
    name: str
    kind: str
    open: bool
    no_return: bool
    faults: int


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One fault: the part that it belongs to, the field's label, and a sentence."""

    key: str
    part: str
    field: str
    sentence: str


@dataclass(frozen=True, slots=True)
class WayRow:
    """One row of ways on: its place, what was typed, and the steps to choose from."""

    place: int
    way: DraftWay
    steps: list[tuple[str, str]]


def build_editor(writing: Writing, sheet_id: str) -> dict[str, Any]:
    """Return the context of the page."""
    reading = read_draft(writing.draft, sheet_id)
    return {
        "act": ACT,
        "sheet_id": sheet_id,
        "writing": writing,
        "title": reading.sheet.title,
        "head": HEAD,
        "line_suggested": suggest_save_line(writing, reading) if writing.turn and not reading.unread else "",
        "next_number": (writing.latest.number if writing.latest else 0) + 1,
        **build_checks(writing, reading),
        **build_part(writing, reading),
    }


def build_checks(writing: Writing, reading: Reading) -> dict[str, Any]:
    """Return what changes with every letter: faults, figures, map and the list of parts."""
    found = describe_version(reading.sheet) if not reading.faults else {"cautions": [], "figures": None}
    return {
        "writing": writing,
        "parts": list_parts(writing, reading),
        "fault_rows": [describe_fault(writing, one) for one in reading.faults],
        "unread": len(reading.unread),
        **{name: found.get(name) for name in ("cautions", "figures", "chances", "gains", "typical", "slow")},
        "map": draw_map(writing, reading),
    }


def draw_map(writing: Writing, reading: Reading) -> SafeString:
    """Return the map with the open step marked; nothing where there is no step."""
    if not reading.sheet.steps:
        return SafeString("")
    # Words of the sheet are escaped by the drawing itself.
    return mark_safe(render_map(reading.sheet, reading.ids.get(writing.part)))  # noqa: S308


def list_parts(writing: Writing, reading: Reading) -> list[PartRow]:
    """Return the sheet itself and its steps as they are listed."""
    times = Counter(fault.part for fault in reading.faults)
    rows = [PartRow(HEAD, "The sheet itself", "", writing.part == HEAD, False, times[HEAD])]
    return rows + [
        PartRow(
            key=step.key,
            name=step.id or "no name yet",
            kind=word_kind(step),
            open=step.key == writing.part,
            no_return=step.no_return == "yes" and step.kind != "end",
            faults=times[step.key],
        )
        for step in writing.draft.steps
    ]


def word_kind(step: DraftStep) -> str:
    """Return what a step is, in a word or two."""
    kind = KIND_WORDS.get(step.kind, step.kind)
    outcome = OUTCOME_WORDS.get(step.outcome) if step.kind == "end" else ""
    return f"{kind}: {outcome}" if outcome else kind


def describe_fault(writing: Writing, fault: DraftFault) -> FaultRow:
    """Return a fault as it is listed."""
    name = name_part(writing.draft, fault.part) or "a step without a name"
    return FaultRow(fault.part, name, word_field(fault.field), fault.sentence)


def word_field(field: str) -> str:
    """Return the label of a field.

    >>> word_field("fail-0-chance"), word_field("typical_s"), word_field("")
    ('Failure 1, how often', 'Usual time', '')
    """
    row = _ROW.fullmatch(field)
    if row:
        kind = "Way" if row[1] == "option" else "Failure"
        return f"{kind} {int(row[2]) + 1}, {_ROW_WORDS[row[3]]}"
    return FIELD_WORDS.get(field, field)


def list_field_errors(writing: Writing, reading: Reading) -> dict[str, str]:
    """Return what is wrong with each field of the open part."""
    return {one.field: one.sentence for one in reading.unread if one.part == writing.part and one.field}


def name_fields(errors: dict[str, str]) -> dict[str, str]:
    """Return the errors by the id of their input, for the page that stands already."""
    return {name_field(ACT, field): sentence for field, sentence in errors.items()}


def build_part(writing: Writing, reading: Reading) -> dict[str, Any]:
    """Return the fields of the open part."""
    errors = list_field_errors(writing, reading)
    found: dict[str, Any] = {"failed_act": ACT if errors else "", "errors": errors}
    draft = writing.draft
    if writing.part == HEAD:
        return {
            **found,
            "draft": draft,
            "first_steps": list_targets(writing, draft.start),
            "census_words": {name: sentence_case(words) for name, words in CENSUS_WORDS.items()},
            "need_words": NEED_WORDS,
        }
    step, place = draft.find(writing.part), draft.place(writing.part)
    return {
        **found,
        "step": step,
        "place": place + 1,
        "many": len(draft.steps),
        "before": draft.steps[place - 1] if place else None,
        "after": draft.steps[place + 1] if place + 1 < len(draft.steps) else None,
        "kind_words": KINDS,
        "outcome_words": {name: sentence_case(words) for name, words in OUTCOME_WORDS.items()},
        "signal_words": {kind: sentence_case(SIGNAL_WORDS[kind]) for kind in SIGNAL_KINDS},
        "targets": list_targets(writing, step.then),
        "choice_rows": list_rows(writing, step.options),
        "fail_rows": list_rows(writing, step.fails),
    }


def list_rows(writing: Writing, ways: tuple[DraftWay, ...]) -> list[WayRow]:
    """Return the rows of ways, and an empty one to write another into."""
    return [
        WayRow(place, way, list_targets(writing, way.to)) for place, way in enumerate((*ways, DraftWay()))
    ]


def list_targets(writing: Writing, chosen: str) -> list[tuple[str, str]]:
    """Return the steps that a way can lead to, by key, and the one that it led to where that is gone."""
    found = [(step.key, word_target(step)) for step in writing.draft.steps]
    if chosen.startswith(LOST):
        found.append((chosen, f"{chosen[len(LOST) :]} – no such step"))
    return found


def word_target(step: DraftStep) -> str:
    """Return a step as it is named in a choice: its name, and what is said there."""
    said = " ".join(step.say.split())
    said = said if len(said) <= 44 else said[:43].rstrip() + "…"
    return f"{step.id or 'no name yet'} – {said}" if said else step.id or shorten(step.key)


def sentence_case(words: str) -> str:
    """Return words with a capital at the head."""
    return words[:1].upper() + words[1:]
