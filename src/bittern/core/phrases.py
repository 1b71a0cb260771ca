"""Words put together for a person."""

from __future__ import annotations

from collections.abc import Sequence


def join_words(words: Sequence[str]) -> str:
    """Return the words as one phrase; empty for none.

    >>> join_words(["1", "2", "5"])
    '1, 2 and 5'
    >>> join_words(["the daily key"])
    'the daily key'
    """
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part) if words else ""
