"""Two other readings of the same key: the nearest depth, and one that is told all but the bitting."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.silhouette import Silhouette
from bittern.engines.blade.standard import BladeStandard
from simulated_keys.key import SimulatedKey, lose_height
from simulated_keys.shape import sample_factory_heights
from simulated_keys.standards import keeps_rules

Floats = NDArray[np.float64]

STEP_MM = 0.02
UNTOLD_MM = 0.012
"""What rounded corners, which the oracle is not told, do to a height: added to each sample's noise."""


def round_heights(key: SimulatedKey, silhouette: Silhouette, *, turned_over: bool) -> Bitting:
    """Return the nearest depth to the measured height at each cut's centre, as the key lies.

    It is told which edge is which; datum and scale are the picture's.
    """
    standard = key.standard
    planes = [silhouette.shoulder_upper_mm, silhouette.shoulder_lower_mm]
    shoulder = float(np.nanmean(planes)) if np.isfinite(planes).any() else standard.length_mm
    x = shoulder - silhouette.s_mm if standard.datum == "shoulder" else silhouette.s_mm
    upper, lower = silhouette.upper_mm, silhouette.lower_mm
    inside = (silhouette.s_mm > 2.5) & (silhouette.s_mm < shoulder - 0.5)
    if standard.sides == "single":
        heights = [
            upper - np.nanmedian(lower[inside]) if not turned_over else np.nanmedian(upper[inside]) - lower
        ]
    elif standard.sides == "mirror":
        heights = [(upper - lower) / 2]
    else:
        middle = (np.nanpercentile(upper[inside], 95) + np.nanpercentile(lower[inside], 5)) / 2
        heights = [upper - middle, middle - lower]
        # The edge that is up where x grows to the right is A.
        heights = heights if standard.datum == "shoulder" else heights[::-1]
    return Bitting(tuple(_round_edge(standard, x, one) for one in heights))


def _round_edge(standard: BladeStandard, x_mm: Floats, heights_mm: Floats) -> tuple[int, ...]:
    depths = np.asarray(standard.depths_mm)
    cuts = []
    for position in standard.positions_mm:
        near = (np.abs(x_mm - position) <= standard.flat_mm / 4) & np.isfinite(heights_mm)
        if not near.any():
            near = np.isfinite(heights_mm) & (np.abs(x_mm - position) < 0.5)
        height = float(np.median(heights_mm[near])) if near.any() else depths[0]
        cuts.append(int(np.argmin(np.abs(depths - height))))
    return tuple(cuts)


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What the oracle has of one edge: heights with noise and, of each sample, the cut it lies nearest to."""

    key: SimulatedKey
    edge: int
    x_mm: Floats
    heights_mm: Floats
    sd_mm: Floats
    nearest: NDArray[np.intp]

    def predict(self, cuts: tuple[int, ...]) -> Floats:
        """Return the heights of a bitting, worn by the key's own law and amount."""
        return _render(self.key, self.edge, self.x_mm, np.asarray(self.key.standard.positions_mm), cuts)

    def score(self, cuts: tuple[int, ...]) -> float:
        """Return the log likelihood but for a constant, each cut's making integrated out."""
        residual = self.heights_mm - self.predict(cuts)
        total = 0.0
        for cut in range(len(cuts)):
            mine = self.nearest == cut
            total += _score(residual[mine], self.sd_mm[mine], self.key.standard.tolerance_mm / 2)
        return total


def ask_oracle(key: SimulatedKey, sd_mm: float, rng: np.random.Generator) -> tuple[Bitting, float]:
    """Return the most likely bitting, and its log likelihood less that of the true one.

    Parameters
    ----------
    sd_mm
        Noise of a height in one column of the picture, by the Cramer-Rao bound.

    Notes
    -----
    The oracle is told shift, scale, tilt, bias, the law and the amount of wear, and has heights with no more
    noise than the bound. Dynamic programming over neighbouring cuts finds the best bitting where a loss
    depends on its neighbours alone; changes of one cut or two neighbours then go on, on the whole blade, as
    long as one helps. The second result is never below 0 but where the search stops short.
    """
    told = [_tell(key, edge, sd_mm, rng) for edge in range(len(key.worn_mm))]
    groups = [told] if key.standard.sides == "mirror" else [[one] for one in told]
    found = [_climb(group, _walk(group)) for group in groups]
    gain = sum(
        sum(one.score(cuts) for one in group) - sum(one.score(true) for one in group)
        for group, cuts, true in zip(groups, found, key.bitting.edges, strict=True)
    )
    return Bitting(tuple(found)), gain


def _tell(key: SimulatedKey, edge: int, sd_mm: float, rng: np.random.Generator) -> Told:
    positions = np.asarray(key.standard.positions_mm)
    reach = _get_reach(key)
    x = np.arange(positions.min() - reach, positions.max() + reach, STEP_MM)
    true = np.interp(x + key.making.shift_mm, key.x_mm, key.worn_mm[edge])
    return Told(
        key=key,
        edge=edge,
        x_mm=x,
        heights_mm=true + sd_mm * rng.standard_normal(len(x)),
        sd_mm=np.full(len(x), float(np.hypot(sd_mm, UNTOLD_MM))),
        nearest=np.abs(x[:, None] - positions[None, :]).argmin(axis=1),
    )


def _get_reach(key: SimulatedKey) -> float:
    return float(np.abs(np.diff(key.standard.positions_mm)).min()) / 2


def _render(key: SimulatedKey, edge: int, x_mm: Floats, positions: Floats, cuts: tuple[int, ...]) -> Floats:
    """Return worn heights of cuts at ``positions``, evenly sampled."""
    standard = key.standard
    depths = np.asarray(standard.depths_mm)[list(cuts)]
    heights = sample_factory_heights(standard, depths, x_mm, positions)
    # Patches lie where they are, whatever the cuts' places in the blade.
    lost = lose_height(standard, key.wear, key.amount, heights, x_mm + key.making.shift_mm, edge=edge)
    return heights - lost - key.amount.back


def _score(residual: Floats, sd_mm: Floats, sd_making_mm: float) -> float:
    """Return the log likelihood of one cut's samples, all of them off by the same unknown making."""
    weight = 1 / sd_mm**2
    together = float((weight * residual).sum()) ** 2 / (float(weight.sum()) + 1 / sd_making_mm**2)
    return -0.5 * (float((weight * residual**2).sum()) - together)


def _walk(told: list[Told]) -> tuple[int, ...]:
    """Return the best bitting where every half of a cut is judged with its one neighbour."""
    standard = told[0].key.standard
    count, depths = len(standard.positions_mm), len(standard.depths_mm)
    order = np.argsort(standard.positions_mm)
    best = np.zeros(depths)
    back: list[NDArray[np.intp]] = []
    for before, after in pairwise(order):
        pairs = np.full((depths, depths), -np.inf)
        for a, b in product(range(depths), repeat=2):
            if abs(a - b) <= standard.macs:
                pairs[a, b] = sum(_score_pair(one, int(before), int(after), a, b) for one in told)
        joined = best[:, None] + pairs
        back.append(joined.argmax(axis=0))
        best = joined.max(axis=0)
    path = [int(best.argmax())]
    for step in reversed(back):
        path.append(int(step[path[-1]]))
    cuts = np.zeros(count, dtype=int)
    cuts[order] = path[::-1]
    return tuple(int(cut) for cut in cuts)


def _score_pair(told: Told, before: int, after: int, a: int, b: int) -> float:
    """Return what the stretch between two neighbouring cuts says of their depths."""
    positions = np.asarray(told.key.standard.positions_mm)[[before, after]]
    reach = _get_reach(told.key)
    window = (told.x_mm > positions[0] - reach) & (told.x_mm < positions[1] + reach)
    predicted = _render(told.key, told.edge, told.x_mm[window], positions, (a, b))
    residual, sd = told.heights_mm[window] - predicted, told.sd_mm[window]
    x = told.x_mm[window]
    middle, spread = positions.mean(), told.key.standard.tolerance_mm / 2
    total = 0.0
    for mine in ((x >= positions[0]) & (x < middle), (x >= middle) & (x <= positions[1])):
        total += _score(residual[mine], sd[mine], spread)
    return total


def _climb(told: list[Told], start: tuple[int, ...]) -> tuple[int, ...]:
    """Return the best bitting within reach of changes of one cut, or of two neighbours by one each."""
    standard = told[0].key.standard

    def judge(cuts: tuple[int, ...]) -> float:
        return sum(one.score(cuts) for one in told) if keeps_rules(standard, cuts) else -np.inf

    best, worth = start, judge(start)
    while True:
        tried = {cuts: judge(cuts) for cuts in _list_neighbours(standard, best)}
        found = max(tried, key=lambda cuts: tried[cuts])
        if tried[found] <= worth:
            return best
        best, worth = found, tried[found]


def _list_neighbours(standard: BladeStandard, cuts: tuple[int, ...]) -> list[tuple[int, ...]]:
    depths = len(standard.depths_mm)
    found = [
        (*cuts[:place], depth, *cuts[place + 1 :])
        for place in range(len(cuts))
        for depth in range(depths)
        if depth != cuts[place]
    ]
    for place in range(len(cuts) - 1):
        for a, b in product((-1, 1), repeat=2):
            one, two = cuts[place] + a, cuts[place + 1] + b
            if 0 <= one < depths and 0 <= two < depths:
                found.append((*cuts[:place], one, two, *cuts[place + 2 :]))
    return found
