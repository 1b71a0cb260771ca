"""What one file of a pack says about another: references, duplicates, and shares that add up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from bittern.core.errors import Fault, shorten
from bittern.engines.key.catalogue import Article, Fitment
from bittern.engines.key.fitments import FitmentTable

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SHARE_ROUNDING = 1e-9
"""How far a sum of shares may pass 1: decimal shares such as 0.1 have no exact binary form."""

# A table of so many rows at most is looked at row by row.
_FEW = 2_000


def find_article_faults(
    articles: Mapping[str, Article], rows: Mapping[str, int], blades: Collection[str], file: str
) -> list[Fault]:
    """Return a fault for every article whose blade standard is not in the pack."""
    return [
        Fault(
            f"row {rows[article.article]}, column blade",
            shorten(article.blade),
            f"nothing, or a blade standard of the pack: blades/{article.blade}.toml is not there",
            file,
        )
        for article in articles.values()
        if article.blade and article.blade not in blades
    ]


def find_fitment_faults(
    fitments: FitmentTable,
    rows: Sequence[int],
    articles: Collection[str],
    runsheets: Collection[str],
    file: str,
) -> list[Fault]:
    """Return faults of references, rows that stand twice, and shares of more than the whole.

    Shares are added per make, model, year and start; makes and models that differ in capitals only are one.
    """
    faults = list(_find_reference_faults(fitments, rows, articles, runsheets, file))
    for places in find_doubtful_groups(fitments) if len(fitments) > _FEW else _group_all(fitments):
        faults += _find_repeats(fitments, rows, places, file)
        faults += _find_share_faults(fitments, rows, places, file)
    return faults


def _find_reference_faults(
    fitments: FitmentTable,
    rows: Sequence[int],
    articles: Collection[str],
    runsheets: Collection[str],
    file: str,
) -> Iterable[Fault]:
    known = {*runsheets, ""}
    if all(one in articles for one in fitments.articles) and known.issuperset(fitments.runsheets):
        return
    for place, fitment in enumerate(fitments):
        if fitment.article not in articles:
            yield Fault(
                f"row {rows[place]}, column article", shorten(fitment.article), "an article of the pack", file
            )
        if fitment.runsheet not in known:
            yield Fault(
                f"row {rows[place]}, column runsheet",
                shorten(fitment.runsheet),
                f"nothing, or a run sheet of the pack: runsheets/{fitment.runsheet}.toml is not there",
                file,
            )


def _group_all(fitments: Sequence[Fitment]) -> Iterable[Sequence[int]]:
    """Return the places of the rows of each make, model and start."""
    groups: dict[tuple[str, str, str], list[int]] = defaultdict(list)
    for place, fitment in enumerate(fitments):
        groups[fitment.make.casefold(), fitment.model.casefold(), fitment.start].append(place)
    return groups.values()


def find_doubtful_groups(fitments: FitmentTable) -> Iterable[Sequence[int]]:
    """Return, of a large table, the groups of :func:`_group_all` that may hold a fault, in the same order.

    Notes
    -----
    Arrays say quickly that nearly all groups are right: no row has the same number as another, and shares
    summed along the years stay below 1. What they doubt is looked at row by row.
    """
    # Brings numpy, which small packs do without.
    import numpy as np

    columns = fitments.columns
    make, model = (_fold(texts)[codes] for texts, codes in (
        (fitments.makes, columns.make), (fitments.models, columns.model)
    ))  # fmt: skip
    group = _number(make, model, columns.start)
    same = _number(
        group, columns.year_from, columns.year_to, columns.article,
        _fold(fitments.trims)[columns.trim], _fold(fitments.regions)[columns.region],
    )  # fmt: skip
    doubtful = np.zeros(int(group.max(initial=-1)) + 1, dtype=np.bool_)
    doubtful[group[np.bincount(same)[same] > 1]] = True
    events = np.concatenate([group, group])
    year = np.concatenate([columns.year_from, columns.year_to + 1])
    step = np.concatenate([columns.share, -columns.share])
    # Rows that end come before rows that begin in the same year.
    order = np.lexsort((step, year, events))
    total = np.cumsum(step[order])
    # Half of what is allowed is left for the rounding of the long sum.
    doubtful[events[order][total > 1 + SHARE_ROUNDING / 2]] = True
    kept = np.flatnonzero(doubtful[group])
    groups: dict[int, list[int]] = defaultdict(list)
    for place in kept.tolist():
        groups[int(group[place])].append(place)
    return groups.values()


def _fold(texts: Sequence[str]) -> NDArray[np.int64]:
    """Return one number for all texts that differ in capitals only."""
    import numpy as np

    number: dict[str, int] = {}
    return np.array([number.setdefault(text.casefold(), len(number)) for text in texts], dtype=np.int64)


def _number(*columns: NDArray[np.signedinteger[Any]]) -> NDArray[np.int64]:
    """Return one number for all rows that agree in every column."""
    import numpy as np

    mark = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        # Made dense after every column, so that the numbers cannot grow beyond 64 bits.
        _, mark = np.unique(mark * (int(column.max(initial=0)) + 1) + column, return_inverse=True)
    return mark


def _find_repeats(
    fitments: Sequence[Fitment], rows: Sequence[int], places: Iterable[int], file: str
) -> Iterable[Fault]:
    first: dict[tuple[int, int, str, str, str], int] = {}
    for place in places:
        row = fitments[place]
        key = (row.year_from, row.year_to, row.trim.casefold(), row.region.casefold(), row.article)
        earlier = first.setdefault(key, place)
        if earlier != place:
            yield Fault(
                f"row {rows[place]}", "the same fitment again", f"it once: row {rows[earlier]} has it", file
            )


def _find_share_faults(
    fitments: Sequence[Fitment], rows: Sequence[int], places: Sequence[int], file: str
) -> Iterable[Fault]:
    """Yield one fault for each stretch of years with the same rows in it, if their shares pass 1."""
    if sum(fitments[place].share for place in places) <= 1 + SHARE_ROUNDING:
        return
    bounds = sorted(
        {fitments[place].year_from for place in places} | {fitments[place].year_to + 1 for place in places}
    )
    for first, after in pairwise(bounds):
        here = [place for place in places if fitments[place].year_from <= first <= fitments[place].year_to]
        total = sum(fitments[place].share for place in here)
        if total > 1 + SHARE_ROUNDING:
            row = fitments[here[-1]]
            years = str(first) if after == first + 1 else f"{first} to {after - 1}"
            yield Fault(
                f"{_name_rows([rows[place] for place in here])}, column share",
                f"{total:.6g} in all for {row.make} {row.model}, {row.start}, {years}",
                "at most 1: shares are parts of the vehicles of one make, model, year and start",
                file,
            )


def _name_rows(rows: Sequence[int]) -> str:
    """Return the rows' numbers as a short text.

    >>> _name_rows([4, 5, 9])
    'rows 4, 5, 9'
    """
    shown = ", ".join(str(row) for row in rows[:6])
    word = "row" if len(rows) == 1 else "rows"
    return f"{word} {shown}" + (f" and {len(rows) - 6} more" if len(rows) > 6 else "")
