"""Identifiers of a pack, laid out to find those that a reading resembles without looking at each."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import NDArray

from bittern.core.channel import normalise_reading
from bittern.engines.key.fcc import grantee_length
from bittern.engines.key.features import Integers

MOST_ALIKE = 24
# Part of the shorter text's pairs that two texts share at least, if one may be a misreading of the other.
_LEAST_SHARED = 0.4
# Characters that are easily mixed count as one when labels are compared roughly.
_ROUGH = str.maketrans("OQDILSBZGV", "0001158260", "-? ") | {ord("V"): "U"}
_SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


class LabelIndex:
    """Rough pairs of characters of every identifier, and the grantee codes they begin with.

    Parameters
    ----------
    labels
        Distinct identifiers in the channel's normal form; one may be empty.
    """

    def __init__(self, labels: Sequence[Hashable]) -> None:
        texts = [str(label) for label in labels]
        codes, label = _rough_pairs(texts)
        self._count = len(texts)
        self._pairs = np.bincount(label, minlength=len(texts)).astype(np.int16)
        self._fewest = int(self._pairs[self._pairs > 0].min(initial=1 << 14))
        order = np.argsort(codes, kind="stable")
        self._label = label[order].astype(np.int32)
        self._first = np.searchsorted(codes[order], np.arange(len(_SIGNS) ** 2 + 1))
        self.grantees: dict[str, int] = {}
        self.grantee = np.array([self._grantee_of(text) for text in texts], dtype=np.int64)

    def like(self, reading: str, most: int = MOST_ALIKE) -> Integers:
        """Return the places of the identifiers that ``reading`` resembles, most alike first.

        Notes
        -----
        Compared by neighbouring pairs of characters, easily mixed ones counted as one. A label that shares
        less than four in ten of the shorter text's pairs is not a misreading of it by any likely way: two
        wrong characters in the middle of seven leave three pairs of six.
        """
        wanted = pairs_of(reading)
        if not wanted:
            return np.zeros(0, dtype=np.int64)
        counts = np.zeros(self._count, dtype=np.int16)
        for pair in wanted:
            code = _SIGNS.index(pair[0]) * len(_SIGNS) + _SIGNS.index(pair[1])
            # One label stands at most once under a pair, so the sum by places loses nothing.
            counts[self._label[self._first[code] : self._first[code + 1]]] += 1
        # No label has fewer pairs than the fewest, so none with fewer in common is alike enough.
        least = max(1, int(np.ceil(_LEAST_SHARED * min(self._fewest, len(wanted)))))
        found = (counts >= least).nonzero()[0]
        shared = counts[found].astype(np.int64)
        shorter = np.maximum(1, np.minimum(self._pairs[found], len(wanted)))
        enough = shared >= _LEAST_SHARED * shorter
        found, shared, alike = found[enough], shared[enough], shared[enough] / shorter[enough]
        if len(found) > most:
            kept = alike >= np.partition(alike, len(alike) - most)[len(alike) - most]
            found, shared, alike = found[kept], shared[kept], alike[kept]
        order = np.lexsort((found, -shared, -alike))[:most]
        return np.asarray(found[order], dtype=np.int64)

    def _grantee_of(self, label: str) -> int:
        """Return the number of the grantee code that ``label`` begins with, or -1."""
        bare = label.replace("-", "")
        length = grantee_length(bare[:1]) if bare else None
        if not length or len(bare) <= length:
            return -1
        return self.grantees.setdefault(bare[:length], len(self.grantees))


def pairs_of(text: str) -> set[str]:
    """Return the neighbouring pairs of characters of ``text``, easily mixed ones made one."""
    rough = normalise_reading(text).translate(_ROUGH)
    return {rough[i : i + 2] for i in range(len(rough) - 1)}


def are_alike(one: set[str], other: set[str]) -> bool:
    """Say whether texts with these pairs resemble each other as in :meth:`LabelIndex.like`."""
    shared = len(one & other)
    return shared > 0 and shared >= _LEAST_SHARED * max(1, min(len(one), len(other)))


def _rough_pairs(texts: Sequence[str]) -> tuple[Integers, Integers]:
    """Return the number of every pair that a text has, and the text's place; each pair once a text."""
    rough = [text.translate(_ROUGH) for text in texts]
    length = np.array([len(text) for text in rough], dtype=np.int64)
    signs: NDArray[np.uint8] = np.frombuffer("".join(rough).encode("ascii"), dtype=np.uint8)
    number = np.full(128, -1, dtype=np.int64)
    number[np.frombuffer(_SIGNS.encode("ascii"), dtype=np.uint8)] = np.arange(len(_SIGNS))
    place = np.repeat(np.arange(len(rough)), length)
    same = place[1:] == place[:-1]
    code = (number[signs[:-1]] * len(_SIGNS) + number[signs[1:]])[same]
    base = len(_SIGNS) ** 2
    unique = np.unique(place[:-1][same] * base + code)
    return unique % base, unique // base
