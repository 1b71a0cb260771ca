"""What one file of a pack says about another: references, duplicates, and shares that add up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import pairwise

from bittern.core.errors import Fault, shorten
from bittern.engines.key.catalogue import Article, Fitment

SHARE_ROUNDING = 1e-9
"""How far a sum of shares may pass 1: decimal shares such as 0.1 have no exact binary form."""


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
    fitments: Sequence[Fitment],
    rows: Sequence[int],
    articles: Collection[str],
    runsheets: Collection[str],
    file: str,
) -> list[Fault]:
    """Return faults of references, rows that stand twice, and shares of more than the whole.

    Shares are added per make, model, year and start; makes and models that differ in capitals only are one.
    """
    faults: list[Fault] = []
    groups: dict[tuple[str, str, str], list[int]] = defaultdict(list)
    for place, fitment in enumerate(fitments):
        if fitment.article not in articles:
            faults.append(
                Fault(
                    f"row {rows[place]}, column article",
                    shorten(fitment.article),
                    "an article of the pack",
                    file,
                )
            )
        if fitment.runsheet and fitment.runsheet not in runsheets:
            faults.append(
                Fault(
                    f"row {rows[place]}, column runsheet",
                    shorten(fitment.runsheet),
                    f"nothing, or a run sheet of the pack: runsheets/{fitment.runsheet}.toml is not there",
                    file,
                )
            )
        groups[fitment.make.casefold(), fitment.model.casefold(), fitment.start].append(place)
    for places in groups.values():
        faults += _find_repeats(fitments, rows, places, file)
        faults += _find_share_faults(fitments, rows, places, file)
    return faults


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
