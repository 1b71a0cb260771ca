"""What the page of one list shows, and what its form says."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from bittern.bench.desk import load_pack_in_use
from bittern.bench.packs import store
from bittern.bench.packs.models import (
    ACTIVE,
    CANCELLED,
    DISCARDED,
    DRAFT,
    FAILED,
    RUNNING,
    UNDONE,
    SuppliersList,
)
from bittern.bench.packs.runs import find_settings
from bittern.core.errors import BitternError, Fault, FaultsError
from bittern.formats.list_layers import RULES
from bittern.formats.packs import Pack
from bittern.work.errors import FieldsError
from bittern.work.supplier.columns import find_header, recognise
from bittern.work.supplier.fields import FIELD_WORDS, IGNORE
from bittern.work.supplier.lists import AUTOMATIC, Choices, Look, check_mapping
from bittern.work.supplier.merge import RULE_WORDS
from bittern.work.supplier.preview import make_preview

FORM = "list-choices"
FAULTS_SHOWN = NOTES_SHOWN = 100
OFFERS_SHOWN = 200
STATE_WORDS = {
    DRAFT: "not imported",
    ACTIVE: "imported",
    UNDONE: "undone",
    DISCARDED: "thrown away",
}
EVENT_WORDS = {
    "uploaded": "Read in",
    "imported": "Imported",
    "undone": "Undone",
    "redone": "Laid on again",
    "discarded": "Thrown away",
}
COUNT_WORDS = (
    ("new", "new"),
    ("changed", "changed"),
    ("same", "the same"),
    ("conflict", "in conflict"),
    ("left_out", "left out"),
)


def list_all() -> list[dict[str, Any]]:
    """Return every list for the page Packs, the latest first."""
    rows = SuppliersList.objects.exclude(state=DISCARDED).defer("sample", "choices")
    return [
        {
            "row": row,
            "state": STATE_WORDS[row.state],
            "changes": json.loads(row.report).get("changes") if row.report else None,
            "running": row.run_state == RUNNING,
        }
        for row in rows[:100]
    ]


def look_again(row: SuppliersList, choices: Choices, pack: Pack) -> Look:
    """Return the list as its first rows show it."""
    sheet = store.read_sample(row)
    header = choices.header - 1 if choices.header > 0 else None
    if choices.header == AUTOMATIC:
        header = find_header(sheet)
    settings = find_settings(row, pack.currency)
    return Look(sheet, header, recognise(sheet, header, settings.latest, settings.currency))


def choose_first(row: SuppliersList, pack: Pack, sheet: str = "") -> Choices:
    """Return the choices that the list itself suggests, every column's written out."""
    choices = Choices(sheet=sheet)
    look = look_again(row, choices, pack)
    mapping = {guess.column: guess.field for guess in look.guesses}
    return replace(choices, header=0 if look.header is None else look.header + 1, mapping=mapping)


def build_list(row: SuppliersList, *, typed: Mapping[str, object] | None = None) -> dict[str, Any]:
    """Return the context of a list's page."""
    report = json.loads(row.report) if row.report else None
    context: dict[str, Any] = {
        "list": row,
        "state_word": STATE_WORDS[row.state],
        "events": [(EVENT_WORDS[event.kind], event) for event in row.events.all()],
        "running": row.run_state == RUNNING,
        "failed": row.run_problem if row.run_state == FAILED else "",
        "cancelled": row.run_state == CANCELLED,
        "is_draft": row.state == DRAFT,
        "is_active": row.state == ACTIVE,
        "is_undone": row.state == UNDONE,
        "found": describe_report(report) if report else None,
    }
    if row.state == DRAFT:
        choices = store.load_choices(row)
        context |= build_form(row, choices, load_pack_in_use(), typed)
        over = list(store.find_active())
        context["checked"] = bool(report and report["of"] == row.choices and report["over"] == over)
    return context


def build_form(
    row: SuppliersList, choices: Choices, pack: Pack, typed: Mapping[str, object] | None = None
) -> dict[str, Any]:
    """Return what the form of columns and the preview need."""
    look = look_again(row, choices, pack)
    mapping = look.mapping(choices)
    context: dict[str, Any] = {
        "about": look.sheet.about,
        "sheets": look.sheet.sheets if len(look.sheet.sheets) > 1 else (),
        "columns": [
            {
                "name": f"field-{guess.column}",
                "guess": guess,
                "taken": mapping.get(guess.column, IGNORE),
                "help": _describe_guess(guess.field, guess.confidence, guess.because, guess.sample),
            }
            for guess in look.guesses
        ],
        "fields": [(IGNORE, "— pass over —"), *FIELD_WORDS.items()],
        "rules": [(rule, RULE_WORDS[rule]) for rule in RULES],
        "currency": pack.currency,
        "preview": make_preview(look, choices, find_settings(row, pack.currency)),
        "initial": {FORM: write_fields(choices, mapping)},
        "typed": {FORM: typed} if typed else {},
        "failed_act": FORM,
        "mapping_faults": (),
    }
    try:
        check_mapping(look, mapping)
    except FaultsError as error:
        context["mapping_faults"] = [
            f"{fault.where.capitalize()}: found {fault.found}, expected {fault.expected}."
            for fault in error.faults
        ]
    return context


def _describe_guess(field: str, confidence: float, because: str, sample: tuple[str, ...]) -> str:
    holds = f"Holds {', '.join(f'“{text[:40]}”' for text in sample)}." if sample else "Holds nothing."
    if not field:
        return f"{holds} Not recognised."
    return f"{holds} {FIELD_WORDS[field]}: {100 * confidence:.0f} % sure, by {because}."


def write_fields(choices: Choices, mapping: Mapping[int, str]) -> dict[str, object]:
    """Return the form's fields for these choices."""
    fields: dict[str, object] = {f"field-{place}": field for place, field in mapping.items()}
    return fields | {
        "header": str(choices.header),
        "sheet": choices.sheet,
        "rule": choices.rule,
        "rest_percent": f"{100 * choices.rest:g}",
        "join": "yes" if choices.join else "",
        "supplier": choices.supplier,
    }


def read_fields(row: SuppliersList, typed: Mapping[str, object]) -> Choices:
    """Return the choices that a form states; ``FieldsError`` with each field that is wrong."""
    sheet = store.read_sample(row)
    faults: list[Fault] = []
    header = _read_whole(typed, "header", 0, sheet.rows, faults)
    rest = _read_whole(typed, "rest_percent", 0, 90, faults)
    rule = str(typed.get("rule", ""))
    if rule not in RULES:
        faults.append(Fault("rule", repr(rule), "one of the three rules"))
    mapping = {}
    for place in range(len(sheet.columns)):
        field = str(typed.get(f"field-{place}", IGNORE))
        if field not in FIELD_WORDS and field != IGNORE:
            faults.append(Fault(f"field-{place}", repr(field[:40]), "one of the fields below"))
        mapping[place] = field
    name = str(typed.get("sheet", sheet.sheet))
    if name and name not in sheet.sheets:
        faults.append(Fault("sheet", repr(name[:40]), "a sheet of the file"))
    if faults:
        raise FieldsError(faults)
    supplier = " ".join(str(typed.get("supplier", "")).split())[:80]
    return Choices(header, name, mapping, rule, rest / 100, bool(typed.get("join")), supplier)


def _read_whole(typed: Mapping[str, object], name: str, least: int, most: int, faults: list[Fault]) -> int:
    text = str(typed.get(name, "")).strip()
    if text.isascii() and text.isdigit() and len(text) < 8 and least <= int(text) <= most:
        return int(text)
    faults.append(Fault(name, repr(text[:20]), f"a whole number from {least} to {most}"))
    return least


def describe_report(report: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a check or an import found, as the page shows it."""
    listed, merged = report["list"], report["merge"]
    faults = [*listed["faults"], *merged["faults"]]
    return {
        "counts": [
            (word, [merged[name][key] for key, _ in COUNT_WORDS])
            for word, name in (("Articles", "articles"), ("Fitments", "fitments"))
        ],
        "count_words": [word for _, word in COUNT_WORDS],
        "list": listed,
        "faults": faults[:FAULTS_SHOWN],
        "fault_count": report["fault_count"],
        "faults_hidden": max(0, report["fault_count"] - min(len(faults), FAULTS_SHOWN)),
        "notes": listed["notes"][:NOTES_SHOWN],
        "notes_hidden": max(0, len(listed["notes"]) - NOTES_SHOWN),
        "merge_notes": merged["notes"],
        "offers": merged["offers"][:OFFERS_SHOWN],
        "offer_count": len(merged["offers"]),
        "changes": report["changes"],
    }


def describe_error(error: BitternError) -> str:
    """Return an error as a sentence."""
    hint = f" {error.hint[:1].upper()}{error.hint[1:]}." if error.hint else ""
    return f"Found {error.found}; expected {error.expected}.{hint}"
