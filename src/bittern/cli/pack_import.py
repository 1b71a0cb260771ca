"""``bittern pack import``: read a supplier's list into a pack."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import JsonOption, NoAnswer, emit, tell
from bittern.core.errors import FaultsError, InputError

if TYPE_CHECKING:
    from bittern.work.supplier.lists import Choices, Look, Outcome

NOTES_SHOWN = 40

ListFile = Annotated[Path, typer.Argument(metavar="FILE", help="The supplier's list, CSV or XLSX.")]
Into = Annotated[Path, typer.Option("--into", metavar="DIR", help="Folder of the pack to read it into.")]
ColumnMap = Annotated[
    list[str] | None,
    typer.Option("--map", metavar="COLUMN=FIELD", help="What a column means; nothing after = ignores it."),
]
Header = Annotated[
    int, typer.Option("--header", metavar="ROW", help="Row with the columns' names; 0: none; else found.")
]
SheetName = Annotated[str, typer.Option("--sheet", help="Sheet of an XLSX file; the first one without it.")]
Rule = Annotated[
    str, typer.Option("--rule", help="Where both say something: keep (ours), take (theirs), fill.")
]
Rest = Annotated[
    float, typer.Option("--rest", help="Part of the vehicles left to articles in no list: 0 to 0.9.")
]
Join = Annotated[
    bool, typer.Option("--join", help="Take what has identifier, buttons and blade in common for one.")
]
Supplier = Annotated[str, typer.Option("--supplier", help="Whose list it is.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Say what would change, and write nothing.")]


def import_list(
    file: ListFile,
    into: Into,
    column_map: ColumnMap = None,
    header: Header = -1,
    sheet: SheetName = "",
    rule: Rule = "keep",
    rest: Rest = 0.1,
    join: Join = False,
    supplier: Supplier = "",
    dry_run: DryRun = False,
    as_json: JsonOption = False,
) -> None:
    """Read a supplier's list into a pack, or say what would come of it."""
    from bittern.formats.pack_update import write_tables
    from bittern.formats.packs import read_pack
    from bittern.work.supplier.lists import Choices, look_at_list, read_map_words, work_out
    from bittern.work.supplier.reading import Settings

    choices = Choices(header, sheet, None, rule, rest, join, supplier)
    check_choices(choices)
    pack = read_pack(into)
    settings = Settings(pack.currency, datetime.now(UTC).year + 1)
    look = look_at_list(file, choices, settings, step=tell)
    choices = replace(choices, mapping=read_map_words(column_map or [], look))
    try:
        outcome = work_out(look, choices, settings, pack, step=tell)
    except FaultsError as error:
        emit({"ok": False, "written": False, **error.as_dict()}, as_json=as_json, text=str(error))
        raise NoAnswer from error
    written = not dry_run and outcome.merged.changes > 0
    if written:
        write_tables(outcome.pack, into)
    answer = write_answer(look, choices.mapping or {}, outcome)
    text = describe_import(outcome, written=written)
    emit({**answer, "written": written}, as_json=as_json, text=text)
    if outcome.fault_count:
        raise NoAnswer


def check_choices(choices: Choices) -> None:
    """Raise InputError for an option that means nothing."""
    from bittern.formats.list_layers import RULES

    if choices.rule not in RULES:
        raise InputError(repr(choices.rule), f"one of {', '.join(RULES)}", where="--rule")
    if not 0 <= choices.rest <= 0.9:
        raise InputError(str(choices.rest), "a part from 0 to 0.9", where="--rest")
    if choices.header < -1:
        raise InputError(str(choices.header), "a row, or 0 for none", where="--header")


def write_answer(look: Look, mapping: Mapping[int, str], outcome: Outcome) -> dict[str, object]:
    """Return the JSON shape of an import."""
    columns = [
        {
            "column": guess.header,
            "field": mapping.get(guess.column, guess.field),
            "confidence": guess.confidence,
            "because": "as asked" if guess.column in mapping else guess.because,
        }
        for guess in look.guesses
    ]
    listed, merged = outcome.report.as_dict(), outcome.merged.as_dict()
    return {
        "ok": outcome.fault_count == 0,
        "file": look.sheet.file,
        "sheet": look.sheet.sheet,
        "header": None if look.header is None else look.header + 1,
        "columns": columns,
        **listed,
        "articles": merged["articles"],
        "fitments": merged["fitments"],
        "offers": merged["offers"],
        "fault_count": outcome.fault_count,
        "faults": [fault.as_dict() for fault in (*outcome.report.faults, *outcome.merged.faults)],
        "merge_notes": merged["notes"],
    }


def describe_import(outcome: Outcome, *, written: bool) -> str:
    """Return what came of an import for a person."""
    report, merged = outcome.report, outcome.merged
    lines = [str(fault) for fault in (*report.faults, *merged.faults)]
    if outcome.fault_count > len(lines):
        lines.append(f"and {outcome.fault_count - len(lines):,} more faults")
    for note in report.notes[:NOTES_SHOWN]:
        becomes = f" → {note.becomes}" if note.becomes else ""
        lines.append(f"{note.column}: {note.found}{becomes} ({note.why}; {count_rows(note.rows)})")
    lines += [f"{note} ({count_rows(rows)})" for note, rows in merged.notes.items()]
    lines += [
        f"{theirs} may be {ours}: identifier, buttons and blade are equal"
        for theirs, ours in merged.offers[:NOTES_SHOWN]
    ]
    if report.ignored:
        lines.append(f"Passed over: {', '.join(report.ignored)}.")
    for word, counts in (("Articles", merged.articles), ("Fitments", merged.fitments)):
        said = ", ".join(f"{count:,} {name.replace('_', ' ')}" for name, count in counts.as_dict().items())
        lines.append(f"{word}: {said}.")
    lines.append(f"{count_rows(report.rows)}, {report.bad:,} of them left out for a fault.")
    lines.append("Written." if written else "Nothing was written.")
    return "\n".join(lines)


def count_rows(rows: int) -> str:
    """Return a count of rows in words.

    >>> count_rows(1), count_rows(1200)
    ('1 row', '1,200 rows')
    """
    return f"{rows:,} row" + ("" if rows == 1 else "s")
