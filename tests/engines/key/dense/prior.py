"""What the fitments alone say: chances over articles and starts before the key is looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bittern.engines.key.evidence import Vehicle
from bittern.engines.key.rates import Rates
from tests.engines.key.dense.index import Floats, Integers, KeyIndex


@dataclass(frozen=True, slots=True)
class Prior:
    """Chances that sum to 1.

    Attributes
    ----------
    article
        Shape (articles, 2): the vehicle takes this article and starts by turn (0) or push (1).
    outside
        Shape (2,): it takes something that the pack has not, by start.
    listed
        Shape (articles,): whether a fitment names the article for such a vehicle.
    """

    article: Floats
    outside: Floats
    listed: Floats


def prior_of(index: KeyIndex, vehicle: Vehicle, rates: Rates, weight: Floats | None = None) -> Prior:
    """Return the prior for ``vehicle``; ``weight`` is :meth:`KeyIndex.weight_for` of it, if at hand.

    Notes
    -----
    A cell is one model, year and start. Its articles have the chances of their shares (scaled down to 1 where
    they sum to more), the rest is outside the pack. Cells of one model and year have equal chances over the
    starts it has rows for; models and years have equal chances but for what is known of the year.
    ``rates.outside_floor`` of everything is outside with either start alike, and ``rates.unlisted`` of all
    that is outside goes to articles of the pack that are listed for other vehicles.
    """
    groups = index.groups_of(vehicle.make, vehicle.model)
    cells, uncovered = _cells(index, groups, vehicle, rates)
    n = len(index)
    article = np.zeros((n, 2))
    outside = np.zeros(2)
    np.add.at(article, (index.rows.article[cells.row], index.rows.start[cells.row]), cells.chance)
    outside += np.bincount(cells.start, weights=cells.left, minlength=2) + uncovered / 2
    listed = (article.sum(axis=1) > 0).astype(np.float64)
    floor = rates.outside_floor
    article *= 1.0 - floor
    outside = (1.0 - floor) * outside + floor / 2
    if n:
        spread = index.weight_for(vehicle.make, rates) if weight is None else weight
        known = vehicle.make.strip() and index.groups_of(vehicle.make, "")
        unlisted = rates.unlisted_model if known else rates.unlisted_make
        unlisted = rates.unlisted if listed.any() else unlisted
        article += unlisted * spread[:, None] * outside[None, :]
        outside = (1.0 - unlisted) * outside
    return Prior(article, outside, listed)


@dataclass(frozen=True, slots=True)
class _Cells:
    """``chance`` of each pair of ``row`` and year; ``start`` of each cell and what it ``left`` over."""

    row: Integers
    chance: Floats
    start: Integers
    left: Floats


def _cells(index: KeyIndex, groups: list[int], vehicle: Vehicle, rates: Rates) -> tuple[_Cells, float]:
    """Return the cells, and the chance that the vehicle is in none of them."""
    row, year = _row_years(index, index.rows_of(groups), vehicle)
    group, start = index.rows.group[row], index.rows.start[row]
    key = np.stack([group, year, start], axis=1).reshape(-1, 3)
    cells, cell_of = np.unique(key, axis=0, return_inverse=True)
    cell_of = cell_of.reshape(-1)
    # Each (model, year) shares its weight equally over the starts that it has rows for.
    _, at, starts = np.unique(cells[:, :2], axis=0, return_inverse=True, return_counts=True)
    weight = _year_weights(cells[:, 1], vehicle, rates) / starts[at.reshape(-1)]
    covered = float(weight.sum())
    unknown = _p_unknown(groups, vehicle, rates) if covered else 1.0
    if len(groups) == 1 and vehicle.model and vehicle.year is not None:
        missing = _missing_year_weight(set(cells[:, 1].tolist()), vehicle, rates)
        unknown = missing / (covered + missing)
    weight = weight * ((1.0 - unknown) / covered) if covered else weight
    total = np.bincount(cell_of, weights=index.rows.share[row], minlength=len(cells))
    scale = np.maximum(1.0, total)
    chance = index.rows.share[row] * (weight / scale)[cell_of]
    left = weight * (1.0 - total / scale)
    return _Cells(row, chance, cells[:, 2], left), unknown


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


def _p_unknown(groups: list[int], vehicle: Vehicle, rates: Rates) -> float:
    if not groups:
        return 1.0
    if not vehicle.make.strip():
        return rates.unknown_make
    return 0.0 if vehicle.model.strip() else rates.unknown_model
