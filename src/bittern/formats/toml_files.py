"""TOML documents: parsing with limits, and reading tables key by key so that every fault is found."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from typing import TypeVar

from bittern.core.errors import Fault, InputError, shorten

_T = TypeVar("_T")

KEY_DEPTH_LIMIT = 32
"""Most parts of one dotted key: the parser's time and memory grow with the square of it."""

LONGEST_TEXT = 1000
"""Longest text of one key, in characters: each stands in a heading or a list some day."""

# One part, then as many more as the limit, joined by dots. Possessive, and begun only where a part can begin,
# so that the search stays linear on hostile text.
_PART = r"""(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DEEP_KEY = re.compile(rf"(?<![A-Za-z0-9_-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{KEY_DEPTH_LIMIT}}}")
ID_FORM = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
ID_EXPECTED = "an id of up to 64 letters, digits, '.', '_' and '-' that begins with a letter or digit"


def check_key_depth(text: str, file: str) -> None:
    """Refuse a dotted key of more parts than ``KEY_DEPTH_LIMIT``, before a parser sees it.

    Raises
    ------
    InputError
        There is such a key.
    """
    if _DEEP_KEY.search(text):
        raise InputError(
            f"a key of more than {KEY_DEPTH_LIMIT} parts", "TOML as a person writes it", where=file
        )


def parse_toml(text: str, file: str) -> dict[str, object]:
    """Return the document as a dictionary.

    Raises
    ------
    InputError
        The text is not TOML, or is nested beyond reason.
    """
    check_key_depth(text, file)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"text that is not TOML ({error})", "a TOML document", where=file) from error
    except ValueError as error:  # a number of more digits than the interpreter converts
        raise InputError(f"a value that cannot be held ({error})", "a TOML document", where=file) from error
    except RecursionError as error:
        raise InputError("values nested too deeply", "TOML as a person writes it", where=file) from error


class TomlTable:
    """One table of a TOML document, read key by key: a fault is noted and reading goes on.

    A reader that met a fault gets a value of the right type that must not be used; build nothing once
    ``faults`` has grown.
    """

    def __init__(self, data: Mapping[str, object], file: str, faults: list[Fault], where: str = "") -> None:
        self.data = data
        self.file = file
        self.faults = faults
        self.where = where

    def note(self, key: str, found: str, expected: str) -> None:
        """Note a fault at ``key`` of this table."""
        self.faults.append(Fault(self.name(key), found, expected, self.file))

    def name(self, key: str) -> str:
        """Return the key's full name, such as ``cuts.flat``."""
        return f"{self.where}.{key}" if self.where else key

    def table(self, key: str) -> TomlTable:
        """Return the table under ``key``; an absent one is a fault and reads as empty."""
        value = self.data.get(key)
        if not isinstance(value, dict):
            self.note(key, _say(value), "a table")
            return TomlTable({}, self.file, [], self.name(key))
        return TomlTable(value, self.file, self.faults, self.name(key))

    def text(self, key: str, *, default: str | None = None) -> str:
        """Return a text that is not empty."""
        if key not in self.data and default is not None:
            return default
        value = self.data.get(key)
        if not isinstance(value, str) or not value.strip():
            self.note(key, _say(value), "a text")
            return ""
        if value != value.strip():
            self.note(key, shorten(value), "a text without spaces around it")
        elif len(value) > LONGEST_TEXT:
            self.note(key, f"{len(value)} characters", f"at most {LONGEST_TEXT}")
        return value

    def identifier(self, key: str) -> str:
        """Return an id: the form in which ids may name files."""
        value = self.data.get(key)
        if not isinstance(value, str) or not ID_FORM.fullmatch(value):
            self.note(key, _say(value), ID_EXPECTED)
            return ""
        return value

    def choice(self, key: str, words: Sequence[str], *, default: str | None = None) -> str:
        """Return one of ``words``."""
        if key not in self.data and default is not None:
            return default
        value = self.data.get(key)
        if not isinstance(value, str) or value not in words:
            self.note(key, _say(value), " or ".join(words))
            return words[0]
        return value

    def number(self, key: str, *, zero: bool = False) -> float:
        """Return a finite number above zero, or from zero up if ``zero``."""
        value = to_number(self.data.get(key))
        if value is None or value < 0 or (value == 0 and not zero):
            self.note(key, _say(self.data.get(key)), "a number, 0 or more" if zero else "a number above 0")
            return math.nan
        return value

    def whole(self, key: str, *, least: int) -> int:
        """Return a whole number that is at least ``least``."""
        value = self.data.get(key)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= 1_000_000:
            self.note(key, _say(value), f"a whole number, {least} or more")
            return least
        return value

    def maybe_whole(self, key: str, *, least: int) -> int | None:
        """Return a whole number, or None where the key is absent."""
        return self.whole(key, least=least) if key in self.data else None

    def numbers(self, key: str) -> tuple[float, ...]:
        """Return a list of finite numbers that is not empty."""
        return tuple(self._each(key, "numbers", (to_number(item) for item in self._items(key))))

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts that is not empty."""
        values = (item if isinstance(item, str) else None for item in self._items(key))
        return tuple(self._each(key, "texts", values))

    def _items(self, key: str) -> list[object]:
        value = self.data.get(key)
        return value if isinstance(value, list) else []

    def _each(self, key: str, what: str, values: Iterable[_T | None]) -> list[_T]:
        kept = []
        for number, value in enumerate(values, 1):
            if value is None:
                self.note(f"{key}[{number}]", _say(self._items(key)[number - 1]), f"one of a list of {what}")
            else:
                kept.append(value)
        if not self._items(key):
            self.note(key, _say(self.data.get(key)), f"a list of {what}")
        return kept


def to_number(value: object) -> float | None:
    """Return a TOML number as a finite float, or None for anything else (a truth value is no number)."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _say(value: object) -> str:
    return "nothing" if value is None else shorten(value)
