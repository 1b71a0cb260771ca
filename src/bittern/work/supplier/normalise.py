"""A supplier's list as a layer: rows taken apart into articles and fitments, gaps filled by guesses."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bittern.formats.list_layers import TEXT_COLUMNS, Layer, Words
from bittern.formats.pack_tables import ARTICLE_COLUMNS
from bittern.formats.spreadsheets import Sheet
from bittern.work.supplier.columns import name_columns
from bittern.work.supplier.fields import ARTICLE_FIELDS, YEARS
from bittern.work.supplier.guesses import KIND_TITLES, TELLING, guess_kind, make_article_id
from bittern.work.supplier.reading import FieldColumn, Settings, read_fields
from bittern.work.supplier.report import Findings, ListReport

Codes = NDArray[np.int32]
Places = NDArray[np.intp]
Step = Callable[[str], None]
_NEEDED = "a value: a fitment has make, model and years"


@dataclass(slots=True)
class _Table:
    """Fields of all rows as texts in the pack's form; code 0 of each is nothing."""

    columns: dict[str, Words]
    rows: int

    def has(self, name: str) -> NDArray[np.bool_]:
        """Return in which rows the field says something."""
        words = self.columns.get(name)
        return np.zeros(self.rows, dtype=np.bool_) if words is None else words.codes > 0

    def get(self, name: str) -> Words:
        """Return the field; one that is not mapped says nothing."""
        words = self.columns.get(name)
        return words if words is not None else Words(np.zeros(self.rows, dtype=np.int32), ("",))


def normalise(
    sheet: Sheet,
    header: int | None,
    mapping: Mapping[int, str],
    settings: Settings,
    *,
    step: Step | None = None,
) -> tuple[Layer, ListReport]:
    """Return what a list says in the pack's words, and everything that was found on the way.

    A row may give an article, a fitment or both. A row with a fault is left out whole. Guesses, each noted:
    a kind from what else is known, how a vehicle starts from the kind, a title from kind and buttons, an
    article number from the FCC identifier.

    Parameters
    ----------
    header
        Place of the header's row; None where there is none.
    mapping
        The field of each column that is not passed over.
    step
        Called with a word about each step; may raise to end the work.
    """
    tell = step or (lambda word: None)
    first = 0 if header is None else header + 1
    tell("reading the cells")
    fields = read_fields(sheet, header, mapping, settings)
    table = _Table({}, sheet.rows - first)
    findings = Findings(sheet.file, first + 1, bad=np.zeros(table.rows, dtype=np.bool_))
    for field, column in fields.items():
        findings.add_column(column)
        table.columns[field] = _lay(column)
        tell(f"reading the column {column.name}")
    blank = ~np.any([words.codes > 0 for words in table.columns.values()], axis=0) if fields else None
    blank = np.ones(table.rows, dtype=np.bool_) if blank is None else blank & ~findings.bad
    _check_rows(table, blank, findings)
    year_from, year_to = _read_span(table, blank, findings, settings)
    ids = _make_ids(table, findings)
    tell("gathering the articles")
    articles, article_rows, kinds = _gather_articles(table, ids, findings, settings)
    tell("gathering the fitments")
    layer = Layer(articles, {}, *_no_numbers(), article_rows, _none())
    layer = _gather_fitments(table, ids, (year_from, year_to), kinds, layer, findings)
    given = int((~findings.bad & (year_from > 0)).sum())
    names = name_columns(sheet, header)
    report = ListReport(
        rows=table.rows,
        blank=int(blank.sum()),
        bad=int(findings.bad.sum()),
        articles=len(article_rows),
        fitments=len(layer.fitment_rows),
        repeated=given - len(layer.fitment_rows),
        fault_count=findings.fault_count,
        faults=findings.list_faults(),
        notes=tuple(sorted(findings.notes, key=lambda note: -note.rows)),
        ignored=tuple(name for place, name in enumerate(names) if not mapping.get(place)),
    )
    return layer, report


def _no_numbers() -> tuple[NDArray[np.int16], NDArray[np.int16], NDArray[np.float64]]:
    return np.zeros(0, dtype=np.int16), np.zeros(0, dtype=np.int16), np.zeros(0)


def _none() -> Codes:
    return np.zeros(0, dtype=np.int32)


def _lay(column: FieldColumn) -> Words:
    """Return the column's values with equal ones made one; faults say nothing."""
    places: dict[str, int] = {"": 0}
    remap = np.array(
        [0 if cell.expected else places.setdefault(cell.value, len(places)) for cell in column.cells],
        dtype=np.int32,
    )
    return Words(remap[column.codes], tuple(places))


def _check_rows(table: _Table, blank: NDArray[np.bool_], findings: Findings) -> None:
    """Note rows that say half of what they must."""
    nameless = ~table.has("article") & ~table.has("fcc_id") & ~blank & ~findings.bad
    findings.add_faults(
        np.flatnonzero(nameless),
        "article",
        "nothing",
        "an article number, or an FCC identifier to make one of",
    )
    spans = table.has(YEARS) | table.has("year_from")
    vehicle = table.has("make") | table.has("model") | spans
    for name, there in (("make", table.has("make")), ("model", table.has("model")), (YEARS, spans)):
        missing = vehicle & ~there & ~blank & ~findings.bad
        findings.add_faults(np.flatnonzero(missing), name, "nothing", _NEEDED)


def _read_span(
    table: _Table, blank: NDArray[np.bool_], findings: Findings, settings: Settings
) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    """Return first and last year of each row, 0 in rows that name no vehicle."""
    first, last = (np.zeros(table.rows, dtype=np.int16) for _ in range(2))
    if YEARS in table.columns:
        spans = table.columns[YEARS]
        ends = np.array(
            [[int(year) for year in text.split("-")] if text else [0, 0] for text in spans.values],
            dtype=np.int16,
        )
        first, last = ends[spans.codes, 0], ends[spans.codes, 1]
    for name, years in (("year_from", first), ("year_to", last)):
        if name in table.columns:
            words = table.columns[name]
            values = np.array([int(text or 0) for text in words.values], dtype=np.int16)[words.codes]
            years[values > 0] = values[values > 0]
    opened = (first > 0) & (last == 0)
    if "year_to" in table.columns:
        last[opened] = settings.latest
        why = f"open end: up to {settings.latest}"
    else:
        last[opened] = first[opened]
        why = "one year alone"
    findings.add_note("year_to", "nothing", "", why, np.flatnonzero(opened & ~findings.bad))
    wrong = (last < first) & ~findings.bad & ~blank
    places = np.flatnonzero(wrong)
    findings.add_faults(
        places,
        "year_to",
        [str(last[place]) for place in places[:1000]],
        "the first year or a later one",
    )
    return first, last


def _make_ids(table: _Table, findings: Findings) -> Words:
    """Return each row's article number, made from the identifier where the row has none."""
    words = table.get("article")
    bare = np.flatnonzero(~table.has("article") & table.has("fcc_id") & ~findings.bad)
    if not len(bare):
        return words
    parts = [table.get(name) for name in ("fcc_id", "buttons", "blade")]
    keys, inverse = np.unique(
        np.stack([part.codes[bare] for part in parts], axis=1), axis=0, return_inverse=True
    )
    said = [[part.values[code] for part, code in zip(parts, key, strict=True)] for key in keys]
    made = [make_article_id(*texts) for texts in said]
    places = {value: code for code, value in enumerate(words.values)}
    new = np.array([places.setdefault(one, len(places)) for one in made], dtype=np.int32)
    codes = words.codes.copy()
    codes[bare] = new[inverse.reshape(-1)]
    findings.add_note("article", "nothing", made[0], "number made from identifier, buttons and blade", bare)
    return Words(codes, tuple(places))


def _gather_articles(
    table: _Table, ids: Words, findings: Findings, settings: Settings
) -> tuple[dict[str, Words], Codes, list[str]]:
    """Return the articles as columns, the row of each, and the kind of each article number.

    Of several rows about one article the first that says something counts, field by field.
    """
    tells = np.any([table.has(name) for name in ARTICLE_FIELDS], axis=0) & ~findings.bad & (ids.codes > 0)
    rows = np.flatnonzero(tells)
    numbers, first = np.unique(ids.codes[rows], return_index=True)
    order = np.argsort(first, kind="stable")
    numbers, first = numbers[order], first[order]
    place_of = np.full(len(ids.values), -1, dtype=np.int32)
    place_of[numbers] = np.arange(len(numbers), dtype=np.int32)
    of_row = place_of[ids.codes[rows]]
    columns = {"article": [ids.values[code] for code in numbers]}
    for name in ARTICLE_FIELDS:
        columns[name] = _take_first(table.get(name), rows, of_row, len(numbers), name, findings)
    at = rows[first]
    _fill_gaps(columns, at, findings, settings, _list_starts(table, rows, of_row, len(numbers)))
    kinds = [""] * len(ids.values)
    for code, kind in zip(numbers, columns["kind"], strict=True):
        kinds[code] = kind
    packed = {name: _pack(columns[name]) for name in ARTICLE_COLUMNS}
    return packed, (at + findings.first_row).astype(np.int32), kinds


def _take_first(
    words: Words, rows: Places, of_row: Codes, count: int, name: str, findings: Findings
) -> list[str]:
    codes = words.codes[rows]
    said = np.flatnonzero(codes > 0)
    chosen = np.zeros(count, dtype=np.int32)
    # Backwards, so that the first of several stays.
    chosen[of_row[said[::-1]]] = codes[said[::-1]]
    other = said[codes[said] != chosen[of_row[said]]]
    why = "another row of the same article says something else: the first holds"
    findings.add_note(name, "differing values", "", why, rows[other])
    return [words.values[code] for code in chosen]


def _list_starts(table: _Table, rows: Places, of_row: Codes, count: int) -> list[bool]:
    """Return which articles go with vehicles that start by a button."""
    words = table.get("start")
    pushed = np.array([value == "push" for value in words.values])[words.codes[rows]]
    found = np.zeros(count, dtype=np.bool_)
    found[of_row[pushed]] = True
    return found.tolist()


def _fill_gaps(
    columns: dict[str, list[str]], at: Places, findings: Findings, settings: Settings, pushed: list[bool]
) -> None:
    guessed: dict[str, list[int]] = {}
    titled: list[int] = []
    for place, said in enumerate(columns["kind"]):
        kind = said
        if not kind:
            kind = guess_kind({name: columns[name][place] for name in TELLING}, push=pushed[place])
            columns["kind"][place] = kind
            guessed.setdefault(kind, []).append(place)
        if not columns["title"][place]:
            count = len(columns["buttons"][place].split("|")) if columns["buttons"][place] else 0
            columns["title"][place] = KIND_TITLES[kind] + (f", {count} buttons" if count > 1 else "")
            titled.append(place)
        columns["supplier"][place] = columns["supplier"][place] or settings.supplier
    for kind, places in guessed.items():
        findings.add_note("kind", "nothing", kind, "a guess from what else the row says", at[places])
    findings.add_note("title", "nothing", "", "made from kind and buttons", at[titled])
    free = [place for place, price in enumerate(columns["price"]) if not price]
    why = "no price in the list: a new article comes in at 0 and is promised for nothing until one is set"
    findings.add_note("price", "nothing", "0", why, at[free])


def _gather_fitments(
    table: _Table,
    ids: Words,
    span: tuple[NDArray[np.int16], NDArray[np.int16]],
    kinds: list[str],
    layer: Layer,
    findings: Findings,
) -> Layer:
    rows = np.flatnonzero((span[0] > 0) & ~findings.bad)
    start = _fill_start(table, ids, kinds, rows, findings)
    columns = {name: table.get(name).pick(rows) for name in TEXT_COLUMNS if name not in ("article", "start")}
    columns |= {"article": ids.pick(rows), "start": start}
    shares = table.get("share")
    values = np.array([float(text) if text else np.nan for text in shares.values])[shares.codes[rows]]
    key: list[NDArray[np.signedinteger[Any]]] = [
        _fold(columns[name]) for name in ("make", "model", "trim", "region")
    ]
    key += [columns["start"].codes, columns["article"].codes, span[0][rows], span[1][rows]]
    first, inverse = find_first(key)
    differ = (values != values[first[inverse]]) & ~(np.isnan(values) & np.isnan(values[first[inverse]]))
    why = "the same fitment again with another share: the first holds"
    findings.add_note("share", "differing values", "", why, rows[differ])
    return replace(
        layer,
        fitments={name: columns[name].pick(first) for name in TEXT_COLUMNS},
        year_from=span[0][rows][first],
        year_to=span[1][rows][first],
        share=values[first],
        fitment_rows=(rows[first] + findings.first_row).astype(np.int32),
    )


def _fill_start(table: _Table, ids: Words, kinds: list[str], rows: Places, findings: Findings) -> Words:
    words = table.get("start").pick(rows)
    places = {value: code for code, value in enumerate(words.values)}
    turn, push = places.setdefault("turn", len(places)), places.setdefault("push", len(places))
    proximity = np.array([kind == "proximity" for kind in kinds], dtype=np.bool_)[ids.codes[rows]]
    codes = words.codes.copy()
    for code, word, chosen in ((push, "push", proximity), (turn, "turn", ~proximity)):
        missing = (words.codes == 0) & chosen
        codes[missing] = code
        findings.add_note("start", "nothing", word, "a guess from the kind of key", rows[missing])
    return Words(codes, tuple(places))


def find_first(columns: Sequence[NDArray[np.signedinteger[Any]]]) -> tuple[Places, Places]:
    """Return the first row of each distinct combination, in order of the rows, and each row's combination."""
    joint = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        values = column.astype(np.int64)
        joint = joint * (int(values.max(initial=0)) + 1) + values
        # Made dense again, so that any count of columns fits into 64 bits.
        joint = np.unique(joint, return_inverse=True)[1].reshape(-1)
    _, first, inverse = np.unique(joint, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    return first[order], rank[inverse.reshape(-1)]


def _fold(words: Words) -> Codes:
    """Return codes that are the same for texts that differ in capitals alone."""
    places: dict[str, int] = {}
    fold = [places.setdefault(value.casefold(), len(places)) for value in words.values]
    return np.array(fold, dtype=np.int32)[words.codes]


def _pack(column: list[str]) -> Words:
    places: dict[str, int] = {"": 0}
    codes = np.array([places.setdefault(value, len(places)) for value in column], dtype=np.int32)
    return Words(codes, tuple(places))
