"""The shop's own fitments as a pack: what its finished jobs proved, and nothing about its customers."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from bittern.engines.key.catalogue import Fitment
from bittern.engines.key.index import plain_name
from bittern.engines.key.learning import OUTSIDE, LearntCell, cell_fitments
from bittern.engines.key.rates import Rates
from bittern.formats.packs import Pack
from bittern.work.errors import NotYetError
from bittern.work.learning import load_learnt
from bittern.work.ports import Desk

SOURCE = "shop's own finished jobs"
PACK_ID = "own-fitments"
_PLACES = 4


def make_learnt_pack(desk: Desk) -> Pack:
    """Return the fitments that finished jobs proved, with their learnt shares, as a pack of its own.

    Articles that no job ended with are left out, and so are the shop's costs, prices and suppliers.

    Raises
    ------
    NotYetError
        No finished job has taught a fitment yet.
    """
    learnt, pack = load_learnt(desk), desk.pack
    rows: list[Fitment] = []
    if learnt is not None:
        rows = [row for cell in learnt.shares.cells for row in _proven_rows(desk, cell, learnt.rates)]
    if not rows:
        raise NotYetError("nothing learnt yet", "a job closed with its proof passed", where="own fitments")
    articles = {
        row.article: replace(
            pack.articles[row.article], cost=Decimal(0), price=Decimal(0), supplier="", notes=""
        )
        for row in sorted(rows, key=lambda row: row.article)
    }
    blades = {one.blade for one in articles.values() if one.blade}
    sheets = {row.runsheet for row in rows if row.runsheet}
    return Pack(
        id=PACK_ID,
        title=f"Own fitments of {desk.terms.name}",
        version=desk.clock.now().date().isoformat(),
        licence=pack.licence,
        source=SOURCE,
        region=pack.region,
        currency=pack.currency,
        articles=articles,
        fitments=tuple(rows),
        blades={name: one for name, one in pack.blades.items() if name in blades},
        runsheets={name: one for name, one in pack.runsheets.items() if name in sheets},
    )


def _proven_rows(desk: Desk, cell: LearntCell, rates: Rates) -> list[Fitment]:
    """Return a row for each article that a job ended with, shares rounded down so that they never pass 1."""
    proven = [one for one in cell.shares if one.fitted and one.article != OUTSIDE]
    sheets = {one.article: _find_sheet(desk, cell, one.article) for one in proven}
    kept = replace(cell, shares=tuple(proven))
    unit = 10**_PLACES
    rows = cell_fitments(kept, rates, sheets)
    return [replace(row, share=max(1, math.floor(row.share * unit)) / unit) for row in rows]


def _find_sheet(desk: Desk, cell: LearntCell, article: str) -> str:
    """Return the run sheet of the article for such vehicles, or "" where it is not the only one."""
    rows: Sequence[Fitment] = desk.pack.key_index.rows_of_article(article)
    named: dict[bool, set[str]] = defaultdict(set)
    for row in rows:
        same = (plain_name(row.make), plain_name(row.model)) == (
            plain_name(cell.make),
            plain_name(cell.model),
        )
        if row.runsheet:
            named[same].add(row.runsheet)
    found = named[True] or named[False]
    return found.pop() if len(found) == 1 else ""
