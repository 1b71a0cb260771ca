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
# Parts of the pairs, as fractions, down to that part: what shares more is looked for by itself, as it is few.
_LEVELS = ((3, 5), (2, 5))
# A pair that one label in so many has is kept as a bit for every label: quicker to add than a list of places.
_OFTEN = 64
# Characters that are easily mixed count as one when labels are compared roughly.
_ROUGH = str.maketrans("OQDILSBZGV", "0001158260", "-? ") | {ord("V"): "U"}
_Counts = NDArray[np.unsignedinteger]
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
        pairs = np.bincount(label, minlength=len(texts))
        # Labels with the same number of pairs stand together, so that one threshold does for all of them.
        self._place = np.argsort(pairs, kind="stable").astype(np.int32)
        size = pairs[self._place]
        self._sizes = np.unique(size[size > 0])
        self._spans = np.searchsorted(size, np.append(self._sizes, size[-1:] + 1))
        at = np.empty(len(texts), dtype=np.int64)
        at[self._place] = np.arange(len(texts))
        order = np.argsort(codes, kind="stable")
        self._lay_pairs(codes[order], at[label[order]])
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
        counts = self._count_shared(wanted)
        shorter = np.minimum(self._sizes, len(wanted))
        found, least = np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        for above, below in _LEVELS:
            least, higher = -(-above * shorter // below), least
            if not np.array_equal(least, higher):
                found = self._find_sharing(counts, least)
            # All that were left out are less alike than any of these.
            if len(found) >= most:
                break
        shared = counts[found].astype(np.int64)
        alike = shared / shorter[np.searchsorted(self._spans, found, side="right") - 1]
        if len(found) > most:
            kept = alike >= np.partition(alike, len(alike) - most)[len(alike) - most]
            found, shared, alike = found[kept], shared[kept], alike[kept]
        places = self._place[found]
        order = np.lexsort((places, -shared, -alike))[:most]
        return np.asarray(places[order], dtype=np.int64)

    def _lay_pairs(self, codes: Integers, at: Integers) -> None:
        """Keep the labels of every pair: places of the few of a rare one, a bit a label of a common one."""
        first = np.searchsorted(codes, np.arange(len(_SIGNS) ** 2 + 1))
        often = np.diff(first) * _OFTEN >= max(1, len(self._place))
        self._bits: dict[int, NDArray[np.uint8]] = {}
        for code in np.flatnonzero(often).tolist():
            has = np.zeros(len(self._place), dtype=np.uint8)
            has[at[first[code] : first[code + 1]]] = 1
            self._bits[code] = np.packbits(has)
        rare = ~often[codes]
        self._rare = at[rare].astype(np.int32)
        self._first = np.searchsorted(codes[rare], np.arange(len(_SIGNS) ** 2 + 1))

    def _count_shared(self, wanted: set[str]) -> _Counts:
        """Return how many of the pairs each label has."""
        count = len(self._place)
        size = np.dtype(np.uint8 if len(wanted) < 256 else np.uint16)
        counts: _Counts = np.zeros(count, dtype=size)
        for pair in wanted:
            code = _SIGNS.index(pair[0]) * len(_SIGNS) + _SIGNS.index(pair[1])
            bits = self._bits.get(code)
            if bits is not None:
                counts += np.unpackbits(bits, count=count)
            else:
                # One label stands at most once under a pair, so the sum by places loses nothing.
                counts[self._rare[self._first[code] : self._first[code + 1]]] += 1
        return counts

    def _find_sharing(self, counts: _Counts, least: Integers) -> Integers:
        """Return the labels that share at least ``least`` pairs, which is given for each number of pairs."""
        enough = np.zeros(len(counts), dtype=np.bool_)
        for first, last, one in zip(self._spans[:-1], self._spans[1:], least.tolist(), strict=True):
            if one:
                np.greater_equal(counts[first:last], one, out=enough[first:last])
        return enough.nonzero()[0]

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
