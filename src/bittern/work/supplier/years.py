"""Model years of suppliers' lists: one, a range, an open end, two digits."""

from __future__ import annotations

import re

from bittern.formats.pack_tables import YEARS
from bittern.work.supplier.cells import Cell

EXPECTED = "a year or a range such as 2014-2018"
_YEAR = r"(?:(?:0?[1-9]|1[0-2])[./])?('?\d{4}|'?\d{2})"
_TO = r"\s*(?:-|–|—|−|/|to|bis|until|till|thru|through|a|à|al|tot|till|→|>|\.\.+)\s*"
_LEAD = r"(?:from|since|ab|von|de|des|depuis|desde|da|dal|vanaf|van|fran|my)?\s*"
_RANGE = re.compile(rf"{_LEAD}{_YEAR}{_TO}{_YEAR}")
_END = r"(?:\+|-|–|—|→|>|on|onwards|up|and up|ff\.?|(?:-|–)?\s*(?:now|present|today|heute)|\.\.+)"
_OPEN = re.compile(rf"{_LEAD}{_YEAR}\s*{_END}")
_OPEN_WORD = re.compile(rf"(?:from|since|ab|depuis|desde|dal|vanaf|fran)\s*{_YEAR}")
_ONE = re.compile(rf"(?:my\s*)?{_YEAR}")
_LIST = re.compile(r"\d{4}(?:\s*[,;/ ]\s*\d{4}){2,}")


def read_years(text: str, latest: int) -> Cell:
    """Return ``first-last``.

    Parameters
    ----------
    latest
        The year that an open end reaches to; two digits up to it are of this century.

    Examples
    --------
    >>> read_years("14–18", 2027).value, read_years("2019+", 2027).value, read_years("98/03", 2027).value
    ('2014-2018', '2019-2027', '1998-2003')
    """
    body = " ".join(text.casefold().split())
    if found := _RANGE.fullmatch(body):
        first, last = _full(found[1], latest), _full(found[2], latest)
        note = "" if _is_plain(found[1], found[2], body) else f"read as {first} to {last}"
    elif found := _OPEN.fullmatch(body) or _OPEN_WORD.fullmatch(body):
        first, last = _full(found[1], latest), latest
        note = f"open end: up to {latest}"
    elif found := _ONE.fullmatch(body):
        first = last = _full(found[1], latest)
        note = "" if len(body) == 4 else f"read as {first}"
    elif _LIST.fullmatch(body):
        years = [int(year) for year in re.findall(r"\d{4}", body)]
        if sorted(years) != list(range(min(years), max(years) + 1)):
            return Cell(expected="years without a gap; a row for each stretch")
        first, last, note = min(years), max(years), "a list of years read as a range"
    else:
        return Cell(expected=EXPECTED)
    if not YEARS[0] <= first <= YEARS[1] or not YEARS[0] <= last <= YEARS[1]:
        return Cell(expected=f"years from {YEARS[0]} to {YEARS[1]}")
    if first > last:
        return Cell(expected=f"{EXPECTED}, the earlier year first")
    return Cell(f"{first}-{last}", note)


def read_year(text: str, latest: int) -> Cell:
    """Return one year."""
    found = read_years(text, latest)
    first, _, last = found.value.partition("-")
    if found.expected or first != last:
        return Cell(expected="a year such as 2014")
    return Cell(first, found.note)


def _full(text: str, latest: int) -> int:
    digits = text.lstrip("'")
    year = int(digits)
    if len(digits) == 4:
        return year
    return 2000 + year if 2000 + year <= latest + 1 else 1900 + year


def _is_plain(first: str, last: str, body: str) -> bool:
    return len(first) == len(last) == 4 and "." not in body
