"""The tables of a pack: articles, fitments and vehicle number patterns, row by row."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import TypeVar

from bittern.core.errors import Fault
from bittern.engines.key.catalogue import ARTICLE_KINDS, STARTS, Article, Fitment
from bittern.engines.key.errors import FccIdError
from bittern.engines.key.fcc import parse_fcc_id
from bittern.engines.key.fitments import FitmentDraft, FitmentTable
from bittern.engines.vehicle.pattern import ANY, NumberPattern
from bittern.formats.tables import (
    describe,
    format_number,
    format_table,
    read_table,
    to_money,
    to_number,
    to_whole,
)
from bittern.formats.toml_files import ID_EXPECTED, ID_FORM

# fmt: off
ARTICLE_COLUMNS = (
    "article", "title", "kind", "fcc_id", "other_id", "frequency_hz", "modulation", "buttons",
    "blade", "chip", "battery", "cost", "price", "supplier", "notes",
)
FITMENT_COLUMNS = (
    "make", "model", "year_from", "year_to", "start", "trim", "region", "article", "share", "runsheet",
)
NUMBER_COLUMNS = ("wmi", "vds", "make", "model", "trim", "start")
# fmt: on

YEARS = (1900, 2100)
FAULT_LIMIT = 10_000
"""Faults after which a table is read no further: by then the table itself is the fault."""
# Shares written in as many ways as this are no longer kept: they hardly repeat.
_MOST_SHARES = 50_000

VIN_CHARACTERS = frozenset("ABCDEFGHJKLMNPRSTUVWXYZ0123456789")
"""49 CFR 565.13: digits and capitals without I, O and Q."""

_T = TypeVar("_T")


class Row:
    """One row of a table: takes note of every fault and gives values of the right type."""

    __slots__ = ("faults", "file", "row")

    def __init__(self, file: str, faults: list[Fault]) -> None:
        self.file = file
        self.faults = faults
        self.row = 0

    def note(self, column: str, found: str, expected: str) -> None:
        """Note a fault in ``column`` of this row."""
        self.faults.append(Fault(f"row {self.row}, column {column}", found, expected, self.file))

    def text(self, column: str, value: str) -> str:
        """Return a text that is not empty."""
        if not value:
            self.note(column, "nothing", "a text")
        return value

    def identifier(self, column: str, value: str) -> str:
        """Return an id."""
        if not ID_FORM.fullmatch(value):
            self.note(column, describe(value), ID_EXPECTED)
        return value

    def choice(self, column: str, value: str, words: Sequence[str]) -> str:
        """Return one of ``words``."""
        if value not in words:
            self.note(column, describe(value), " or ".join(words))
        return value

    def convert(
        self, column: str, value: str, convert: Callable[[str], _T | None], expected: str, instead: _T
    ) -> _T:
        """Return ``value`` converted, or ``instead`` after noting that it cannot be."""
        converted = convert(value)
        if converted is None:
            self.note(column, describe(value), expected)
            return instead
        return converted


def read_articles(
    path: Path, file: str, faults: list[Fault], inside: Path
) -> tuple[dict[str, Article], dict[str, int], int]:
    """Return the articles by id, the row of each id seen (faulty rows too), and the count of rows."""
    articles: dict[str, Article] = {}
    rows: dict[str, int] = {}
    at = Row(file, faults)
    count = 0
    for at.row, values in read_table(path, file, ARTICLE_COLUMNS, faults, inside=inside):
        count += 1
        before = len(faults)
        article = _read_article(at, values)
        if article.article in rows:
            at.note(
                "article", describe(article.article), f"an id of its own: row {rows[article.article]} has it"
            )
        rows.setdefault(article.article, at.row)
        if len(faults) == before:
            articles[article.article] = article
        elif _is_hopeless(at):
            break
    return articles, rows, count


def _read_article(at: Row, values: tuple[str, ...]) -> Article:
    (article, title, kind, fcc_id, other_id, frequency, modulation) = values[:7]
    (buttons, blade, chip, battery, cost, price, supplier, notes) = values[7:]
    return Article(
        article=at.identifier("article", article),
        title=at.text("title", title),
        kind=at.choice("kind", kind, ARTICLE_KINDS),
        fcc_id=_read_fcc_id(at, fcc_id),
        other_id=other_id,
        frequency_hz=_read_frequency(at, frequency) if frequency else None,
        modulation=modulation,
        buttons=_read_buttons(at, buttons),
        blade=blade,
        chip=chip,
        battery=battery,
        cost=at.convert("cost", cost, to_money, "an amount such as 12.50", Decimal(0)),
        price=at.convert("price", price, to_money, "an amount such as 12.50", Decimal(0)),
        supplier=supplier,
        notes=notes,
    )


def _read_frequency(at: Row, value: str) -> float:
    frequency_hz = at.convert("frequency_hz", value, to_number, "a frequency in Hz above 0, or nothing", 1.0)
    if frequency_hz <= 0:
        at.note("frequency_hz", describe(value), "a frequency in Hz above 0, or nothing")
    return frequency_hz


def _read_fcc_id(at: Row, value: str) -> str:
    if value:
        try:
            normal = parse_fcc_id(value).text
        except FccIdError as error:
            hint = f" ({error.hint})" if error.hint else ""
            at.note("fcc_id", describe(value), f"an FCC identifier: {error.expected}{hint}")
        else:
            if normal != value:
                at.note("fcc_id", describe(value), f"its normal form, {normal}")
    return value


def _read_buttons(at: Row, value: str) -> tuple[str, ...]:
    if not value:
        return ()
    words = tuple(value.split("|"))
    for place, word in enumerate(words):
        if not word or word != word.lower() or any(character.isspace() for character in word):
            at.note("buttons", describe(value), "small words separated by |, without spaces: lock|unlock")
            break
        if word in words[:place]:
            at.note("buttons", f"{describe(word)} twice", "each button's word once")
    return words


def read_fitments(
    path: Path, file: str, faults: list[Fault], inside: Path
) -> tuple[FitmentTable, array[int], int]:
    """Return the fitments, the row of each, and the count of rows."""
    draft = FitmentDraft()
    rows = array("i")
    at = Row(file, faults)
    known = _Known()
    count = 0
    for at.row, values in read_table(path, file, FITMENT_COLUMNS, faults, inside=inside):
        count += 1
        make, model, year_from, year_to, start, trim, region, article, share, runsheet = values
        # Years, starts and shares repeat in thousands of rows: what was found right once is right again.
        first, last = known.years.get(year_from, 0), known.years.get(year_to, 0)
        part = known.shares.get(share, 0.0)
        right = 0 < first <= last and part and start in known.starts and make and model and article
        if not right:
            before = len(faults)
            first, last, part = _read_fitment(at, values, known)
            if len(faults) > before:
                if _is_hopeless(at):
                    break
                continue
        draft.add(make, model, first, last, start, trim, region, article, part, runsheet)
        rows.append(at.row)
    return FitmentTable(draft), rows, count


@dataclass(slots=True)
class _Known:
    """Texts of a table of fitments that were found right, with their values."""

    years: dict[str, int] = field(default_factory=dict)
    starts: set[str] = field(default_factory=set)
    shares: dict[str, float] = field(default_factory=dict)


def _read_fitment(at: Row, values: tuple[str, ...], known: _Known) -> tuple[int, int, float]:
    """Return years and share of a row after noting every fault in it."""
    make, model, year_from, year_to, start, _, _, article, share, _ = values
    before = len(at.faults)
    first, last = _read_year(at, "year_from", year_from), _read_year(at, "year_to", year_to)
    if first > last:
        at.note("year_to", str(last), f"{first} or later, as year_from says")
    at.text("make", make)
    at.text("model", model)
    at.choice("start", start, STARTS)
    at.text("article", article)
    part = _read_share(at, share)
    if len(at.faults) == before:
        known.years[year_from], known.years[year_to] = first, last
        known.starts.add(start)
        if len(known.shares) < _MOST_SHARES:
            known.shares[share] = part
    return first, last, part


def _read_year(at: Row, column: str, value: str) -> int:
    year = to_whole(value)
    if year is None or not YEARS[0] <= year <= YEARS[1]:
        at.note(column, describe(value), f"a year from {YEARS[0]} to {YEARS[1]}")
        return YEARS[0] if column == "year_from" else YEARS[1]
    return year


def _read_share(at: Row, value: str) -> float:
    share = at.convert("share", value, to_number, "a share above 0, at most 1", 1.0)
    if not 0 < share <= 1:
        at.note("share", describe(value), "a share above 0, at most 1")
    return share


def read_numbers(path: Path, file: str, faults: list[Fault], inside: Path) -> tuple[list[NumberPattern], int]:
    """Return the vehicle number patterns and the count of rows."""
    patterns: list[NumberPattern] = []
    seen: dict[tuple[str, str], int] = {}
    at = Row(file, faults)
    count = 0
    for at.row, (wmi, vds, make, model, trim, start) in read_table(
        path, file, NUMBER_COLUMNS, faults, inside=inside
    ):
        count += 1
        before = len(faults)
        if (
            len(wmi) not in (3, 6)
            or not VIN_CHARACTERS.issuperset(wmi)
            or (len(wmi) == 6) != (wmi[2:3] == "9")
        ):
            at.note("wmi", describe(wmi), "3 characters of a vehicle number, or 6 of which the third is 9")
        if len(vds) != 5 or not VIN_CHARACTERS.issuperset(vds.replace(ANY, "")):
            at.note("vds", describe(vds), f"5 characters of a vehicle number, {ANY} for any")
        if start:
            at.choice("start", start, STARTS)
        if (wmi, vds) in seen:
            at.note(
                "vds",
                f"{describe(wmi)} {describe(vds)} again",
                f"a pattern once: row {seen[wmi, vds]} has it",
            )
        seen.setdefault((wmi, vds), at.row)
        pattern = NumberPattern(wmi, vds, at.text("make", make), at.text("model", model), trim, start)
        if len(faults) == before:
            patterns.append(pattern)
        elif _is_hopeless(at):
            break
    return patterns, count


def _is_hopeless(at: Row) -> bool:
    """Say whether a table has so many faults that reading on helps nobody; if so, note it."""
    if len(at.faults) < FAULT_LIMIT:
        return False
    at.faults.append(
        Fault(
            f"after row {at.row}", f"{FAULT_LIMIT:,} faults, and no more read", "these mended first", at.file
        )
    )
    return True


def format_articles(articles: Iterable[Article]) -> str:
    """Return ``articles.csv``."""
    return format_table(
        ARTICLE_COLUMNS,
        (
            (
                article.article,
                article.title,
                article.kind,
                article.fcc_id,
                article.other_id,
                "" if article.frequency_hz is None else format_number(article.frequency_hz),
                article.modulation,
                "|".join(article.buttons),
                article.blade,
                article.chip,
                article.battery,
                f"{article.cost:f}",
                f"{article.price:f}",
                article.supplier,
                article.notes,
            )
            for article in articles
        ),
    )


def format_fitments(fitments: Iterable[Fitment]) -> str:
    """Return ``fitments.csv``."""
    return format_table(
        FITMENT_COLUMNS,
        (
            (
                row.make,
                row.model,
                str(row.year_from),
                str(row.year_to),
                row.start,
                row.trim,
                row.region,
                row.article,
                format_number(row.share),
                row.runsheet,
            )
            for row in fitments
        ),
    )


def format_numbers(patterns: Iterable[NumberPattern]) -> str:
    """Return ``numbers.csv``."""
    return format_table(
        NUMBER_COLUMNS,
        ((row.wmi, row.vds, row.make, row.model, row.trim, row.start) for row in patterns),
    )
