"""How often each article turns up as a key in general, summed over whatever articles have in common.

A weight is a mixture of three parts: the whole pack's, one make's own (few articles), and a floor that is the
same for all. Sums over articles with one signature, value or grantee are sums of the parts', so nothing here
goes over all articles once a pack is laid out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bittern.engines.key.features import SIGNATURE_KINDS, FeatureTable, Floats, Integers, Signatures


@dataclass(frozen=True)
class ArticleClasses:
    """What articles have in common: their features, signatures, labels and grantees.

    Attributes
    ----------
    grantee
        Shape (articles,): number of the grantee code of the identifier, or -1.
    by_label, first_by_label
        Articles in the order of their label's place; where each label's begin, and the end of the last.
    """

    tables: Mapping[str, FeatureTable]
    signatures: Signatures
    grantee: Integers
    by_label: Integers
    first_by_label: Integers

    def articles_of(self, labels: Integers) -> Integers:
        """Return the places of all articles that have one of ``labels``, label by label."""
        first, after = self.first_by_label[labels], self.first_by_label[labels + 1]
        count = after - first
        ahead = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
        return np.asarray(self.by_label[np.repeat(first, count) + ahead], dtype=np.int64)


@dataclass(frozen=True)
class WeightPart:
    """Weights of some articles, sum 1 with ``floor`` for each article of the pack; the others have none.

    Attributes
    ----------
    places, own
        Articles in rising order, and the weight of each beyond the floor.
    """

    classes: ArticleClasses
    places: Integers
    own: Floats
    floor: float

    def of_articles(self, places: Integers) -> Floats:
        """Return the weights of the articles at ``places``."""
        if len(self.places) == len(self.classes.signatures.of):
            return np.asarray(self.own[places] + self.floor, dtype=np.float64)
        found = np.searchsorted(self.places, places)
        inside = found < len(self.places)
        found[~inside] = 0
        hit = inside & (self.places[found] == places) if len(self.places) else inside
        return np.where(hit, self.own[found] if len(self.own) else 0.0, 0.0) + self.floor

    @cached_property
    def by_signature(self) -> Floats:
        """Sums over the articles of each signature, shape (signatures,)."""
        signatures = self.classes.signatures
        own = np.bincount(signatures.of[self.places], weights=self.own, minlength=len(signatures))
        return np.asarray(own + self.floor * signatures.count, dtype=np.float64)

    @cached_property
    def by_grantee(self) -> Floats:
        """Sums over the articles of each grantee code, shape (grantees,)."""
        grantee = self.classes.grantee
        count = np.bincount(grantee + 1)[1:]
        own = np.bincount(grantee[self.places] + 1, weights=self.own, minlength=len(count) + 1)[1:]
        return np.asarray(own + self.floor * count, dtype=np.float64)


def weigh_part(classes: ArticleClasses, article: Integers, raw: Floats) -> WeightPart:
    """Return the weights that fitment rows with ``raw`` weights give their articles.

    Notes
    -----
    No article is impossible as somebody's key, listed or not: a hundredth of all is spread over all alike.
    """
    articles = len(classes.signatures.of)
    total = float(raw.sum())
    floor = (total * 0.01 + 1e-9) / max(1, articles)
    whole = total + floor * articles
    if 4 * len(article) > articles:
        places = np.arange(articles)
        own = np.bincount(article, weights=raw, minlength=articles).astype(np.float64)
    else:
        places, position = np.unique(article, return_inverse=True)
        own = np.bincount(position.reshape(-1), weights=raw, minlength=len(places)).astype(np.float64)
    return (
        WeightPart(classes, places, own / whole, floor / whole)
        if articles
        else WeightPart(classes, places, own, 0.0)
    )


class Weight:
    """How often each article turns up as a key in general, sum 1.

    Parameters
    ----------
    general
        The whole pack's weights.
    make
        The weights of the vehicle's make, or None where it is not known.
    same_make
        Part of the weight that is the make's own, 0 to 1.
    """

    def __init__(self, general: WeightPart, make: WeightPart | None = None, same_make: float = 0.0) -> None:
        self.classes = general.classes
        self.general = general
        self.make = make
        self._parts = [(1.0, general)] if make is None else [(same_make, make), (1.0 - same_make, general)]

    def of_articles(self, places: Integers) -> Floats:
        """Return the weights of the articles at ``places``."""
        return np.asarray(sum(part * one.of_articles(places) for part, one in self._parts), dtype=np.float64)

    def least_of(self, places: Integers) -> Floats:
        """Return what the articles at ``places`` weigh at least: as if none were the make's own."""
        general = self.general.of_articles(places)
        if self.make is None:
            return general
        (own, make), (rest, _) = self._parts
        return np.asarray(own * make.floor + rest * general, dtype=np.float64)

    @cached_property
    def by_article(self) -> Floats:
        """The weight of every article of the pack, shape (articles,): for studies and tests."""
        return self.of_articles(np.arange(len(self.classes.signatures.of)))

    @cached_property
    def by_signature(self) -> Floats:
        """Sums over the articles of each signature, shape (signatures,)."""
        return np.asarray(sum(part * one.by_signature for part, one in self._parts), dtype=np.float64)

    @cached_property
    def of_make(self) -> tuple[Integers, Floats]:
        """Places and weights of the articles that the make has of its own."""
        if self.make is None:
            return np.zeros(0, dtype=np.int64), np.zeros(0)
        return self.make.places, self.of_articles(self.make.places)

    @cached_property
    def labelled(self) -> float:
        """The weight of all articles that have an identifier."""
        return float(self.by_signature[self.classes.signatures.labelled].sum())

    def shares(self, kind: str) -> Floats:
        """Return how often each value of ``kind`` occurs, shape (values,); any kind but the identifier."""
        return self._shares[kind]

    @cached_property
    def _shares(self) -> Mapping[str, Floats]:
        signatures, tables = self.classes.signatures, self.classes.tables
        return {
            kind: np.bincount(
                signatures.code[kind], weights=self.by_signature, minlength=len(tables[kind].values)
            ).astype(np.float64)
            for kind in SIGNATURE_KINDS
        }

    def of_labels(self, labels: Integers) -> Floats:
        """Return how often each of the identifiers at ``labels`` occurs."""
        first = self.classes.first_by_label
        count = first[labels + 1] - first[labels]
        each = np.repeat(np.arange(len(labels)), count)
        weight = self.of_articles(self.classes.articles_of(labels))
        return np.bincount(each, weights=weight, minlength=len(labels)).astype(np.float64)

    def of_grantee(self, grantee: int) -> float:
        """Return how often identifiers with the grantee code of this number occur."""
        return float(sum(part * one.by_grantee[grantee] for part, one in self._parts))
