"""Absorbing walks solved loop by loop: real sums, and the transform of the time at many frequencies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from heapq import heapify, heappop, heappush

import numpy as np
import numpy.typing as npt

from bittern.engines.pairing.graph import find_components

ComplexArray = npt.NDArray[np.complex128]
FloatArray = npt.NDArray[np.float64]

# Frequencies are taken in slices: a loop of a hundred steps fills in to thousands of coefficients.
SLICE = 1_024


class LoopSolver:
    """Solves ``f = own + moves f`` over the states of an absorbing walk, loop by loop, ends first.

    Parameters
    ----------
    moves
        For each transient state, the chances of moves to transient states.
    leaving
        For each, the chance to be absorbed.

    Attributes
    ----------
    work
        How many products one solution takes.

    Notes
    -----
    Loops are solved by eliminating one state after the other, the one with the fewest ways through it first.
    No coefficient ever exceeds 1 in magnitude. Over real numbers nothing is subtracted at all, so that long
    loops lose no precision (Grassmann, Taksar & Heyman, Operations Research 33, 1985); over frequencies
    nothing but the chance of coming straight back.
    """

    def __init__(self, moves: Sequence[Mapping[int, float]], leaving: Sequence[float]) -> None:
        self._moves = moves
        self._leaving = leaving
        # Each loop in the order of elimination; for each row, the rows that lead to it when its turn comes.
        self._loops: list[list[int]] = []
        self._sources: dict[int, list[int]] = {}
        self.work = 0
        links = {str(row): [str(column) for column in onward] for row, onward in enumerate(moves)}
        for component in find_components(links):
            if len(component) == 1:
                loop, work = [int(component[0])], 1
            else:
                loop, work = self._order_loop([int(name) for name in component])
            self._loops.append(loop)
            self.work += work

    def solve_real(self, own: FloatArray) -> FloatArray:
        """Return the solution for the columns of ``own``, shape (n, k).

        Raises
        ------
        ZeroDivisionError
            Some state is never left.
        """
        solved = np.zeros_like(own)
        done: set[int] = set()
        for loop in self._loops:
            inner: dict[int, dict[int, float]] = {}
            outer: dict[int, FloatArray] = {}
            away: dict[int, float] = {}
            for row in loop:
                onward = self._moves[row]
                total, out = own[row].copy(), self._leaving[row]
                for column, chance in onward.items():
                    if column in done:
                        total += chance * solved[column]
                        out += chance
                outer[row], away[row] = total, out
                inner[row] = {column: chance for column, chance in onward.items() if column not in done}
            if len(loop) > 1 or inner[loop[0]]:
                _eliminate_real(loop, self._sources, inner, outer, away)
            _substitute(loop, inner, outer, solved)
            done.update(loop)
        return solved

    def solve(self, transforms: ComplexArray, kinds: Sequence[int]) -> ComplexArray:
        """Return the transform of the time from the first state on.

        Parameters
        ----------
        transforms
            Shape (u, k): transforms of the different stays at k frequencies.
        kinds
            For each state, which of them is its own.

        Returns
        -------
        array of shape (k,)
        """
        count = transforms.shape[1]
        result = np.empty(count, dtype=np.complex128)
        for first in range(0, count, SLICE):
            part = slice(first, first + SLICE)
            result[part] = self._solve_slice(np.ascontiguousarray(transforms[:, part]), kinds)
        return result

    def _order_loop(self, members: list[int]) -> tuple[list[int], int]:
        """Return the members in a good order of elimination, and how many products that takes."""
        inside = set(members)
        onward = {row: set(self._moves[row]) & inside for row in members}
        into: dict[int, set[int]] = {row: set() for row in members}
        for row, targets in onward.items():
            for target in targets:
                into[target].add(row)

        def get_work(row: int) -> int:
            return len(onward[row] - {row}) * len(into[row] - {row})

        order: list[int] = []
        work = len(members)
        waiting = [(get_work(row), row) for row in members]
        heapify(waiting)
        while waiting:
            known, row = heappop(waiting)
            # What has changed since was put in anew.
            if row not in onward or known != get_work(row):
                continue
            targets, sources = onward.pop(row) - {row}, into.pop(row) - {row}
            work += len(targets) * len(sources)
            for source in sources:
                onward[source] = (onward[source] | targets) - {row}
            for target in targets:
                into[target] = (into[target] | sources) - {row}
            for other in sources | targets:
                heappush(waiting, (get_work(other), other))
            order.append(row)
            self._sources[row] = sorted(sources)
        return order, work

    def _solve_slice(self, transforms: ComplexArray, kinds: Sequence[int]) -> ComplexArray:
        solved: dict[int, ComplexArray] = {}
        for loop in self._loops:
            inner: dict[int, dict[int, ComplexArray]] = {}
            outer: dict[int, ComplexArray] = {}
            for row in loop:
                stay = transforms[kinds[row]]
                total: ComplexArray | float = self._leaving[row]
                inner[row] = {}
                for column, chance in self._moves[row].items():
                    known = solved.get(column)
                    if known is None:
                        inner[row][column] = chance * stay
                    else:
                        total = total + (known if chance == 1.0 else chance * known)
                outer[row] = stay * total
            if len(loop) > 1 or inner[loop[0]]:
                _eliminate(loop, self._sources, inner, outer)
            for row in reversed(loop):
                value = outer[row]
                for column, weight in inner[row].items():
                    value = value + weight * solved[column]
                solved[row] = value
        return solved[0]


def _substitute(
    loop: Sequence[int],
    inner: Mapping[int, Mapping[int, float]],
    outer: Mapping[int, FloatArray],
    solved: FloatArray,
) -> None:
    for row in reversed(loop):
        value = outer[row]
        for column, weight in inner[row].items():
            value = value + weight * solved[column]
        solved[row] = value


def _eliminate_real(
    loop: Sequence[int],
    sources: Mapping[int, Sequence[int]],
    inner: dict[int, dict[int, float]],
    outer: dict[int, FloatArray],
    away: dict[int, float],
) -> None:
    """As :func:`_eliminate`, with one minus the chance of coming back summed up from all other ways."""
    for row in loop:
        if inner[row].pop(row, None) is not None:
            gain = 1.0 / (away[row] + sum(inner[row].values()))
            outer[row] = outer[row] * gain
            away[row] *= gain
            inner[row] = {column: weight * gain for column, weight in inner[row].items()}
        for other in sources.get(row, ()):
            through = inner[other].pop(row)
            outer[other] = outer[other] + through * outer[row]
            away[other] += through * away[row]
            for column, weight in inner[row].items():
                inner[other][column] = inner[other].get(column, 0.0) + through * weight


def _eliminate(
    loop: Sequence[int],
    sources: Mapping[int, Sequence[int]],
    inner: dict[int, dict[int, ComplexArray]],
    outer: dict[int, ComplexArray],
) -> None:
    """Bring ``f = outer + inner f`` into a form where each state depends on later ones of ``loop`` only."""
    for row in loop:
        own = inner[row].pop(row, None)
        if own is not None:
            gain = 1.0 / (1.0 - own)
            outer[row] = outer[row] * gain
            inner[row] = {column: weight * gain for column, weight in inner[row].items()}
        for other in sources.get(row, ()):
            through = inner[other].pop(row)
            outer[other] = outer[other] + through * outer[row]
            for column, weight in inner[row].items():
                known = inner[other].get(column)
                more = through * weight
                inner[other][column] = more if known is None else known + more
