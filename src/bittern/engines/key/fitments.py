"""Fitments as columns: a million rows in memory, each made an object only when somebody looks at it."""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass, field
from typing import TYPE_CHECKING, NamedTuple, overload

from bittern.engines.key.catalogue import Fitment

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_TEXTS = ("make", "model", "start", "trim", "region", "article", "runsheet")


def _numbers() -> array[int]:
    return array("i")


class Columns(NamedTuple):
    """The columns as arrays, shape (rows,): texts as places in their lists, years, shares."""

    make: NDArray[np.int32]
    model: NDArray[np.int32]
    start: NDArray[np.int32]
    trim: NDArray[np.int32]
    region: NDArray[np.int32]
    article: NDArray[np.int32]
    runsheet: NDArray[np.int32]
    year_from: NDArray[np.int32]
    year_to: NDArray[np.int32]
    share: NDArray[np.float64]


@dataclass
class FitmentDraft:
    """Columns that grow row by row; every text is kept once and named by its number."""

    make: dict[str, int] = field(default_factory=dict)
    model: dict[str, int] = field(default_factory=dict)
    start: dict[str, int] = field(default_factory=dict)
    trim: dict[str, int] = field(default_factory=dict)
    region: dict[str, int] = field(default_factory=dict)
    article: dict[str, int] = field(default_factory=dict)
    runsheet: dict[str, int] = field(default_factory=dict)
    numbers: array[int] = field(default_factory=_numbers)
    """Row after row: make, model, start, trim, region, article, run sheet, first year, last year."""
    share: array[float] = field(default_factory=lambda: array("d"))

    def add(
        self,
        make: str,
        model: str,
        year_from: int,
        year_to: int,
        start: str,
        trim: str,
        region: str,
        article: str,
        share: float,
        runsheet: str,
    ) -> None:
        """Add one row, its values in the order of :class:`Fitment`."""
        self.numbers.extend(
            (
                self.make.setdefault(make, len(self.make)),
                self.model.setdefault(model, len(self.model)),
                self.start.setdefault(start, len(self.start)),
                self.trim.setdefault(trim, len(self.trim)),
                self.region.setdefault(region, len(self.region)),
                self.article.setdefault(article, len(self.article)),
                self.runsheet.setdefault(runsheet, len(self.runsheet)),
                year_from,
                year_to,
            )
        )
        self.share.append(share)


_WIDTH = len(_TEXTS) + 2


class FitmentTable(Sequence[Fitment]):
    """Fitments in the order of their file, equal to any sequence of equal fitments.

    Attributes
    ----------
    makes, models, starts, trims, regions, articles, runsheets
        The distinct texts of a column, in the order in which they first stand in it.
    """

    def __init__(self, draft: FitmentDraft) -> None:
        self.makes, self.models = tuple(draft.make), tuple(draft.model)
        self.starts, self.trims, self.regions = tuple(draft.start), tuple(draft.trim), tuple(draft.region)
        self.articles, self.runsheets = tuple(draft.article), tuple(draft.runsheet)
        self._numbers, self._share = draft.numbers, draft.share

    @classmethod
    def of(cls, rows: Sequence[Fitment]) -> FitmentTable:
        """Return ``rows`` as a table, itself if it is one."""
        if isinstance(rows, FitmentTable):
            return rows
        draft = FitmentDraft()
        for row in rows:
            draft.add(*astuple(row))
        return cls(draft)

    def __len__(self) -> int:
        return len(self._share)

    @overload
    def __getitem__(self, place: int) -> Fitment: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[Fitment]: ...
    def __getitem__(self, place: int | slice) -> Fitment | Sequence[Fitment]:
        if isinstance(place, slice):
            return tuple(self[i] for i in range(*place.indices(len(self))))
        if not -len(self) <= place < len(self):
            raise IndexError(place)
        first = (place % len(self)) * _WIDTH
        make, model, start, trim, region, article, runsheet, year_from, year_to = self._numbers[
            first : first + _WIDTH
        ]
        return Fitment(
            self.makes[make],
            self.models[model],
            year_from,
            year_to,
            self.starts[start],
            self.trims[trim],
            self.regions[region],
            self.articles[article],
            self._share[place],
            self.runsheets[runsheet],
        )

    def __iter__(self) -> Iterator[Fitment]:
        return (self[i] for i in range(len(self)))

    def __eq__(self, other: object) -> bool:
        if isinstance(other, FitmentTable) and vars(self) == vars(other):
            return True
        if not isinstance(other, Sequence) or isinstance(other, str) or len(other) != len(self):
            return False
        return all(one == another for one, another in zip(self, other, strict=True))

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"FitmentTable of {len(self):,} rows"

    @property
    def columns(self) -> Columns:
        """The columns as arrays; they look into the table and are not to be changed."""
        import numpy as np

        if not len(self):
            none = np.zeros(0, dtype=np.int32)
            return Columns(none, none, none, none, none, none, none, none, none, np.zeros(0))
        numbers = np.frombuffer(self._numbers, dtype=np.int32).reshape(-1, _WIDTH).T
        make, model, start, trim, region, article, runsheet, year_from, year_to = numbers
        share = np.frombuffer(self._share, dtype=np.float64)
        return Columns(make, model, start, trim, region, article, runsheet, year_from, year_to, share)

    def spans(self) -> set[tuple[str, str, int, int]]:
        """Return make, model, first and last year of the rows, each combination once."""
        at = self._numbers
        every = set(
            zip(at[0::_WIDTH], at[1::_WIDTH], at[_WIDTH - 2 :: _WIDTH], at[_WIDTH - 1 :: _WIDTH], strict=True)
        )
        return {(self.makes[make], self.models[model], first, last) for make, model, first, last in every}

    def article_places(self, position: Mapping[str, int]) -> NDArray[np.int64]:
        """Return the place that each row's article has in ``position``, -1 where it has none."""
        import numpy as np

        place = np.array([position.get(article, -1) for article in self.articles], dtype=np.int64)
        return place[self.columns.article] if len(self) else place

    def take(self, places: NDArray[np.int64]) -> FitmentTable:
        """Return a table of the rows at ``places``, in that order."""
        import numpy as np

        draft = FitmentDraft()
        for name in _TEXTS:
            setattr(draft, name, dict.fromkeys(getattr(self, f"{name}s"), 0))
        if len(places):
            numbers = np.frombuffer(self._numbers, dtype=np.int32).reshape(-1, _WIDTH)
            draft.numbers.frombytes(numbers[places].tobytes())
            draft.share.frombytes(np.frombuffer(self._share, dtype=np.float64)[places].tobytes())
        return FitmentTable(draft)

    def with_rows(self, places: NDArray[np.int64], rows: Sequence[Fitment]) -> FitmentTable:
        """Return a table of the rows at ``places``, in that order, and ``rows`` after them."""
        import numpy as np

        draft = FitmentDraft()
        for name in _TEXTS:
            known = {text: number for number, text in enumerate(getattr(self, f"{name}s"))}
            setattr(draft, name, known)
        if len(places):
            numbers = np.frombuffer(self._numbers, dtype=np.int32).reshape(-1, _WIDTH)
            draft.numbers.frombytes(numbers[places].tobytes())
            draft.share.frombytes(np.frombuffer(self._share, dtype=np.float64)[places].tobytes())
        for row in rows:
            draft.add(*astuple(row))
        return FitmentTable(draft)
