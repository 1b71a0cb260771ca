"""Bittings worth fitting: the best paths through the depth lattice over a coarse grid of nuisances.

Between two neighbouring cuts the outline depends on these two depths alone (that is what a sound standard
means), so each stretch gives a score to each pair of depths, and the largest step allowed between neighbours
is a score too.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade import worn
from bittern.engines.blade.bitting import find_violations
from bittern.engines.blade.evidence import Block, Evidence, find_centre, lay_flat
from bittern.engines.blade.fitting import FREEDOM, Beliefs
from bittern.engines.blade.lattice import find_best_paths
from bittern.engines.blade.remaining import to_bitting
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.worn import NUISANCES, Family

Floats = NDArray[np.float64]
Rows = NDArray[np.int8]

SHIFTS_MM: Final = (-0.2, -0.1, 0.0, 0.1, 0.2)
AMOUNTS: Final = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
OFFSETS: Final = tuple(np.linspace(-1.25, 1.25, 21))
"""Places of the centre line tried on a split blade, in depth steps about the middle of the outline."""
PATHS: Final = 8
MOST_CANDIDATES: Final = 48
LOG_BROKEN_RULE: Final = -9.2
"""A key that breaks its family's rules: one in ten thousand (cut by hand, or another family after all)."""
_THIN = 2
"""Every second sample is enough to find candidates."""
_SD_MM = 0.06
_MOST_LOSS = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Bittings to fit: depth numbers (candidates, edges * cuts) as written, and nuisances to start from."""

    rows: Rows
    theta: Floats
    log_prior: Floats


def find_candidates(
    standard: BladeStandard, family: Family, evidence: Evidence, beliefs: Beliefs
) -> Candidates:
    """Return the bittings that explain the evidence best somewhere on the grid of nuisances."""
    evidence = lay_flat(evidence, standard.thickness_mm)
    offset, tilt = find_centre(standard, evidence)
    offsets = np.array(OFFSETS) * family.step_mm if standard.sides == "split" else np.zeros(1)
    grid = np.array(list(product(SHIFTS_MM, offset + offsets, AMOUNTS)))
    theta = np.tile(beliefs.mean, (len(grid), 1))
    theta[:, [worn.SHIFT, worn.OFFSET, worn.AMOUNT]] = grid
    theta[:, worn.TILT] = tilt
    edges = 2 if standard.sides == "split" else 1
    chains = [_score_edge(standard, family, evidence, theta, edge) for edge in range(edges)]
    rows, which, scores = _join([find_best_paths(*chain, PATHS) for chain in chains])
    scores = scores - (np.square((theta - beliefs.mean) / beliefs.sd).sum(axis=1) / 2)[which]
    return _keep_best(standard, family, rows, theta[which], scores)


def _score_edge(
    standard: BladeStandard, family: Family, evidence: Evidence, theta: Floats, edge: int
) -> tuple[Floats, Floats]:
    """Return the scores of depths and of neighbouring depths of one edge for every point of the grid."""
    count, depths = len(family.places_mm), len(family.depths_mm)
    states = np.zeros((len(theta), count, depths))
    pairs = np.zeros((len(theta), count - 1, depths, depths))
    for block in evidence.blocks:
        if block.edge == edge:
            _score_block(standard, family, evidence, theta, block, states, pairs)
    for reading in evidence.readings:
        of, cut = divmod(reading.cut, count)
        if of == edge:
            place = int(np.flatnonzero(family.order == cut)[0])
            states[:, place] += _score_reading(family, theta, reading.height_mm, reading.sd_mm)
    numbers = np.arange(depths)
    pairs += np.where(np.abs(numbers[:, None] - numbers) > standard.macs, LOG_BROKEN_RULE, 0.0)
    return states, pairs


def _score_reading(family: Family, theta: Floats, height_mm: float, sd_mm: float) -> Floats:
    worn_mm = _lose(family, theta[:, worn.AMOUNT, None], family.depths_mm[None, :], np.zeros(1))
    return _student((height_mm - worn_mm) / np.hypot(sd_mm, _SD_MM))


def _score_block(
    standard: BladeStandard,
    family: Family,
    evidence: Evidence,
    theta: Floats,
    block: Block,
    states: Floats,
    pairs: Floats,
) -> None:
    s, outward = block.s_mm[::_THIN], block.outward_mm[::_THIN]
    weight = block.weight[::_THIN] * _THIN
    amounts, at_amount = np.unique(theta[:, worn.AMOUNT], return_inverse=True)
    tilted = block.sign * theta[0, worn.TILT] * (s - evidence.shoulder_mm / 2)
    for shift in np.unique(theta[:, worn.SHIFT]):
        x = shift + ((evidence.shoulder_mm - s) if standard.datum == "shoulder" else s)
        stretch = np.searchsorted(family.places_mm, x)
        here = theta[:, worn.SHIFT] == shift
        heights = _render_pairs(family, x, stretch, amounts)
        missing = (outward - tilted) - block.sign * theta[here, worn.OFFSET, None]
        scores = _student((missing[:, :, None, None] - heights[at_amount[here]]) / _SD_MM)
        scores = np.maximum(scores, -_MOST_LOSS) * weight[:, None, None]
        last = len(family.places_mm)
        for number in range(last + 1):
            mine = stretch == number
            if not mine.any():
                continue
            part = scores[:, mine].sum(axis=1)
            if number == 0:
                states[here, 0] += part[:, 0, :]
            elif number == last:
                states[here, last - 1] += part[:, :, 0]
            else:
                pairs[here, number - 1] += part


def _render_pairs(family: Family, x: Floats, stretch: NDArray[np.intp], amounts: Floats) -> Floats:
    """Return worn heights (amounts, samples, depth before, depth after) between neighbouring cuts."""
    places = np.concatenate(([-np.inf], family.places_mm, [np.inf]))

    def flank(away: Floats) -> Floats:
        rise = family.rise * np.maximum(away - family.half_flat_mm, 0)
        heights: Floats = family.depths_mm + rise[:, None]
        return heights

    before, after = flank(x - places[stretch]), flank(places[stretch + 1] - x)
    ideal = np.minimum(np.minimum(before[:, :, None], after[:, None, :]), family.top_mm)
    # On the flank of the earlier cut the outline rises with x.
    rises = np.where(before[:, :, None] <= after[:, None, :], 1.0, -1.0)
    sloped = np.where(ideal >= family.top_mm - 1e-9, 0.0, rises) * family.toward_tip
    return _lose(family, amounts[:, None, None, None], ideal[None], sloped[None])


def _lose(family: Family, amount: Floats, ideal: Floats, rises_to_tip: Floats) -> Floats:
    u = np.clip((ideal - family.depths_mm.min()) / family.range_mm, 0, 1.6)
    form = 0.15 + 0.85 * u**1.35
    return np.asarray(
        ideal - family.step_mm * amount * form * (1 + 0.3 * (rises_to_tip < 0)), dtype=np.float64
    )


def _student(z: Floats) -> Floats:
    return np.asarray(-(FREEDOM + 1) / 2 * np.log1p(np.square(z) / FREEDOM), dtype=np.float64)


def _join(found: list[tuple[Rows, Floats]]) -> tuple[Rows, NDArray[np.intp], Floats]:
    """Return whole bittings (n, cuts along the blade), the grid point of each, and its score."""
    rows, scores = found[0]
    if len(found) == 2:
        others, more = found[1]
        count = rows.shape[1]
        few = min(count, 4)
        rows = np.concatenate(
            (np.repeat(rows[:, :few], few, axis=1), np.tile(others[:, :few], (1, few, 1))), axis=2
        )
        scores = (scores[:, :few, None] + more[:, None, :few]).reshape(len(scores), -1)
    which = np.repeat(np.arange(len(rows)), rows.shape[1])
    return rows.reshape(-1, rows.shape[2]), which, scores.reshape(-1)


def _keep_best(
    standard: BladeStandard, family: Family, rows: Rows, theta: Floats, scores: Floats
) -> Candidates:
    """Return the best distinct bittings, each from its best point of the grid."""
    order = np.argsort(-scores, kind="stable")
    order = order[np.isfinite(scores[order])]
    _, first = np.unique(rows[order], axis=0, return_index=True)
    order = order[np.sort(first)][: 4 * MOST_CANDIDATES]
    written = unsort(family, rows[order])
    log_prior = find_log_prior(standard, written)
    # The lattice has counted steps that are too large already; runs and sameness it cannot see.
    best = np.argsort(-(scores[order] + np.maximum(log_prior, LOG_BROKEN_RULE)), kind="stable")
    best = best[:MOST_CANDIDATES]
    return Candidates(written[best], theta[order[best]], log_prior[best])


def find_log_prior(standard: BladeStandard, rows: Rows) -> Floats:
    """Return the log odds that bittings as written break their family's rules."""
    return np.array(
        [LOG_BROKEN_RULE * len(find_violations(standard, to_bitting(standard, row))) for row in rows]
    )


def list_neighbours(standard: BladeStandard, row: Rows) -> Rows:
    """Return the bittings as written that differ from one in a single cut."""
    depths = len(standard.depths_mm)
    near = np.repeat(row[None, :], len(row) * depths, axis=0)
    near[np.arange(len(near)), np.repeat(np.arange(len(row)), depths)] = np.tile(np.arange(depths), len(row))
    differs = (near != row).any(axis=1)
    return np.asarray(near[differs], dtype=np.int8)


def unsort(family: Family, rows: Rows) -> Rows:
    """Return bittings in the order they are written from cuts along the blade."""
    count = len(family.order)
    places = np.argsort(family.order)
    edges = rows.shape[1] // count
    columns = np.concatenate([edge * count + places for edge in range(edges)])
    return rows[:, columns]


def lay_along(family: Family, rows: Rows) -> Floats:
    """Return root heights (candidates, edges, cuts) in mm along the blade of bittings as written."""
    count = len(family.order)
    edges = rows.shape[1] // count
    split = rows.reshape(len(rows), edges, count)[:, :, family.order]
    return np.asarray(family.depths_mm[split], dtype=np.float64)


def start(theta: Floats) -> Floats:
    """Return a copy of nuisances to start fitting from."""
    return theta.reshape(-1, NUISANCES).copy()
