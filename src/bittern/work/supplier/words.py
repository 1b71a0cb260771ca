"""Words of suppliers' lists and what they mean: the tables of ``data/`` as look-ups."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from bittern.data.tables import read_table

# Letters that do not fall apart into a letter and an accent.
_WHOLE = str.maketrans({"ß": "ss", "ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ð": "d"})
_SIGNS = re.compile(r"[^a-z0-9]+")


def fold(text: str) -> str:
    """Return ``text`` as the tables write it: small letters without accents, signs made spaces.

    >>> fold("Désignation / Référence"), fold("Art.-Nr.")
    ('designation reference', 'art nr')
    """
    plain = unicodedata.normalize("NFKD", text.casefold()).translate(_WHOLE)
    bare = "".join(character for character in plain if not unicodedata.combining(character))
    return _SIGNS.sub(" ", bare).strip()


@cache
def column_words() -> Mapping[str, str]:
    """Return the field that each word heads."""
    return MappingProxyType({row["word"]: row["field"] for row in read_table("list_columns")})


@cache
def cell_words(group: str) -> Mapping[str, str]:
    """Return what each word of a group means: ``button``, ``kind``, ``start`` or ``modulation``."""
    return MappingProxyType(
        {row["word"]: row["means"] for row in read_table("list_words") if row["group"] == group}
    )


@cache
def currency_signs() -> Mapping[str, tuple[str, ...]]:
    """Return the currencies that each sign can stand for."""
    found: dict[str, tuple[str, ...]] = {}
    for row in read_table("list_currencies"):
        found[row["sign"]] = (*found.get(row["sign"], ()), row["currency"])
    return MappingProxyType(found)


def find_word(group: str, text: str) -> str:
    """Return what a cell's word means, or nothing.

    >>> find_word("button", "Tailgate"), find_word("start", "push-button"), find_word("kind", "Unknown")
    ('boot', 'push', '')
    """
    return cell_words(group).get(fold(text), "")
