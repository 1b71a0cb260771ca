"""Metal that is taken away stroke by stroke: what is left, and what a stroke meets that should meet none."""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.cutting.errors import SweepError
from bittern.engines.cutting.forms import Bite, Form, WheelForm, count_places, get_lowest_cut, list_bites
from bittern.engines.cutting.motion import Motion
from bittern.engines.cutting.slabs import Slabs
from bittern.engines.cutting.strokes import Floats, StrokeTable, tabulate
from bittern.engines.cutting.target import Target

STEP_MM: Final = 0.01
"""Between columns."""
TOUCH_MM: Final = 0.005
"""A rapid move or a still cutter that goes deeper into metal than rounding explains."""
MARGIN_MM: Final = 0.05
"""A rapid move keeps off metal at least by this: no blank lies truer in its clamp."""
MOST_STRUCK: Final = 20
CELLS: Final = 200
"""Of the raster along h on which a doubtful rapid move is looked at."""
MOST_LOOKS: Final = 500
"""Doubtful moves looked at; after them the columns are believed, which hold slots for metal."""
MOST_ENDS: Final = 20_000
MOST_PLACES: Final = 40_000_000
"""Of strokes at columns: about ten seconds; a planned program has a few hundred thousand."""


@dataclass(frozen=True, slots=True)
class Struck:
    """A move that met metal as it should not: its number, and how deep along h; 0 for one too near."""

    move: int
    depth_mm: float


@dataclass(slots=True)
class Metal:
    """The blank in columns along x while strokes take from it.

    Attributes
    ----------
    form, slabs, table
        The cutter, its strokes, and these as numbers.
    columns_mm
        x of each column, growing.
    top_mm, bottom_mm
        Of the blank.
    low_mm
        The lowest height cut through at each column; infinite where nothing is.
    deep_mm
        The lowest height cut at any depth.
    clear_mm
        For each slab the height above which, at each column, nothing stands: a row a slab.
    struck
        Moves that met metal without cutting: rapid, or with the spindle still.
    looks
        How many moves were looked at closely for this.
    """

    form: Form
    slabs: Slabs
    table: StrokeTable
    columns_mm: Floats
    top_mm: float
    bottom_mm: float
    low_mm: Floats = field(init=False)
    deep_mm: Floats = field(init=False)
    clear_mm: Floats = field(init=False)
    struck: list[Struck] = field(default_factory=list)
    looks: int = 0

    def __post_init__(self) -> None:
        count = len(self.columns_mm)
        self.low_mm = np.full(count, np.inf)
        self.deep_mm = np.full(count, np.inf)
        self.clear_mm = np.full((self.slabs.count, count), self.top_mm)

    @property
    def through(self) -> StrokeTable:
        """Return the strokes that cut the blade through."""
        return self.table.take(self.slabs.clears >= self.slabs.count)

    @property
    def cutting(self) -> StrokeTable:
        """Return the strokes that cut at any depth."""
        return self.table.take(self.slabs.hits > 0)

    def get_left_mm(self, x_mm: Floats) -> Floats:
        """Return the height of what is left through the whole thickness, exactly, at ``x_mm`` (growing)."""
        return np.clip(
            get_lowest_cut(self.form, self.through, x_mm, self.top_mm), self.bottom_mm, self.top_mm
        )

    def get_deepest_mm(self, x_mm: Floats) -> Floats:
        """Return the height down to which metal is taken at any depth, exactly, at ``x_mm`` (growing)."""
        return np.clip(
            get_lowest_cut(self.form, self.cutting, x_mm, self.top_mm), self.bottom_mm, self.top_mm
        )

    def take_all(self, motion: Motion) -> None:
        """Let every stroke take its metal, in order."""
        dull = [move.rapid or (motion.spindle and not move.turning) for move in motion.moves]
        bites = ((bite, False) for bite in list_bites(self.form, self.table, self.columns_mm, self.top_mm))
        events = heapq.merge(self._list_near(motion), bites, key=lambda event: event[0].stroke)
        for bite, near in events:
            move = self.slabs.strokes[bite.stroke].move
            if dull[move] and len(self.struck) < MOST_STRUCK:
                self._strike(bite, move, near=near)
            if not near:
                self._take(bite)

    def _list_near(self, motion: Motion) -> Iterator[tuple[Bite, bool]]:
        """Yield what a cutter larger by the margin would take in the second half of each rapid move.

        A move that begins where the cutter touches metal leads away from it at first; one straight up or down
        along n keeps its distance.
        """
        rows, parts = [], []
        gone: dict[int, float] = {}
        for row, stroke in enumerate(self.slabs.strokes):
            move = motion.moves[stroke.move]
            if not move.rapid or stroke.start[:2] == stroke.end[:2]:
                continue
            length, before = math.dist(move.start, move.end), gone.get(stroke.move, 0.0)
            gone[stroke.move] = before + stroke.length_mm
            share = (length / 2 - before) / stroke.length_mm
            if share < 1 and self.slabs.hits[row]:
                rows.append(row)
                parts.append(stroke.part(max(0.0, share), 1.0))
        larger = self.form.grow(MARGIN_MM)
        for bite in list_bites(larger, tabulate(parts), self.columns_mm, self.top_mm):
            yield replace(bite, stroke=rows[bite.stroke]), True

    def _take(self, bite: Bite) -> None:
        clears, hits = int(self.slabs.clears[bite.stroke]), int(self.slabs.hits[bite.stroke])
        if not hits:
            return
        at = bite.columns
        np.minimum(self.deep_mm[at], bite.low_mm, out=self.deep_mm[at])
        if clears == self.slabs.count:
            np.minimum(self.low_mm[at], bite.low_mm, out=self.low_mm[at])
        if clears:
            clear = self.clear_mm[:clears, at]
            np.copyto(clear, np.minimum(clear, bite.low_mm), where=bite.high_mm >= clear - 1e-9)

    def _strike(self, bite: Bite, move: int, *, near: bool) -> None:
        last = self.struck[-1] if self.struck else None
        if last and last.move == move and (near or last.depth_mm > 0):
            return
        for slab in range(int(self.slabs.hits[bite.stroke])):
            low = np.maximum(bite.low_mm, self.bottom_mm)
            high = np.minimum(bite.high_mm, self.clear_mm[slab, bite.columns])
            met = np.flatnonzero(high - low > TOUCH_MM)
            if len(met):
                depth = self._measure_met(bite, slab, met)
                if depth > TOUCH_MM:
                    if last and last.move == move:
                        self.struck.pop()
                    self.struck.append(Struck(move, 0.0 if near else depth))
                    return

    def _measure_met(self, bite: Bite, slab: int, met: NDArray[np.intp]) -> float:
        """Return the most metal, along h, that a stroke meets in the columns ``met`` of its own.

        What stands under metal that is not cleared may be gone already, as in a slot: every earlier stroke
        is looked at, on a raster of heights.
        """
        low = np.maximum(bite.low_mm[met], self.bottom_mm)
        high = np.minimum(bite.high_mm[met], self.clear_mm[slab, bite.columns][met])
        if self.looks >= MOST_LOOKS:
            return float((high - low).max())
        self.looks += 1
        cells = low[:, None] + (high - low)[:, None] * (np.arange(CELLS) + 0.5) / CELLS
        full = np.ones(cells.shape, dtype=bool)
        earlier = np.flatnonzero(self.slabs.clears[: bite.stroke] > slab)
        columns = self.columns_mm[bite.columns][met]
        for other in list_bites(self.form, self.table.take(earlier), columns, self.top_mm):
            part = cells[other.columns]
            full[other.columns] &= (part < other.low_mm[:, None]) | (part > other.high_mm[:, None])
        return float((full.mean(axis=1) * (high - low)).max())


def lay_metal(form: Form, slabs: Slabs, target: Target) -> Metal:
    """Return the uncut blank with columns for a sweep.

    Raises
    ------
    SweepError
        The sweep would take minutes.

    Notes
    -----
    Columns stand every 0.01 mm, at every bend of the ideal outline, and at the roots; for a wheel also where
    strokes begin and end, with the two ends of its flat there: where only lines meet, the largest errors lie
    at these places.
    """
    table = tabulate(slabs.strokes)
    length = target.standard.length_mm
    grid = np.linspace(0.0, length, int(np.ceil(length / STEP_MM)) + 1)
    more = [target.bends_mm[:, 0], target.roots_x_mm]
    if isinstance(form, WheelForm) and len(table) <= MOST_ENDS:
        half = form.half_flat_mm
        more += [ends + side for ends in (table.left_x, table.right_x) for side in (-half, 0.0, half)]
    columns = np.unique(np.concatenate([grid, *more]).round(9))
    columns = columns[(columns >= 0) & (columns <= length)]
    if count_places(form, table, columns, target.top_mm) > MOST_PLACES:
        raise SweepError("a program with more cutting than any key takes", "a shorter one")
    return Metal(form, slabs, table, columns, target.top_mm, target.bottom_mm)


@dataclass(frozen=True, slots=True)
class Island:
    """Metal left above a cut that goes through: its columns, the height of its top and of what is under it.

    ``attached`` islands hang on to the blade at one end; others fall out as loose pieces.
    """

    columns: slice
    top_mm: Floats
    attached: bool


def find_islands(metal: Metal, *, bow_first: bool) -> list[Island]:
    """Return what stands above a cut.

    Parameters
    ----------
    bow_first
        Whether the bow is at the first column, else at the last: what stands there hangs on to it.

    Notes
    -----
    In each column, what lies between the cut that is open from below and the one that is open from above. An
    island is attached when at one of its ends the next column's metal reaches higher than the island's lower
    side there.
    """
    low = np.clip(metal.low_mm, metal.bottom_mm, metal.top_mm)
    over = np.flatnonzero(metal.clear_mm[-1] > low + TOUCH_MM)
    if not len(over):
        return []
    floor, ceiling = settle(metal, over, low[over], metal.clear_mm[-1, over])
    kept = np.flatnonzero(ceiling - floor > TOUCH_MM)
    islands = []
    for run in np.split(kept, np.flatnonzero(np.diff(over[kept]) > 1) + 1):
        if not len(run):
            continue
        first, last = int(over[run[0]]), int(over[run[-1]])
        ends = ((first - 1, floor[run[0]], bow_first), (last + 1, floor[run[-1]], not bow_first))
        attached = any(
            low[column] > under if 0 <= column < len(low) else at_bow for column, under, at_bow in ends
        )
        islands.append(Island(slice(first, last + 1), ceiling[run], attached))
    return islands


def settle(metal: Metal, over: NDArray[np.intp], low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return how far the cuts are open in the columns ``over``: up from ``low``, and down from ``high``.

    The order of the strokes does not matter.
    """
    floor, ceiling = low.copy(), high.copy()
    columns = metal.columns_mm[over]
    while True:
        before = floor.copy(), ceiling.copy()
        for bite in list_bites(metal.form, metal.through, columns, metal.top_mm):
            at = bite.columns
            opens = bite.low_mm <= floor[at] + 1e-9
            floor[at] = np.where(opens, np.maximum(floor[at], bite.high_mm), floor[at])
            opens = bite.high_mm >= ceiling[at] - 1e-9
            ceiling[at] = np.where(opens, np.minimum(ceiling[at], bite.low_mm), ceiling[at])
        if np.array_equal(before[0], floor) and np.array_equal(before[1], ceiling):
            return floor, ceiling
