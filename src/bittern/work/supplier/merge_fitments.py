"""The fitments of a list laid over those of a pack, in columns."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.core.errors import shorten
from bittern.engines.key.fitments import FitmentDraft, FitmentTable
from bittern.formats.list_layers import FILL, TAKE, TEXT_COLUMNS, Layer, Words
from bittern.formats.packs import Pack
from bittern.work.supplier.merge import MergeReport
from bittern.work.supplier.normalise import find_first
from bittern.work.supplier.shares import Rows, give_shares

SAME_SHARE = 2e-6
"""Shares that differ by less are the same: those made here are rounded."""
_FOLDED = ("make", "model", "trim", "region")


@dataclass(slots=True)
class _Both:
    """Our rows, then theirs, in one set of columns; ``ours`` is how many of them are ours."""

    texts: dict[str, Words]
    year_from: NDArray[np.int64]
    year_to: NDArray[np.int64]
    share: NDArray[np.float64]
    ours: int
    rows: NDArray[np.int32]

    def rows_of(self, places: NDArray[np.intp], cell: NDArray[np.int64]) -> Rows:
        return Rows(cell[places], self.year_from[places], self.year_to[places], self.share[places])


def merge_fitments(
    pack: Pack, layer: Layer, articles: Collection[str], report: MergeReport
) -> FitmentTable | None:
    """Return the fitments of both, ours first; None if nothing changes."""
    if not len(layer.fitment_rows):
        return None
    both = _lay_together(pack, layer, _choose_rows(layer, articles, report))
    _empty_runsheets(pack, both, report)
    ours = both.ours
    cell = _number_cells(both)
    key = [
        _fold(both.texts[name]) if name in _FOLDED else both.texts[name].codes for name in TEXT_COLUMNS[:-1]
    ]
    first, inverse = find_first([*key, both.year_from.astype(np.int32), both.year_to.astype(np.int32)])
    total = len(both.share)
    place = np.arange(ours, total)
    same_as = first[inverse[ours:]]
    # A row that stands twice after numbers were joined counts once.
    twice = (same_as >= ours) & (same_as != place)
    report.add_note("the same fitment again once articles were joined: taken once", int(twice.sum()))
    known, fresh = place[same_as < ours], place[(same_as >= ours) & ~twice]
    mate = same_as[same_as < ours]
    sheet = _settle_known(both, known, mate, layer.rule, report)
    given = ~np.isnan(both.share[known])
    off = given & (np.abs(both.share[known] - both.share[mate]) > SAME_SHARE)
    # All of a vehicle's or none: they are cut by one factor, and rows left aside would take room from it.
    taken = given & np.isin(cell[known], cell[known[off]]) & (layer.rule == TAKE)
    share, left = _share_out(both, cell, fresh, known[taken], mate[taken], layer.rest)
    changed = sheet | (np.abs(share[mate] - both.share[mate]) > 0)
    report.fitments.conflict += int(off.sum())
    report.fitments.changed += int(changed.sum())
    report.fitments.same += len(known) - int(changed.sum())
    _note_left(both, fresh[left], report)
    kept = fresh[~left]
    report.fitments.new += len(kept)
    if not len(kept) and not changed.any():
        return None
    both.share[:] = share
    return _make_table(both, np.concatenate([np.arange(ours), kept]))


def _choose_rows(layer: Layer, articles: Collection[str], report: MergeReport) -> NDArray[np.intp]:
    """Return the rows whose article there is; the others are faults."""
    words = layer.fitments["article"]
    joined = dict(layer.joined)
    there = np.array([joined.get(value, value) in articles for value in words.values], dtype=np.bool_)
    fits = there[words.codes]
    for place in np.flatnonzero(~fits).tolist():
        found = shorten(words[place])
        report.add_fault(
            int(layer.fitment_rows[place]), "article", found, "an article of the pack or the list"
        )
        report.fitments.left_out += 1
    return np.flatnonzero(fits)


def _lay_together(pack: Pack, layer: Layer, chosen: NDArray[np.intp]) -> _Both:
    table = FitmentTable.of(pack.fitments)
    columns = table.columns
    joined = dict(layer.joined)
    texts = {}
    for name in TEXT_COLUMNS:
        places = {text: place for place, text in enumerate(getattr(table, f"{name}s"))}
        words = layer.fitments[name]
        values = [joined.get(one, one) for one in words.values] if name == "article" else words.values
        remap = np.array([places.setdefault(value, len(places)) for value in values], dtype=np.int32)
        codes = np.concatenate([getattr(columns, name), remap[words.codes[chosen]]])
        texts[name] = Words(codes.astype(np.int32), tuple(places))
    return _Both(
        texts,
        np.concatenate([columns.year_from, layer.year_from[chosen]]).astype(np.int64),
        np.concatenate([columns.year_to, layer.year_to[chosen]]).astype(np.int64),
        np.concatenate([columns.share, layer.share[chosen]]),
        len(table),
        layer.fitment_rows[chosen],
    )


def _empty_runsheets(pack: Pack, both: _Both, report: MergeReport) -> None:
    words = both.texts["runsheet"]
    values = [value if value in pack.runsheets else "" for value in words.values]
    counts = np.bincount(words.codes[both.ours :], minlength=len(values))
    for value, kept, count in zip(words.values, values, counts, strict=True):
        if value and not kept:
            report.add_note(f"run sheet {shorten(value)} is not in the pack: left empty", int(count))
    both.texts["runsheet"] = Words(words.codes, tuple(values))


def _number_cells(both: _Both) -> NDArray[np.int64]:
    names = [_fold(both.texts["make"]), _fold(both.texts["model"]), both.texts["start"].codes]
    return find_first(list(names))[1].astype(np.int64)


def _settle_known(
    both: _Both, known: NDArray[np.intp], mate: NDArray[np.intp], rule: str, report: MergeReport
) -> NDArray[np.bool_]:
    """Give our rows the list's run sheets where the rule says so; return which of ``mate`` changed."""
    words = both.texts["runsheet"]
    said = np.array([bool(value) for value in words.values], dtype=np.bool_)
    places: dict[str, int] = {}
    equal = np.array(
        [places.setdefault(value, place) for place, value in enumerate(words.values)], dtype=np.int32
    )
    codes = equal[words.codes]
    theirs, ours = codes[known], codes[mate]
    fill = said[theirs] & ~said[ours] & (rule in (FILL, TAKE))
    clash = said[theirs] & said[ours] & (theirs != ours)
    report.fitments.conflict += int(clash.sum())
    change: NDArray[np.bool_] = fill | (clash & (rule == TAKE))
    codes = codes.copy()
    codes[mate[change]] = theirs[change]
    both.texts["runsheet"] = Words(codes, words.values)
    return change


def _share_out(
    both: _Both,
    cell: NDArray[np.int64],
    fresh: NDArray[np.intp],
    taken: NDArray[np.intp],
    mate: NDArray[np.intp],
    rest: float,
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the shares of all rows, and which of the new ones have no room.

    ``taken`` are rows of the list whose share goes in place of that of ours at ``mate``. Where one of a
    vehicle's would vanish by it, the vehicle keeps its own.
    """
    while True:
        share = both.share.copy()
        stays = np.ones(both.ours, dtype=np.bool_)
        stays[mate] = False
        new = np.concatenate([fresh, taken])
        made = give_shares(both.rows_of(new, cell), both.rows_of(np.flatnonzero(stays), cell), rest)
        share[fresh] = made[: len(fresh)]
        share[mate] = made[len(fresh) :]
        gone = np.isin(cell[taken], cell[taken[made[len(fresh) :] <= 0]])
        if not gone.any():
            return share, share[fresh] <= 0
        taken, mate = taken[~gone], mate[~gone]


def _note_left(both: _Both, left: NDArray[np.intp], report: MergeReport) -> None:
    report.fitments.left_out += len(left)
    for place in left:
        make, model = both.texts["make"][place], both.texts["model"][place]
        report.add_fault(
            int(both.rows[place - both.ours]),
            "share",
            f"no room for it: the articles of {make} {model} are all vehicles already",
            "shares of a make, model, year and start that are at most 1 together",
        )


def _fold(words: Words) -> NDArray[np.int32]:
    places: dict[str, int] = {}
    fold = [places.setdefault(value.casefold(), len(places)) for value in words.values]
    return np.array(fold, dtype=np.int32)[words.codes]


def _make_table(both: _Both, places: NDArray[np.intp]) -> FitmentTable:
    """Return the rows at ``places`` as a pack holds them, each text once and in the order of first sight."""
    draft = FitmentDraft()
    columns = []
    for name in TEXT_COLUMNS:
        words = both.texts[name]
        codes = words.codes[places]
        known: dict[str, int] = getattr(draft, name)
        seen, first = np.unique(codes, return_index=True)
        new = np.zeros(len(words.values), dtype=np.int32)
        for code in seen[np.argsort(first)].tolist():
            new[code] = known.setdefault(words.values[code], len(known))
        columns.append(new[codes])
    columns += [years[places].astype(np.int32) for years in (both.year_from, both.year_to)]
    draft.numbers.frombytes(np.ascontiguousarray(np.stack(columns, axis=1), dtype=np.int32).tobytes())
    draft.share.frombytes(np.ascontiguousarray(both.share[places], dtype=np.float64).tobytes())
    return FitmentTable(draft)
