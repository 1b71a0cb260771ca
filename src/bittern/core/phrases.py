"""Words put together for a person."""

from __future__ import annotations

from collections.abc import Sequence


def join_words(words: Sequence[str], last: str = "and") -> str:
    """Return the words as one phrase, ``last`` before the last one; empty for none.

    >>> join_words(["1", "2", "5"])
    '1, 2 and 5'
    >>> join_words(["the daily key"])
    'the daily key'
    >>> join_words(["1", "2"], "or")
    '1 or 2'
    """
    return f" {last} ".join(part for part in (", ".join(words[:-1]), words[-1]) if part) if words else ""
