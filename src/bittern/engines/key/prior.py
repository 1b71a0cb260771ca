"""What the fitments alone say: chances over articles and starts before the key is looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.key.evidence import Vehicle
from bittern.engines.key.index import Floats, Integers, KeyIndex, plain_name
from bittern.engines.key.pools import Pools, leave_out, pool_articles
from bittern.engines.key.rates import Rates

# Fewer rows than this are laid out anew as quickly as they are found again.
_WORTH_KEEPING = 2_000


@dataclass(frozen=True, slots=True)
class Listing:
    """What the fitments say about a vehicle; chances that sum to 1 with ``outside``.

    Attributes
    ----------
    places, chance
        The articles that a fitment names for such a vehicle, in rising order, and shape (listed, 2): it takes
        this article and starts by turn (0) or push (1).
    by_signature
        Shape (signatures, 2): the same chances summed.
    outside
        Shape (2,): it takes something that is not listed for it, by start.
    unlisted
        The part of ``outside`` that takes an article of the pack nevertheless.
    """

    places: Integers
    chance: Floats
    by_signature: Floats
    outside: Floats
    unlisted: float


@dataclass(frozen=True, slots=True)
class Prior:
    """Chances that sum to 1, over entries: articles, or the pools of :mod:`~bittern.engines.key.pools`.

    Attributes
    ----------
    article
        Shape (entries, 2): the vehicle takes this article and starts by turn (0) or push (1).
    outside
        Shape (2,): it takes something that the pack has not, by start.
    listed
        Shape (entries,): whether a fitment names the article for such a vehicle.
    """

    article: Floats
    outside: Floats
    listed: NDArray[np.bool_]


def list_articles(index: KeyIndex, vehicle: Vehicle, rates: Rates) -> Listing:
    """Return what the fitments say about ``vehicle``.

    Notes
    -----
    A cell is one model, year and start. Its articles have the chances of their shares (scaled down to 1 where
    they sum to more), the rest is outside the pack. Cells of one model and year have equal chances over the
    starts it has rows for; models and years have equal chances but for what is known of the year.
    ``rates.outside_floor`` of everything is outside with either start alike.
    """
    groups = index.groups_of(vehicle.make, vehicle.model)
    rows = index.rows_of(groups)
    if len(rows) < _WORTH_KEEPING:
        return _list_rows(index, groups, rows, vehicle, rates)
    known = (plain_name(vehicle.make), plain_name(vehicle.model), vehicle.year, vehicle.year_sure)
    used = (
        rates.outside_floor,
        rates.year_off,
        rates.year_uncovered,
        rates.unknown_make,
        rates.unknown_model,
        rates.unlisted,
        rates.unlisted_model,
        rates.unlisted_make,
    )
    return index.priors.get((known, used), lambda: _list_rows(index, groups, rows, vehicle, rates))


def spread_prior(index: KeyIndex, listing: Listing, pools: Pools, rates: Rates) -> Prior:
    """Return the prior over ``pools``.

    ``listing.unlisted`` of all that is outside goes to articles of the pack, which turn up as often as keys
    do in general, listed for the vehicle or not.
    """
    alone, signatures = len(pools.places), index.signatures
    article = np.zeros((len(pools), 2))
    at = np.searchsorted(listing.places, pools.places)
    at[at == len(listing.places)] = 0
    hit = listing.places[at] == pools.places if len(listing.places) else np.zeros(alone, dtype=np.bool_)
    article[:alone][hit] = listing.chance[at[hit]]
    listed = np.zeros(len(pools), dtype=np.bool_)
    listed[:alone] = hit
    if int(hit.sum()) < len(listing.places):
        signature = signatures.of[pools.places]
        for start in (0, 1):
            left = leave_out(listing.by_signature[:, start], signature, article[:alone, start])
            article[alone:, start] = left[pools.rest]
        listed[alone:] = article[alone:].sum(axis=1) > 0.0
    # An empty pack has no articles to give anything to.
    unlisted = listing.unlisted if len(index) else 0.0
    article += unlisted * pools.weight[:, None] * listing.outside[None, :]
    return Prior(article, (1.0 - unlisted) * listing.outside, listed)


def prior_of(index: KeyIndex, vehicle: Vehicle, rates: Rates) -> Prior:
    """Return the prior for ``vehicle`` over every article of the pack: for studies and tests."""
    listing = list_articles(index, vehicle, rates)
    weight = index.weight_for(vehicle.make, rates)
    return spread_prior(index, listing, pool_articles(index, weight, np.arange(len(index))), rates)


def _list_rows(
    index: KeyIndex, groups: Sequence[int], rows: Integers, vehicle: Vehicle, rates: Rates
) -> Listing:
    cells, uncovered = _cells(index, groups, rows, vehicle, rates)
    floor = rates.outside_floor
    places, at = np.unique(index.rows.article[cells.row], return_inverse=True)
    mark = at.reshape(-1) * 2 + index.rows.start[cells.row]
    chance = np.bincount(mark, weights=cells.chance, minlength=2 * len(places)).reshape(-1, 2) * (1.0 - floor)
    named = chance.sum(axis=1) > 0.0
    places, chance = places[named], chance[named]
    signature = index.signatures.of[places]
    by_signature = np.zeros((len(index.signatures), 2))
    for start in (0, 1):
        by_signature[:, start] = np.bincount(signature, chance[:, start], minlength=len(index.signatures))
    outside = np.zeros(2) + np.bincount(cells.start, weights=cells.left, minlength=2) + uncovered / 2
    unlisted = _p_unlisted(index, vehicle, rates, listed=len(places) > 0)
    return Listing(places, chance, by_signature, (1.0 - floor) * outside + floor / 2, unlisted)


def _p_unlisted(index: KeyIndex, vehicle: Vehicle, rates: Rates, *, listed: bool) -> float:
    if listed:
        return rates.unlisted
    make_listed = bool(vehicle.make.strip()) and len(index.groups_of(vehicle.make, "")) > 0
    return rates.unlisted_model if make_listed else rates.unlisted_make


@dataclass(frozen=True, slots=True)
class _Cells:
    """``chance`` of each pair of ``row`` and year; ``start`` of each cell and what it ``left`` over."""

    row: Integers
    chance: Floats
    start: Integers
    left: Floats


def _cells(
    index: KeyIndex, groups: Sequence[int], rows: Integers, vehicle: Vehicle, rates: Rates
) -> tuple[_Cells, float]:
    """Return the cells, and the chance that the vehicle is in none of them."""
    row, year = _row_years(index, rows, vehicle)
    group, start = index.rows.group[row], index.rows.start[row]
    first_group, first_year = (int(one.min(initial=1 << 40)) for one in (group, year))
    span = int(year.max(initial=0)) - first_year + 1 if len(row) else 1
    # One number for model and year, another for the cell, which has the start too.
    model_year, of_row = _number(((group - first_group) * span + (year - first_year)) * 2 + start)
    model_year, cell_start = model_year // 2, model_year % 2
    cell_year = model_year % span + first_year
    # Each (model, year) shares its weight equally over the starts that it has rows for: one or both.
    both = np.zeros(len(model_year), dtype=np.bool_)
    both[1:] = model_year[1:] == model_year[:-1]
    both[:-1] |= both[1:]
    weight = _year_weights(cell_year, vehicle, rates) / np.where(both, 2.0, 1.0)
    covered = float(weight.sum())
    unknown = _p_unknown(groups, vehicle, rates) if covered else 1.0
    if len(groups) == 1 and vehicle.model and vehicle.year is not None:
        missing = _missing_year_weight(set(cell_year.tolist()), vehicle, rates)
        unknown = missing / (covered + missing)
    weight = weight * ((1.0 - unknown) / covered) if covered else weight
    share = index.rows.share[row]
    total = np.bincount(of_row, weights=share, minlength=len(weight))
    scale = np.maximum(1.0, total)
    chance = share * (weight / scale)[of_row]
    left = weight * (1.0 - total / scale)
    return _Cells(row, chance, cell_start, left), unknown


def _number(marks: Integers) -> tuple[Integers, Integers]:
    """Return the distinct marks in order, and the place among them of each; as np.unique, quicker on many."""
    most = int(marks.max(initial=0)) + 1
    if most > 8 * len(marks):
        distinct, place = np.unique(marks, return_inverse=True)
        return distinct, place.reshape(-1)
    present = np.zeros(most, dtype=np.bool_)
    present[marks] = True
    distinct = np.flatnonzero(present)
    number = np.zeros(most, dtype=np.int64)
    number[distinct] = np.arange(len(distinct))
    return distinct, number[marks]


def _row_years(index: KeyIndex, places: Integers, vehicle: Vehicle) -> tuple[Integers, Integers]:
    """Return (row, year) for every year that a row covers and the vehicle may have."""
    first, last = index.rows.year_from[places], index.rows.year_to[places]
    if vehicle.year is not None:
        reach = 0 if vehicle.year_sure else 1
        first, last = np.maximum(first, vehicle.year - reach), np.minimum(last, vehicle.year + reach)
    span = np.maximum(0, last - first + 1)
    row = np.repeat(places, span)
    ahead = np.arange(int(span.sum())) - np.repeat(np.cumsum(span) - span, span)
    return row, np.repeat(first, span) + ahead


def _year_weights(year: Integers, vehicle: Vehicle, rates: Rates) -> Floats:
    if vehicle.year is None:
        return np.ones(len(year))
    away = np.abs(year - vehicle.year)
    off = 0.0 if vehicle.year_sure else rates.year_off
    return np.where(away == 0, 1.0 - 2.0 * off, np.where(away == 1, off, 0.0))


def _missing_year_weight(covered: set[int], vehicle: Vehicle, rates: Rates) -> float:
    """Return the weight of the years that the vehicle may have and the pack has no row for."""
    if vehicle.year is None:
        return 0.0
    years = np.array(
        [y for y in range(vehicle.year - 1, vehicle.year + 2) if y not in covered], dtype=np.int64
    )
    return rates.year_uncovered * float(_year_weights(years, vehicle, rates).sum())


def _p_unknown(groups: Sequence[int], vehicle: Vehicle, rates: Rates) -> float:
    if not groups:
        return 1.0
    if not vehicle.make.strip():
        return rates.unknown_make
    return 0.0 if vehicle.model.strip() else rates.unknown_model
