"""Single heights, one or none a cut, weighed together: wear, zero error and the rules in one lattice.

Given the nuisances (how much the key is worn, in which form, by how much all readings are off) the cuts are a
chain: each reading has its likelihood for each depth, neighbours are bound by the largest step allowed.
Nuisances are summed over a grid, each point with the evidence of its chain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import count_edges
from bittern.engines.blade.lattice import add_logs, find_best_paths, find_chances
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.worn import Family, get_family

Floats = NDArray[np.float64]
Rows = NDArray[np.int8]

AMOUNTS: Final = (0.0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
AMOUNT_MEAN, AMOUNT_SD = 0.0, 0.6
LOWS: Final = ((0.05, 0.35), (0.25, 0.4), (0.6, 0.25))
POWERS: Final = ((0.7, 0.3), (1.4, 0.4), (2.6, 0.3))
ZERO_SD_MM: Final = 0.015
"""A caliper's zero and the touch of one hand, alike at all cuts (common practice)."""
ZEROS: Final = ((-1.2, 0.3), (0.0, 0.4), (1.2, 0.3))
MOST_LOSS_STEPS, LOSS_SD_STEPS = 0.85, 0.03
FREEDOM: Final = 6.0
LOG_STEP_TOO_LARGE: Final = -4.6
"""A step that the rules forbid, seen on a key in the hand: one in a hundred was cut so by somebody."""
PATHS: Final = 8


class Height(Protocol):
    """One height: which cut (from 0 along the bitting as written), mm, standard deviation in mm."""

    @property
    def cut(self) -> int: ...
    @property
    def height_mm(self) -> float: ...
    @property
    def sd_mm(self) -> float: ...


@dataclass(frozen=True, slots=True, eq=False)
class WeighedHeights:
    """What heights say.

    Attributes
    ----------
    p_depth
        Shape (cuts, depths): the chance of each depth at each cut as written.
    patterns, p_pattern
        The likeliest sets of depths at the cuts that were read, shape (patterns, cuts), -1 at the others, and
        their chances, the likeliest first.
    expected_mm
        Shape (cuts, depths): the height that a root of each depth is expected to have now.
    wear_mm
        Mean loss over the roots that were read, of the likeliest pattern.
    """

    p_depth: Floats
    patterns: Rows
    p_pattern: Floats
    expected_mm: Floats
    wear_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """Points of the grid of nuisances: worn heights (points, depths), zero error and log prior (points,)."""

    worn_mm: Floats
    lost_mm: Floats
    zero_mm: Floats
    log_prior: Floats


def weigh_heights(standard: BladeStandard, heights: Sequence[Height]) -> WeighedHeights:
    """Return the chances of all depths, given at least one height and at most one a cut."""
    family = get_family(standard)
    grid = _make_grid(standard, family)
    edges, count = count_edges(standard), len(standard.positions_mm)
    states = _score_heights(standard, grid, heights, edges * count)
    numbers = np.arange(len(family.depths_mm))
    too_large = np.abs(numbers[:, None] - numbers) > standard.macs
    pairs = np.broadcast_to(
        np.where(too_large, LOG_STEP_TOO_LARGE, 0.0),
        (len(states), count - 1, len(numbers), len(numbers)),
    )
    chains = [states[:, edge * count : (edge + 1) * count] for edge in range(edges)]
    found = [find_chances(chain, pairs) for chain in chains]
    log_totals = np.sum([one.log_total for one in found], axis=0)
    log_point = grid.log_prior + log_totals
    weight = np.exp(log_point - add_logs(log_point, 0))
    p_depth = np.concatenate([np.einsum("t,tnd->nd", weight, one.p_state) for one in found])
    read = np.zeros(edges * count, dtype=bool)
    read[[height.cut for height in heights]] = True
    patterns = _find_patterns(chains, pairs, weight, read, p_depth)
    # Points of the grid that hold next to nothing are left out: a millionth each.
    held = weight > weight.max() * 1e-6
    p_pattern = _weigh_patterns(
        [chain[held] for chain in chains], pairs[held], patterns, log_totals[held], weight[held]
    )
    order = np.argsort(-p_pattern, kind="stable")
    patterns, p_pattern = patterns[order], p_pattern[order]
    expected = np.einsum("t,td->d", weight, grid.worn_mm + grid.zero_mm[:, None])
    lost = np.einsum("t,td->d", weight, grid.lost_mm)
    return WeighedHeights(
        p_depth=p_depth,
        patterns=patterns,
        p_pattern=p_pattern,
        expected_mm=np.tile(expected, (edges * count, 1)),
        wear_mm=float(lost[patterns[0][read]].mean()),
    )


def _make_grid(standard: BladeStandard, family: Family) -> _Grid:
    depths, step = family.depths_mm, family.step_mm
    # A groove is not worn sideways, and its offsets have no direction that wear could take.
    amounts = AMOUNTS if standard.kind == "edge" else (0.0,)
    spans = np.gradient(np.asarray(amounts)) if len(amounts) > 1 else np.ones(1)
    u = (depths - depths.min()) / family.range_mm
    worn, lost, zeros, logs = [], [], [], []
    for (amount, span), (low, p_low), (power, p_power), (zero, p_zero) in product(
        zip(amounts, spans, strict=True), LOWS, POWERS, ZEROS
    ):
        loss = step * amount * (low + (1 - low) * u**power)
        worn.append(depths - loss)
        lost.append(loss)
        zeros.append(zero * ZERO_SD_MM)
        likely = -(((amount - AMOUNT_MEAN) / AMOUNT_SD) ** 2) / 2
        logs.append(float(np.log(span * p_low * p_power * p_zero)) + likely)
    return _Grid(np.array(worn), np.array(lost), np.array(zeros), np.array(logs))


def _score_heights(standard: BladeStandard, grid: _Grid, heights: Sequence[Height], cuts: int) -> Floats:
    """Return log likelihoods, shape (points, cuts, depths); cuts without a height say nothing."""
    states = np.zeros((len(grid.zero_mm), cuts, grid.worn_mm.shape[1]))
    step = get_family(standard).step_mm
    over = np.clip(grid.lost_mm / step - MOST_LOSS_STEPS, 0, None) / LOSS_SD_STEPS
    for height in heights:
        sd = np.sqrt(height.sd_mm**2 + (standard.tolerance_mm / 2) ** 2 + np.square(0.1 * grid.lost_mm))
        z2 = np.square((height.height_mm - grid.worn_mm - grid.zero_mm[:, None]) / sd)
        states[:, height.cut] = -(FREEDOM + 1) / 2 * np.log1p(z2 / FREEDOM) - np.log(sd) - np.square(over) / 2
    return states


def _find_patterns(
    chains: Sequence[Floats], pairs: Floats, weight: Floats, read: NDArray[np.bool_], p_depth: Floats
) -> Rows:
    """Return sets of depths at the cuts that were read: the best paths at the likelier points of the grid."""
    likely = np.argsort(-weight)[:40]
    paths = [find_best_paths(chain[likely], pairs[likely], PATHS)[0] for chain in chains]
    if len(paths) == 1:
        rows = paths[0].reshape(-1, paths[0].shape[2])
    else:
        few = min(4, paths[0].shape[1])
        left, right = paths[0][:, :few], paths[1][:, :few]
        joined = np.concatenate((np.repeat(left, few, axis=1), np.tile(right, (1, few, 1))), axis=2)
        rows = joined.reshape(-1, joined.shape[2])
    # Paths that differ only where nothing was read are one pattern and crowd others out: put in beside them
    # are the likeliest depths cut by cut, and all that differ from these at one cut.
    likeliest = p_depth.argmax(axis=1)
    cuts, depths = np.nonzero(read[:, None] & np.ones(p_depth.shape[1], dtype=bool))
    changed = np.tile(likeliest, (len(cuts), 1))
    changed[np.arange(len(cuts)), cuts] = depths
    rows = np.where(read, np.concatenate((rows, changed)), -1).astype(np.int8)
    return np.unique(rows, axis=0)


def _weigh_patterns(
    chains: Sequence[Floats], pairs: Floats, patterns: Rows, log_totals: Floats, weight: Floats
) -> Floats:
    """Return each pattern's chance: the share of all paths that agree with it, over the grid."""
    count = chains[0].shape[1]
    logs = np.zeros((len(patterns), len(weight)))
    for number, chain in enumerate(chains):
        part = patterns[:, number * count : (number + 1) * count]
        depths = np.arange(chain.shape[2])
        barred = (part[:, :, None] >= 0) & (part[:, :, None] != depths)
        held = np.where(barred[:, None], -np.inf, chain[None])
        logs += find_chances(held, np.broadcast_to(pairs, (len(patterns), *pairs.shape))).log_total
    chances: Floats = np.exp(logs - log_totals) @ weight
    return chances
