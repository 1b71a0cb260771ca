"""A supplier's list in the pack's words: columns of distinct texts, and how they are kept as bytes.

A layer holds what the list says and by which rule it is to be merged, not what came of it: laid over another
pack it fits itself to that one.
"""

from __future__ import annotations

import io
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.core.errors import InputError
from bittern.formats.pack_tables import ARTICLE_COLUMNS

KEEP, TAKE, FILL = "keep", "take", "fill"
RULES = (KEEP, TAKE, FILL)
TEXT_COLUMNS = ("make", "model", "start", "trim", "region", "article", "runsheet")
"""Columns of fitments that hold texts; the others are years and share."""
_MAGIC = b"bittern list 1\n"
_EXPECTED = "a list as this version of the program keeps it"


@dataclass(frozen=True, slots=True)
class Words:
    """A column of texts: ``values[codes[i]]`` stands in row i."""

    codes: NDArray[np.int32]
    values: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, row: int) -> str:
        return self.values[int(self.codes[row])]

    def pick(self, rows: NDArray[np.intp] | NDArray[np.bool_]) -> Words:
        """Return the column of these rows alone."""
        return Words(self.codes[rows], self.values)


@dataclass(frozen=True, slots=True)
class Layer:
    """What a list says.

    Attributes
    ----------
    articles
        A column for each of a pack's, article numbers once each; an empty text: not said.
    fitments
        The columns of texts, ``TEXT_COLUMNS``.
    share
        NaN where the list says none.
    article_rows, fitment_rows
        The spreadsheet's row that each comes from.
    rule
        Where list and pack both say something: ``keep`` the pack's, ``take`` the list's, or ``fill`` only
        what is empty in the pack.
    rest
        Part of the vehicles of one make, model, year and start left to articles in no list, where shares are
        made here.
    joined
        Article numbers of the list and the pack's numbers that they stand for.
    """

    articles: Mapping[str, Words]
    fitments: Mapping[str, Words]
    year_from: NDArray[np.int16]
    year_to: NDArray[np.int16]
    share: NDArray[np.float64]
    article_rows: NDArray[np.int32]
    fitment_rows: NDArray[np.int32]
    rule: str = KEEP
    rest: float = 0.1
    joined: tuple[tuple[str, str], ...] = ()

    def as_bytes(self) -> bytes:
        """Return the layer compressed."""
        arrays: dict[str, NDArray[np.generic]] = {
            "year_from": self.year_from,
            "year_to": self.year_to,
            "share": self.share,
            "article_rows": self.article_rows,
            "fitment_rows": self.fitment_rows,
        }
        head: dict[str, object] = {"rule": self.rule, "rest": self.rest, "joined": self.joined}
        for kind, columns in (("a", self.articles), ("f", self.fitments)):
            for name, words in columns.items():
                arrays[f"{kind}.{name}"] = words.codes
                head[f"{kind}.{name}"] = words.values
        packed = io.BytesIO()
        arrays["head"] = np.frombuffer(json.dumps(head).encode(), dtype=np.uint8)
        np.savez(packed, allow_pickle=False, **arrays)
        return _MAGIC + zlib.compress(packed.getbuffer(), 1)


def read_layer(raw: bytes) -> Layer:
    """Return the layer that :meth:`Layer.as_bytes` gave; ``InputError`` for anything else."""
    if not raw.startswith(_MAGIC):
        raise InputError("bytes of another kind", _EXPECTED)
    try:
        with np.load(io.BytesIO(zlib.decompress(raw[len(_MAGIC) :])), allow_pickle=False) as arrays:
            head = json.loads(arrays["head"].tobytes())
            return Layer(
                articles={name: _read_words(arrays, head, f"a.{name}") for name in ARTICLE_COLUMNS},
                fitments={name: _read_words(arrays, head, f"f.{name}") for name in TEXT_COLUMNS},
                year_from=arrays["year_from"],
                year_to=arrays["year_to"],
                share=arrays["share"],
                article_rows=arrays["article_rows"],
                fitment_rows=arrays["fitment_rows"],
                rule=head["rule"],
                rest=head["rest"],
                joined=tuple((theirs, ours) for theirs, ours in head["joined"]),
            )
    except (zlib.error, ValueError, KeyError, OSError) as error:
        raise InputError(f"damaged bytes ({error})", _EXPECTED) from error


def _read_words(
    arrays: Mapping[str, NDArray[np.int32]], head: Mapping[str, Sequence[str]], name: str
) -> Words:
    return Words(arrays[name], tuple(head[name]))
