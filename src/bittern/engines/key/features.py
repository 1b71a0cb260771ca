"""What can be observed of articles, laid out: distinct values, and signatures that articles share."""

from __future__ import annotations

import re
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bittern.core.channel import normalise_reading
from bittern.engines.key.catalogue import Article

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

SIGNATURE_KINDS = ("button_count", "buttons", "blade", "chip", "frequency_hz")
"""Kinds whose values make an article's signature, together with whether it has an identifier."""
# A text in the channel's normal form already: most identifiers are, and the check is quicker than the change.
_NORMAL = re.compile(r"[0-9A-Z]+(?:-[0-9A-Z]+)*", re.ASCII)


@dataclass(frozen=True)
class FeatureTable:
    """One feature of all articles: its distinct values, and which of them each article has.

    ``code[i]`` is the place of article i's value in ``values``; ``absent`` the place of "has none", or -1.
    """

    values: tuple[Hashable, ...]
    code: Integers
    absent: int

    def shares(self, weight: Floats) -> Floats:
        """Return how often each value occurs, shape (values,), when articles occur with ``weight``."""
        counted = np.bincount(self.code, weights=weight, minlength=len(self.values))
        return counted.astype(np.float64)

    @cached_property
    def place(self) -> Mapping[Hashable, int]:
        """The place of each value."""
        return {value: i for i, value in enumerate(self.values)}

    @cached_property
    def numbers(self) -> Floats:
        """The values of a feature that is a number, shape (values,)."""
        return np.array([float(str(value)) for value in self.values])

    @cached_property
    def words(self) -> tuple[str, ...]:
        """Every word of a feature that is a set of words, in order."""
        return tuple(
            sorted({word for value in self.values if isinstance(value, frozenset) for word in value})
        )

    @cached_property
    def has(self) -> Floats:
        """Whether each value has each word, shape (values, words), 0 or 1."""
        column = {word: i for i, word in enumerate(self.words)}
        has = np.zeros((len(self.values), len(self.words)))
        for row, value in enumerate(self.values):
            if isinstance(value, frozenset):
                has[row, [column[word] for word in value]] = 1.0
        return has


@dataclass(frozen=True, slots=True)
class Signatures:
    """Articles that agree in everything but the text of their identifier have one signature.

    Attributes
    ----------
    of
        Shape (articles,): the signature of each article.
    code
        For every kind of ``SIGNATURE_KINDS``, shape (signatures,): the place of the value in its table.
    labelled
        Shape (signatures,): whether such articles have an identifier.
    count
        Shape (signatures,): articles of each.
    """

    of: Integers
    code: Mapping[str, Integers]
    labelled: NDArray[np.bool_]
    count: Integers

    def __len__(self) -> int:
        return len(self.count)


def plain_name(text: str) -> str:
    """Return a make, model, blade or button name without capitals and extra spaces.

    >>> plain_name("  Heron   GT ")
    'heron gt'
    """
    return " ".join(text.casefold().split())


def lay_features(articles: Sequence[Article]) -> dict[str, FeatureTable]:
    """Return the table of every kind that can be observed of a key."""
    sets = {words: frozenset(map(plain_name, words)) for words in {article.buttons for article in articles}}
    names = {name: plain_name(name) for article in articles for name in (article.blade, article.chip)}
    return {
        "fcc_id": _table([_normal(article.fcc_id) for article in articles], ""),
        "button_count": _table([len(article.buttons) for article in articles], None),
        "buttons": _table([sets[article.buttons] for article in articles], frozenset()),
        "blade": _table([names[article.blade] for article in articles], ""),
        "chip": _table([names[article.chip] for article in articles], ""),
        "frequency_hz": _table([float(article.frequency_hz or 0.0) for article in articles], 0.0),
    }


def lay_signatures(tables: Mapping[str, FeatureTable]) -> Signatures:
    """Return the signatures of the articles of ``tables``."""
    label = tables["fcc_id"]
    mark = (label.code != label.absent).astype(np.int64)
    for kind in SIGNATURE_KINDS:
        # Made dense after every kind, so that the product of all numbers of values cannot overflow.
        _, mark = np.unique(mark * len(tables[kind].values) + tables[kind].code, return_inverse=True)
    _, first, of, count = np.unique(mark, return_index=True, return_inverse=True, return_counts=True)
    return Signatures(
        of=of,
        code={kind: tables[kind].code[first] for kind in SIGNATURE_KINDS},
        labelled=label.code[first] != label.absent,
        count=count,
    )


def _normal(text: str) -> str:
    return text if _NORMAL.fullmatch(text) else normalise_reading(text)


def _table(column: Sequence[Hashable], absent: Hashable) -> FeatureTable:
    place: dict[Hashable, int] = {}
    code = np.array([place.setdefault(value, len(place)) for value in column], dtype=np.int64)
    return FeatureTable(tuple(place), code, place.get(absent, -1))
