"""A catalogue laid out for quick identification: arrays over articles and fitments, built once per pack."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from bittern.engines.key.catalogue import STARTS, Article, Catalogue, Fitment
from bittern.engines.key.features import (
    FeatureTable,
    Floats,
    Integers,
    lay_features,
    lay_signatures,
    plain_name,
)
from bittern.engines.key.fitments import FitmentTable
from bittern.engines.key.labels import MOST_ALIKE, LabelIndex
from bittern.engines.key.rates import Rates
from bittern.engines.key.recent import Recent
from bittern.engines.key.weight import ArticleClasses, Weight, WeightPart, weigh_part

__all__ = ["FeatureTable", "Floats", "Integers", "KeyIndex", "Rows", "plain_name"]

_LONGEST_SPAN_YEARS = 120
# Makes and priors that are kept ready; one shop's work of a day is about few of either.
_MAKES_KEPT = 128
_PRIORS_KEPT = 8


@dataclass(frozen=True, slots=True)
class Rows:
    """Fitment rows as columns, sorted by make and model."""

    article: Integers
    year_from: Integers
    year_to: Integers
    start: Integers
    share: Floats
    group: Integers


class KeyIndex:
    """Arrays over one catalogue; make one per pack and keep it.

    Parameters
    ----------
    catalogue
        Articles and fitments; rows that point at no article are left out (``pack check`` names them).

    Attributes
    ----------
    tables
        Features of all articles by kind.
    signatures, classes
        What articles have in common.
    labels
        The identifiers, in the order of their table.
    priors
        Priors that were worked out lately over many rows.
    """

    def __init__(self, catalogue: Catalogue) -> None:
        self.articles: tuple[Article, ...] = tuple(catalogue.articles.values())
        self.position = {article.article: i for i, article in enumerate(self.articles)}
        self._lay_rows(FitmentTable.of(catalogue.fitments))
        self._lay_groups()
        self.tables = lay_features(self.articles)
        self.signatures = lay_signatures(self.tables)
        self.labels = LabelIndex(self.tables["fcc_id"].values)
        self.classes = self._lay_classes()
        self.general = self._weigh(np.arange(len(self.rows.article)))
        self.priors = Recent(_PRIORS_KEPT)
        # A method with its own memory, so that an index that is dropped takes what it kept along.
        self._weight = lru_cache(_MAKES_KEPT)(self._weight_of)

    def __len__(self) -> int:
        return len(self.articles)

    @property
    def group_count(self) -> int:
        """Number of make-and-model groups."""
        return len(self._first) - 1

    @cached_property
    def fitments(self) -> Sequence[Fitment]:
        """The rows as objects, in the order of ``rows``."""
        return self._table.take(self._order)

    def groups_of(self, make: str, model: str) -> Sequence[int]:
        """Return the make-and-model groups that agree with what is known; all of them when nothing is."""
        make, model = plain_name(make), plain_name(model)
        if make and model:
            group = self._by_name.get((make, model))
            return [] if group is None else [group]
        if make:
            return self._by_make.get(make, range(0))
        return self._by_model.get(model, []) if model else range(self.group_count)

    def rows_of(self, groups: Sequence[int]) -> Integers:
        """Return the places of the rows of ``groups``."""
        if isinstance(groups, range):
            # A make's groups stand together, as rows are sorted by make.
            first = self._first[groups.start] if groups else 0
            return np.arange(first, self._first[groups.stop] if groups else first)
        parts = [np.arange(self._first[group], self._first[group + 1]) for group in groups]
        return np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)

    def rows_of_article(self, article: str) -> list[Fitment]:
        """Return the fitments that point at ``article``, in the order of the pack."""
        place = self.position.get(article)
        if place is None:
            return []
        by_article, first = self._rows_by_article
        rows = by_article[first[place] : first[place + 1]]
        return [self._table[int(row)] for row in np.sort(self._order[rows])]

    def weight_for(self, make: str, rates: Rates) -> Weight:
        """Return how often each article turns up as a key in general.

        Notes
        -----
        Share times years of every fitment row, so that an article of many vehicles weighs more; where the
        make is known, ``rates.same_make`` of the weight is that make's own.
        """
        make = plain_name(make)
        return self._weight(make if make in self._by_make else "", rates.same_make)

    def like_labels(self, reading: str, most: int = MOST_ALIKE) -> Integers:
        """Return the places in the table of identifiers that ``reading`` resembles, most alike first."""
        return self.labels.like(reading, most)

    def with_models(self, models: Collection[tuple[str, str]], rows: Sequence[Fitment]) -> KeyIndex:
        """Return the same articles with ``rows`` in place of all fitments of ``models`` (plain names).

        How often articles turn up in general stays as the pack has it.
        """
        groups = [self._by_name[name] for name in models if name in self._by_name]
        kept = self._order[~np.isin(self.rows.group, groups)]
        new = copy(self)
        for name in ("fitments", "_rows_by_article"):
            vars(new).pop(name, None)
        new._lay_rows(self._table.with_rows(np.sort(kept), rows))
        new._lay_groups()
        new.priors = Recent(_PRIORS_KEPT)
        new._weight = lru_cache(_MAKES_KEPT)(new._weight_of)
        return new

    @cached_property
    def heads(self) -> tuple[Integers, Integers]:
        """Articles by signature, most common in general first; where each signature's begin, and the end."""
        of = self.signatures.of
        weight = self.general.of_articles(np.arange(len(self)))
        order = np.lexsort((-weight, of))
        return order, np.searchsorted(of[order], np.arange(len(self.signatures) + 1))

    @cached_property
    def _rows_by_article(self) -> tuple[Integers, Integers]:
        order = np.argsort(self.rows.article, kind="stable")
        return order, np.searchsorted(self.rows.article[order], np.arange(len(self) + 1))

    def _lay_rows(self, table: FitmentTable) -> None:
        article = table.article_places(self.position)
        known = np.flatnonzero(article >= 0)
        columns = table.columns
        # Spelling apart, names are few: what takes long is done once for each.
        makes, make_of = _plain_codes(table.makes)
        models, model_of = _plain_codes(table.models)
        mark = make_of[columns.make[known]] * max(1, len(models)) + model_of[columns.model[known]]
        marks, group = np.unique(mark, return_inverse=True)
        self._names = [(makes[m // len(models)], models[m % len(models)]) for m in marks.tolist()]
        self._by_name = {name: i for i, name in enumerate(self._names)}
        order = np.argsort(group.reshape(-1), kind="stable")
        self._table, self._order = table, known[order]
        start = np.array([STARTS.index(word) for word in table.starts], dtype=np.int64)
        year_from = columns.year_from[self._order].astype(np.int64)
        self.rows = Rows(
            article=article[self._order],
            year_from=year_from,
            year_to=np.minimum(
                columns.year_to[self._order].astype(np.int64), year_from + _LONGEST_SPAN_YEARS
            ),
            start=start[columns.start[self._order]] if len(start) else np.zeros(0, dtype=np.int64),
            share=np.maximum(0.0, columns.share[self._order]),
            group=group.reshape(-1)[order],
        )

    def _lay_groups(self) -> None:
        self._first = np.searchsorted(self.rows.group, np.arange(len(self._names) + 1))
        self._by_make: dict[str, range] = {}
        self._by_model: dict[str, list[int]] = {}
        for place, (make, model) in enumerate(self._names):
            first = self._by_make.get(make, range(place, place)).start
            self._by_make[make] = range(first, place + 1)
            self._by_model.setdefault(model, []).append(place)

    def _lay_classes(self) -> ArticleClasses:
        label = self.tables["fcc_id"]
        by_label = np.argsort(label.code, kind="stable")
        return ArticleClasses(
            tables=self.tables,
            signatures=self.signatures,
            grantee=self.labels.grantee[label.code] if len(self) else np.zeros(0, dtype=np.int64),
            by_label=by_label,
            first_by_label=np.searchsorted(label.code[by_label], np.arange(len(label.values) + 1)),
        )

    def _weight_of(self, make: str, same_make: float) -> Weight:
        if not make:
            return Weight(self.general)
        return Weight(self.general, self._weigh(self.rows_of(self._by_make[make])), same_make)

    def _weigh(self, places: Integers) -> WeightPart:
        rows = self.rows
        years = np.maximum(0, rows.year_to[places] - rows.year_from[places] + 1)
        return weigh_part(self.classes, rows.article[places], rows.share[places] * years)


def _plain_codes(names: Sequence[str]) -> tuple[list[str], Integers]:
    """Return the plain names in order, and for every name the place of its plain form."""
    plain = [plain_name(name) for name in names]
    distinct = sorted(set(plain))
    place = {name: i for i, name in enumerate(distinct)}
    return distinct, np.array([place[name] for name in plain], dtype=np.int64)
