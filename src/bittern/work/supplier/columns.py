"""Which column of a list means what: recognised by its name and by what stands in it, with the reasons."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bittern.engines.key.fcc import is_fcc_id
from bittern.formats.spreadsheets import Column, Sheet
from bittern.work.supplier.amounts import find_decimal_sign, read_frequency, read_money, read_share
from bittern.work.supplier.cells import BUTTON_SIGNS, is_nothing
from bittern.work.supplier.fields import FIELD_WORDS, FIELDS, IGNORE, YEARS
from bittern.work.supplier.words import column_words, find_word, fold
from bittern.work.supplier.years import read_year, read_years

HEADER_ROWS = 20
"""The header is looked for among so many rows: titles and addresses may stand before it."""
SAMPLE_VALUES = 400
"""So many of a column's commonest texts are looked at."""
LEAST = 0.5
"""A column that fits no field better than this is passed over."""
NAMED, NAMED_IN_PART, CONTENT = 0.9, 0.65, 0.75
"""How much a whole name, a name with other words beside it, and fitting content alone are worth: figures of
ours, which order the guesses; each is shown with its reason and can be changed."""
_CELL = re.compile(r"CR?\d{3,4}[A-Z]?|[A-Z]{1,2}R?\d{2,4}", re.IGNORECASE)
_UNIT = re.compile(r"\b(ghz|mhz|khz|hz)\b")


@dataclass(frozen=True, slots=True)
class Guess:
    """What a column seems to be.

    ``confidence`` lies between 0 and 1; ``because`` says what it rests on.
    """

    column: int
    header: str
    field: str
    confidence: float
    because: str
    sample: tuple[str, ...]


def find_header(sheet: Sheet) -> int | None:
    """Return the place of the row that heads the columns, or None where there seems to be none."""
    best, best_score = None, 0.0
    for place in range(min(HEADER_ROWS, sheet.rows)):
        cells = [cell for cell in sheet.row(place) if cell]
        if not cells:
            continue
        known = sum(1 for cell in cells if _find_name(cell)[0])
        score = known + 0.001 * len(cells) if known else 0.0
        if score > best_score:
            best, best_score = place, score
    if best is not None:
        return best
    # No known word: words alone, in the first full row, are a header all the same.
    widths = [sum(map(bool, sheet.row(place))) for place in range(min(HEADER_ROWS, sheet.rows))]
    first = next((place for place, width in enumerate(widths) if width and width == max(widths)), None)
    if first is None:
        return None
    row = [cell for cell in sheet.row(first) if cell]
    return first if row and not any(any(c.isdigit() for c in cell) for cell in row) else None


def name_columns(sheet: Sheet, header: int | None) -> tuple[str, ...]:
    """Return each column's name: its header, or its letter as spreadsheets count them."""
    names = ["" if header is None else " ".join(column[header].split())[:60] for column in sheet.columns]
    return tuple(name or f"column {write_letter(place)}" for place, name in enumerate(names))


def write_letter(place: int) -> str:
    """Return a column's letter.

    >>> write_letter(0), write_letter(27)
    ('A', 'AB')
    """
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def recognise(sheet: Sheet, header: int | None, latest: int, currency: str) -> tuple[Guess, ...]:
    """Return what each column seems to be; a field stands for one column at most, the surest.

    Parameters
    ----------
    latest
        The latest model year, see :func:`~bittern.work.supplier.years.read_years`.
    currency
        The pack's currency.
    """
    names = name_columns(sheet, header)
    scores: list[tuple[float, int, str, str]] = []
    samples = [sample_values(column, header) for column in sheet.columns]
    for place, sample in enumerate(samples):
        name = "" if header is None else sheet.columns[place][header]
        scores += [
            (score, place, field, because)
            for field, (score, because) in _score(name, sample, latest, currency).items()
            if score >= LEAST
        ]
    chosen: dict[int, tuple[float, str, str]] = {}
    taken: set[str] = set()
    for score, place, field, because in sorted(scores, key=lambda one: (-one[0], one[1], one[2])):
        # A range and its two ends say the same: only one of both ways.
        clash = {"year_from", "year_to"} & taken if field == YEARS else set()
        clash |= {YEARS} & taken if field in ("year_from", "year_to") else set()
        if place not in chosen and field not in taken and not clash:
            chosen[place] = (score, field, because)
            taken.add(field)
    nothing = (0.0, IGNORE, "nothing in it is recognised")
    return tuple(
        Guess(place, names[place], field, round(score, 3), because, samples[place][:3])
        for place in range(len(names))
        for score, field, because in [chosen.get(place, nothing)]
    )


def sample_values(column: Column, header: int | None) -> tuple[str, ...]:
    """Return a column's commonest texts below the header, nothing and dashes left out."""
    counts = np.bincount(column.codes[0 if header is None else header + 1 :], minlength=len(column.values))
    order = np.argsort(-counts, kind="stable")[: SAMPLE_VALUES + 10]
    found = (column.values[place] for place in order if counts[place])
    return tuple(text for text in found if not is_nothing(text))[:SAMPLE_VALUES]


def find_unit(name: str) -> str:
    """Return the unit of frequency that a column's name holds, or nothing.

    >>> find_unit("Freq. [MHz]"), find_unit("frequency_hz")
    ('mhz', 'hz')
    """
    found = _UNIT.search(fold(name))
    return found[1] if found else ""


def _find_name(name: str) -> tuple[str, bool]:
    """Return the field that a header names, and whether it is the whole header."""
    words = column_words()
    folded = fold(name)
    field = words.get(folded) or words.get(folded.removesuffix("s"))
    if field:
        return field, True
    bare = fold(re.sub(r"[(\[].*?[)\]]|\b(?:eur|usd|gbp|chf|incl|excl|vat)\b|[€$£]", " ", name.casefold()))
    bare = _UNIT.sub(" ", bare).strip()
    field = words.get(" ".join(bare.split()))
    if field:
        return field, True
    parts = folded.split()
    spans = [
        " ".join(parts[i:j]) for i in range(len(parts)) for j in range(len(parts), i, -1) if len(parts) <= 8
    ]
    # The longest known words within the header: "price per piece" is a price.
    known = [(len(span), words[span]) for span in spans if span in words and len(span) > 3]
    return (max(known)[1], False) if known else ("", False)


def _score(name: str, sample: Sequence[str], latest: int, currency: str) -> dict[str, tuple[float, str]]:
    named, whole = _find_name(name)
    fits = _fit_content(name, sample, latest, currency)
    scores: dict[str, tuple[float, str]] = {}
    if named and named in FIELD_WORDS:
        base = NAMED if whole else NAMED_IN_PART
        because = f"its name “{name.strip()[:40]}”"
        fit = fits.get(named)
        if fit is None:
            scores[named] = (base, because)
        else:
            # Name and content together: either may be wrong by itself.
            score = base * (0.4 + 0.6 * fit) + (1 - base) * fit * 0.9
            scores[named] = (score, f"{because}; {_percent(fit)} of its cells fit")
    for field, fit in fits.items():
        if field in _TELLING and field != named and fit >= 0.8:
            # A name that says something else speaks against what the content alone suggests.
            base = CONTENT * (0.7 if named else 1.0)
            scores.setdefault(field, (base * fit, f"its content: {_percent(fit)} of the cells fit"))
    return scores


def _percent(part: float) -> str:
    return f"{100 * part:.0f} %"


# Content that is told by itself, without a name.
_TELLING = (
    "fcc_id",
    "frequency_hz",
    "years",
    "year_from",
    "buttons",
    "kind",
    "start",
    "modulation",
    "battery",
)


def _fit_content(name: str, sample: Sequence[str], latest: int, currency: str) -> Mapping[str, float]:
    """Return for each field with a form of its own how large a part of the texts fits it."""
    if not sample:
        return {}
    sign, unit = find_decimal_sign(sample), find_unit(name)
    tests: dict[str, Callable[[str], bool]] = {
        # A bare number is no sign of an identifier, and nor is a word.
        "fcc_id": lambda text: is_fcc_id(text) and any(map(str.isdigit, text)) and not text.isdigit(),
        "frequency_hz": lambda text: not read_frequency(text, unit, sign).expected,
        "years": lambda text: not read_years(text, latest).expected and _is_year_like(text),
        "year_from": lambda text: not read_year(text, latest).expected and _is_year_like(text),
        "year_to": lambda text: not read_year(text, latest).expected and _is_year_like(text),
        "cost": lambda text: not read_money(text, currency, sign).expected,
        "price": lambda text: not read_money(text, currency, sign).expected,
        "share": lambda text: not read_share(text).expected,
        "buttons": _is_button_like,
        "kind": lambda text: bool(find_word("kind", text)),
        "start": lambda text: bool(find_word("start", text)),
        "modulation": lambda text: bool(find_word("modulation", text)),
        "battery": lambda text: bool(_CELL.fullmatch(text.strip())),
    }
    return {field: sum(map(test, sample)) / len(sample) for field, test in tests.items() if field in FIELDS}


def _is_year_like(text: str) -> bool:
    """Say whether a text is of four-digit years or has a sign of a range: bare pairs of digits are counts."""
    return bool(re.search(r"\d{4}|\d\s*[-–/+]|[-–/]\s*\d", text))


def _is_button_like(text: str) -> bool:
    parts = [part for part in BUTTON_SIGNS.split(text.casefold()) if part]
    if not parts:
        return False
    return sum(1 for part in parts if find_word("button", part)) >= 0.5 * len(parts) or bool(
        re.fullmatch(r"\d{1,2}\s*(?:b|btn|buttons?|tasten?|boutons?|botones|tasti|knoppen)", text.casefold())
    )
