"""What a cell becomes: the value as the pack writes it, what was changed on the way, or what is wrong."""

from __future__ import annotations

import re
from dataclasses import dataclass

from bittern.core.errors import shorten
from bittern.engines.key.errors import FccIdError
from bittern.engines.key.fcc import parse_fcc_id
from bittern.formats.toml_files import ID_FORM
from bittern.work.supplier.words import find_word, fold

TEXT_LIMIT = 500
"""Longest text kept of a cell."""
ERROR_CELLS = frozenset({"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!", "#NV"})
NOTHING = frozenset({"", "-", "–", "—", "n/a", "na", "none", "null", "?", "."})
"""Texts that say that there is nothing."""
BUTTON_SIGNS = re.compile(r"\s*(?:[|/,;+&\n]|\s[-–]\s)\s*|\s+(?:and|und|et|y|e|en|och)\s+")
_COUNT = re.compile(
    r"(\d{1,2})\s*(?:x\s*)?(?:b|but|btn|buttons?|t|tasten?|boutons?|botones|tasti|pulsanti|knoppen|knappar)?\.?"
)
_SCIENTIFIC = re.compile(r"\d(?:[.,]\d+)?[eE]\+?\d+")
_NOT_ID = re.compile(r"[^A-Za-z0-9._-]+")
_ASCII = re.compile(r"[ -~]*")


@dataclass(frozen=True, slots=True)
class Cell:
    """One distinct text of a column, put into the pack's form.

    ``note`` says what was changed or assumed; ``expected`` is set where the text is a fault, and then the
    value means nothing.
    """

    value: str = ""
    note: str = ""
    expected: str = ""


EMPTY = Cell()


def is_nothing(text: str) -> bool:
    """Say whether a cell's text means that there is nothing."""
    return text.casefold() in NOTHING


def read_text(text: str) -> Cell:
    """Return free text on one line."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if len(line) > TEXT_LIMIT:
        return Cell(line[:TEXT_LIMIT].rstrip(), f"cut after {TEXT_LIMIT} characters")
    return Cell(line)


def read_identifier(text: str) -> Cell:
    """Return an article number in the form of the pack's ids.

    >>> read_identifier("SG 10/2")
    Cell(value='SG-10-2', note='signs and spaces made hyphens', expected='')
    """
    if _SCIENTIFIC.fullmatch(text):
        return Cell(expected="the number itself: a spreadsheet has rounded it; format its cell as text")
    if ID_FORM.fullmatch(text):
        return Cell(text)
    made = _NOT_ID.sub("-", text).strip("-._")[:64].rstrip("-._")
    if not ID_FORM.fullmatch(made):
        return Cell(expected="an article number of letters and digits")
    return Cell(made, "signs and spaces made hyphens")


def read_fcc_id(text: str) -> Cell:
    """Return an FCC identifier in normal form (47 CFR 2.926)."""
    if _SCIENTIFIC.fullmatch(text):
        return Cell(expected="the identifier itself: a spreadsheet has made a number of it")
    try:
        found = parse_fcc_id(text)
    except FccIdError as error:
        hint = f" ({error.hint})" if error.hint else ""
        return Cell(expected=f"an FCC identifier: {error.expected}{hint}")
    return Cell(found.text, "; ".join(found.notes))


def read_buttons(text: str) -> Cell:
    """Return button words parted by bars; words that the table does not know are kept and said.

    A mere count becomes that many numbered buttons: how many there are is then known, and which they are not.

    >>> read_buttons("Lock / Unlock / Trunk").value, read_buttons("3 buttons").value
    ('lock|unlock|boot', 'button-1|button-2|button-3')
    """
    count = _COUNT.fullmatch(text.casefold().strip())
    if count:
        number = int(count[1])
        if number > 12:
            return Cell(expected="button words, or a count of at most 12")
        words = "|".join(f"button-{place}" for place in range(1, number + 1))
        return Cell(words, "a count alone: which buttons they are is not known" if number else "")
    words_found: list[str] = []
    unknown: list[str] = []
    twice: list[str] = []
    for part in BUTTON_SIGNS.split(text.casefold()):
        if not part or is_nothing(part):
            continue
        word = find_word("button", part)
        if not word:
            word = fold(part).replace(" ", "-")
            if not word:
                return Cell(expected="button words such as lock, unlock, boot")
            unknown.append(word)
        if word in words_found:
            twice.append(word)
        else:
            words_found.append(word)
    notes = [f"not in the table of button words: {', '.join(unknown)}"] if unknown else []
    notes += [f"twice: {', '.join(twice)}"] if twice else []
    value = "|".join(words_found)
    if value != text and not notes:
        notes.append("button words as the pack writes them")
    return Cell(value, "; ".join(notes))


def read_choice(group: str, text: str, expected: str) -> Cell:
    """Return the pack's word for a cell of a closed group."""
    word = find_word(group, text)
    if not word:
        return Cell(expected=expected)
    return Cell(word, "" if word == text else f"{shorten(text)} read as {word}")


def read_reference(text: str) -> Cell:
    """Return the id of a blade standard or run sheet; whether the pack has it is asked later."""
    return Cell(text) if ID_FORM.fullmatch(text) else read_identifier(text)
