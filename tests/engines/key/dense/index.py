"""A catalogue laid out for quick identification: arrays over articles and fitments, built once per pack."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.core.channel import normalise_reading
from bittern.engines.key.catalogue import STARTS, Article, Catalogue, Fitment
from bittern.engines.key.fcc import grantee_length
from bittern.engines.key.rates import Rates

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

_LONGEST_SPAN_YEARS = 120
# Characters that are easily mixed count as one when labels are compared roughly.
_ROUGH = str.maketrans("OQDILSBZGV", "0001158260", "-? ") | {ord("V"): "U"}


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Rows:
    """Fitment rows as columns, sorted by make and model."""

    article: Integers
    year_from: Integers
    year_to: Integers
    start: Integers
    share: Floats
    group: Integers


def plain_name(text: str) -> str:
    """Return a make, model, blade or button name without capitals and extra spaces.

    >>> plain_name("  Heron   GT ")
    'heron gt'
    """
    return " ".join(text.casefold().split())


class KeyIndex:
    """Arrays over one catalogue; make one per pack and keep it.

    Parameters
    ----------
    catalogue
        Articles and fitments; rows that point at no article are left out (``pack check`` names them).
    """

    def __init__(self, catalogue: Catalogue) -> None:
        self.articles: tuple[Article, ...] = tuple(catalogue.articles.values())
        self.position = {article.article: i for i, article in enumerate(self.articles)}
        fitments = [row for row in catalogue.fitments if row.article in self.position]
        self._lay_rows(fitments)
        self._lay_groups()
        self.weight = self._weigh(np.arange(len(self.rows.article)))
        self.tables = _lay_features(self.articles)
        labels = [_pairs(str(label)) for label in self.tables["fcc_id"].values]
        self._pair_places = _places_by_pair(labels)
        self._by_grantee = _places_by_grantee(self.tables["fcc_id"].values)
        self._pair_counts = np.array([len(pairs) for pairs in labels], dtype=np.int64)

    def __len__(self) -> int:
        return len(self.articles)

    def groups_of(self, make: str, model: str) -> list[int]:
        """Return the make-and-model groups that agree with what is known; all of them when nothing is."""
        make, model = plain_name(make), plain_name(model)
        if make and model:
            group = self._by_name.get((make, model))
            return [] if group is None else [group]
        if make:
            return self._by_make.get(make, [])
        return self._by_model.get(model, []) if model else list(range(len(self._first) - 1))

    def rows_of(self, groups: Sequence[int]) -> Integers:
        """Return the places of the rows of ``groups``."""
        if len(groups) == len(self._first) - 1:
            return np.arange(len(self.rows.article))
        parts = [np.arange(self._first[group], self._first[group + 1]) for group in groups]
        return np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)

    def labels_of_grantee(self, grantee: str) -> Integers:
        """Return the places in the table of identifiers that begin with this grantee code."""
        return self._by_grantee.get(grantee, np.zeros(0, dtype=np.int64))

    def weight_for(self, make: str, rates: Rates) -> Floats:
        """Return how often each article turns up as a key in general, shape (articles,), sum 1.

        Notes
        -----
        Share times years of every fitment row, so that an article of many vehicles weighs more; where the
        make is known, ``rates.same_make`` of the weight is that make's own.
        """
        groups = self._by_make.get(plain_name(make)) if make else None
        if not groups:
            return self.weight
        own = self._weigh(self.rows_of(groups))
        return rates.same_make * own + (1.0 - rates.same_make) * self.weight

    def like_labels(self, reading: str, most: int = 24) -> list[int]:
        """Return the places in the table of identifiers that ``reading`` resembles, most alike first.

        Notes
        -----
        Compared by neighbouring pairs of characters, easily mixed ones counted as one. A label that shares
        less than four in ten of the shorter text's pairs is not a misreading of it by any likely way: two
        wrong characters in the middle of seven leave three pairs of six.
        """
        wanted = _pairs(reading)
        if not wanted:
            return []
        counts = np.zeros(len(self._pair_counts), dtype=np.int64)
        for pair in wanted:
            places = self._pair_places.get(pair)
            if places is not None:
                counts[places] += 1
        shorter = np.maximum(1, np.minimum(self._pair_counts, len(wanted)))
        found = np.flatnonzero(counts >= 0.4 * shorter)
        alike = counts[found] / shorter[found]
        order = np.lexsort((found, -counts[found], -alike))
        return [int(found[i]) for i in order[:most]]

    def _lay_rows(self, fitments: Sequence[Fitment]) -> None:
        names = [(plain_name(row.make), plain_name(row.model)) for row in fitments]
        self._names = sorted(set(names))
        self._by_name = {name: i for i, name in enumerate(self._names)}
        group = np.array([self._by_name[name] for name in names], dtype=np.int64)
        order = np.argsort(group, kind="stable")
        self.fitments = tuple(fitments[i] for i in order)
        self.rows = Rows(
            article=np.array([self.position[row.article] for row in self.fitments], dtype=np.int64),
            year_from=np.array([row.year_from for row in self.fitments], dtype=np.int64),
            year_to=np.array(
                [min(row.year_to, row.year_from + _LONGEST_SPAN_YEARS) for row in self.fitments],
                dtype=np.int64,
            ),
            start=np.array([STARTS.index(row.start) for row in self.fitments], dtype=np.int64),
            share=np.array([max(0.0, row.share) for row in self.fitments], dtype=np.float64),
            group=group[order],
        )

    def _lay_groups(self) -> None:
        self._first = np.searchsorted(self.rows.group, np.arange(len(self._names) + 1))
        self._by_make: dict[str, list[int]] = {}
        self._by_model: dict[str, list[int]] = {}
        for place, (make, model) in enumerate(self._names):
            self._by_make.setdefault(make, []).append(place)
            self._by_model.setdefault(model, []).append(place)

    def _weigh(self, places: Integers) -> Floats:
        rows = self.rows
        years = np.maximum(0, rows.year_to[places] - rows.year_from[places] + 1)
        weight = np.bincount(
            rows.article[places], weights=rows.share[places] * years, minlength=len(self.articles)
        ).astype(np.float64)
        # No article is impossible as somebody's key, listed or not.
        weight += (weight.sum() * 0.01 + 1e-9) / max(1, len(self.articles))
        return weight / weight.sum() if len(self.articles) else weight


def _lay_features(articles: Sequence[Article]) -> dict[str, FeatureTable]:
    return {
        "fcc_id": _table([normalise_reading(article.fcc_id) for article in articles], ""),
        "button_count": _table([len(article.buttons) for article in articles], None),
        "buttons": _table([frozenset(map(plain_name, article.buttons)) for article in articles], frozenset()),
        "blade": _table([plain_name(article.blade) for article in articles], ""),
        "chip": _table([plain_name(article.chip) for article in articles], ""),
        "frequency_hz": _table([float(article.frequency_hz or 0.0) for article in articles], 0.0),
    }


def _table(column: Sequence[Hashable], absent: Hashable) -> FeatureTable:
    place: dict[Hashable, int] = {}
    code = np.array([place.setdefault(value, len(place)) for value in column], dtype=np.int64)
    return FeatureTable(tuple(place), code, place.get(absent, -1))


def _rough(text: str) -> str:
    return normalise_reading(text).translate(_ROUGH)


def _pairs(text: str) -> set[str]:
    rough = _rough(text)
    return {rough[i : i + 2] for i in range(len(rough) - 1)}


def _places_by_pair(labels: Sequence[set[str]]) -> dict[str, Integers]:
    places: dict[str, list[int]] = {}
    for place, pairs in enumerate(labels):
        for pair in pairs:
            places.setdefault(pair, []).append(place)
    return {pair: np.array(found, dtype=np.int64) for pair, found in places.items()}


def _places_by_grantee(labels: Sequence[Hashable]) -> dict[str, Integers]:
    places: dict[str, list[int]] = {}
    for place, label in enumerate(labels):
        bare = str(label).replace("-", "")
        length = grantee_length(bare[:1]) if bare else None
        if length and len(bare) > length:
            places.setdefault(bare[:length], []).append(place)
    return {grantee: np.array(found, dtype=np.int64) for grantee, found in places.items()}
