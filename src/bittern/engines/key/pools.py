"""Articles told apart one by one, and pools of articles that the evidence cannot tell apart.

An entry is either one article or a pool: all other articles of one signature. The chance of everything
observed is the same for every article of a pool, so sums over its articles are the pool's summed weight
times that chance, exactly. What has to stand alone is an article whose identifier resembles one that was
read, and, to be named as a candidate, an article that may be among the likeliest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bittern.engines.key.features import SIGNATURE_KINDS, Floats, Integers
from bittern.engines.key.index import KeyIndex
from bittern.engines.key.weight import Weight


@dataclass(frozen=True, slots=True)
class Pools:
    """The entries: the articles at ``places`` in rising order, then the pools that have an article left.

    Attributes
    ----------
    places
        Shape (articles told apart,).
    rest
        Shape (pools,): the signature of each pool.
    code
        For every kind that can be seen of a key, shape (entries,): the place of the value in its table. The
        identifiers of a pool are many; its code is one beyond the table.
    weight
        Shape (entries,), sum 1: how often such articles turn up in general.
    """

    places: Integers
    rest: Integers
    code: Mapping[str, Integers]
    weight: Floats

    def __len__(self) -> int:
        return len(self.weight)

    def entry_of(self, place: int) -> int | None:
        """Return the entry of the article at ``place`` in the pack, or None where it is in a pool."""
        entry = int(np.searchsorted(self.places, place))
        return entry if entry < len(self.places) and self.places[entry] == place else None


def pool_articles(index: KeyIndex, weight: Weight, places: Integers) -> Pools:
    """Return the entries with the articles at ``places`` (rising, each once) told apart."""
    signatures, label = index.signatures, index.tables["fcc_id"]
    alone = np.bincount(signatures.of[places], minlength=len(signatures))
    rest = np.flatnonzero(signatures.count > alone)
    code = {
        kind: np.concatenate([index.tables[kind].code[places], signatures.code[kind][rest]])
        for kind in SIGNATURE_KINDS
    }
    many = np.where(signatures.labelled[rest], len(label.values), label.absent)
    code["fcc_id"] = np.concatenate([label.code[places], many])
    each = weight.of_articles(places)
    left = leave_out(weight.by_signature, signatures.of[places], each)[rest]
    return Pools(places, rest, code, np.concatenate([each, left]))


def leave_out(sums: Floats, signature: Integers, amount: Floats) -> Floats:
    """Return ``sums`` by signature without the amounts of the articles told apart."""
    return np.maximum(0.0, sums - np.bincount(signature, weights=amount, minlength=len(sums)))


def likeliest(places: Integers, score: Floats, most: int) -> Integers:
    """Return the ``most`` of ``places`` with the highest scores, in any order."""
    if len(places) <= most:
        return places
    return np.asarray(places[np.argpartition(score, len(score) - most)[-most:]], dtype=np.int64)


def common_heads(index: KeyIndex, weight: Weight, p_key: Floats, most: int) -> Integers:
    """Return articles among which are the ``most`` likeliest that no fitment of the vehicle's make names.

    Parameters
    ----------
    p_key
        Shape (signatures,): chance of what was seen, for an article of each signature.

    Notes
    -----
    Within a signature the likeliest are the most common. A signature whose first article is not among the
    ``most`` best firsts cannot hold one of the likeliest: each of those firsts is as likely or more.
    """
    order, first = index.heads
    score = weight.least_of(order[first[:-1]]) * p_key
    best = likeliest(np.arange(len(score)), score, most)
    count = np.minimum(first[best + 1] - first[best], most)
    ahead = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    places = order[np.repeat(first[best], count) + ahead]
    signature = index.signatures.of[places]
    return likeliest(places, weight.least_of(places) * p_key[signature], most)
