"""A supplier's list from its file to the pack it would make: what page and command share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from bittern.core.errors import Fault, FaultsError, InputError, shorten
from bittern.formats.list_layers import KEEP, Layer
from bittern.formats.packs import Pack
from bittern.formats.spreadsheets import FILE_LIMIT_BYTES, Sheet, read_sheet
from bittern.work.supplier.columns import Guess, find_header, recognise
from bittern.work.supplier.fields import FIELD_WORDS, IGNORE
from bittern.work.supplier.merge import MergeReport, merge
from bittern.work.supplier.normalise import Step, normalise
from bittern.work.supplier.reading import Settings
from bittern.work.supplier.report import ListReport

REST = 0.1
AUTOMATIC = -1
"""The header's row is to be found out."""
_IGNORE_WORDS = frozenset({"", "-", "ignore"})


@dataclass(frozen=True, slots=True)
class Choices:
    """What a person has decided about a list.

    Attributes
    ----------
    header
        The spreadsheet's row that heads the columns, 0 for none, ``AUTOMATIC`` for the one that seems to.
    mapping
        Column place → field, for columns whose guess is not taken.
    join
        Take for one article what has FCC identifier, buttons and blade in common.
    """

    header: int = AUTOMATIC
    sheet: str = ""
    mapping: Mapping[int, str] | None = None
    rule: str = KEEP
    rest: float = REST
    join: bool = False
    supplier: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """A list as it was understood: its rows, its header, and what its columns seem to be."""

    sheet: Sheet
    header: int | None
    guesses: tuple[Guess, ...]

    def mapping(self, choices: Choices) -> dict[int, str]:
        """Return the field of each column, the person's word before the guess."""
        chosen = {guess.column: guess.field for guess in self.guesses}
        chosen |= dict(choices.mapping or {})
        return {
            place: field for place, field in chosen.items() if field != IGNORE and place < len(self.guesses)
        }


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a list says, and the pack that it would make."""

    layer: Layer
    report: ListReport
    merged: MergeReport
    pack: Pack

    @property
    def fault_count(self) -> int:
        """Faults of the list and of its place in the pack."""
        return self.report.fault_count + self.merged.fault_count


def look_at_list(
    path: Path,
    choices: Choices,
    settings: Settings,
    *,
    name: str = "",
    limit_bytes: int = FILE_LIMIT_BYTES,
    most_rows: int | None = None,
    step: Step | None = None,
) -> Look:
    """Read a list and say what its columns seem to be; ``InputError`` if it cannot be read."""

    def tell(rows: int) -> None:
        if step:
            step(f"read {rows:,} rows")

    sheet = read_sheet(
        path, name=name, sheet=choices.sheet, limit_bytes=limit_bytes, most_rows=most_rows, tell=tell
    )
    header = find_header(sheet) if choices.header == AUTOMATIC else choices.header - 1
    if header is not None and header < 0:
        header = None
    if header is not None and header >= sheet.rows:
        raise InputError(f"{sheet.rows} rows", f"a header in row {header + 1}", where=sheet.file)
    return Look(sheet, header, recognise(sheet, header, settings.latest, settings.currency))


def work_out(
    look: Look, choices: Choices, settings: Settings, pack: Pack, *, step: Step | None = None
) -> Outcome:
    """Return what the list makes of ``pack``; nothing is kept.

    Raises
    ------
    FaultsError
        Two columns mean the same field, or none says what the rows are about.
    """
    mapping = look.mapping(choices)
    check_mapping(look, mapping)
    settings = replace(settings, supplier=choices.supplier)
    layer, report = normalise(look.sheet, look.header, mapping, settings, step=step)
    layer = replace(layer, rule=choices.rule, rest=choices.rest)
    merged, found = merge(pack, layer, step=step)
    if choices.join and found.offers:
        layer = replace(layer, joined=found.offers)
        merged, found = merge(pack, layer, step=step)
    return Outcome(layer, report, found, merged)


def check_mapping(look: Look, mapping: Mapping[int, str]) -> None:
    """Raise ``FaultsError`` for a mapping that cannot be worked with."""
    names = [guess.header for guess in look.guesses]
    seen: dict[str, int] = {}
    faults = []
    for place, field in sorted(mapping.items()):
        if field in seen:
            found = f"{FIELD_WORDS[field]} a second time, after {names[seen[field]]}"
            faults.append(
                Fault(f"column {names[place]}", found, "each field for one column", look.sheet.file)
            )
        seen.setdefault(field, place)
    if not seen.keys() & {"article", "fcc_id"}:
        expected = "a column with article numbers, or one with FCC identifiers"
        faults.append(Fault("the columns", "no column that names articles", expected, look.sheet.file))
    if "years" in seen and "year_from" in seen:
        expected = "one column of ranges, or one of first and one of last years"
        faults.append(Fault("the columns", "both ways to say years", expected, look.sheet.file))
    if faults:
        raise FaultsError(faults)


def read_map_words(words: Sequence[str], look: Look) -> dict[int, str]:
    """Return the mapping that words such as ``Art.-Nr.=article`` or ``C=`` state.

    A column is named by its header, or by its letter.
    """
    from bittern.work.supplier.columns import write_letter
    from bittern.work.supplier.words import fold

    places = {write_letter(guess.column).casefold(): guess.column for guess in look.guesses}
    places |= {fold(guess.header): guess.column for guess in look.guesses if fold(guess.header)}
    mapping = {}
    for word in words:
        name, sign, field = word.rpartition("=")
        place = places.get(fold(name))
        field = field.strip()
        if not sign or place is None:
            known = ", ".join(guess.header for guess in look.guesses[:20])
            raise InputError(shorten(word), f"COLUMN=FIELD with a column of the list: {known}", where="--map")
        if field not in FIELD_WORDS and field not in _IGNORE_WORDS:
            raise InputError(shorten(field), f"nothing, or one of {', '.join(FIELD_WORDS)}", where="--map")
        mapping[place] = IGNORE if field in _IGNORE_WORDS else field
    return mapping
