"""The transform of an absorbing walk's time, at many frequencies at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from bittern.engines.pairing.graph import find_components

ComplexArray = npt.NDArray[np.complex128]
FloatArray = npt.NDArray[np.float64]

# Frequencies are taken in slices: a loop of a hundred steps fills in to thousands of coefficients.
SLICE = 1_024


class LoopSolver:
    """Solves ``f = transform * (leaving + moves f)`` for the first state, loop by loop, ends first.

    Parameters
    ----------
    moves
        Shape (n, n): chances of moves between transient states.
    leaving
        Shape (n,): chance to be absorbed from each.

    Notes
    -----
    Loops are solved by eliminating one state after the other, the one with the fewest ways through it first.
    No coefficient ever exceeds 1 in magnitude and nothing is subtracted but the chance of coming straight
    back, so that long loops lose no precision (as in Grassmann, Taksar & Heyman, Operations Research 33,
    1985).
    """

    def __init__(self, moves: FloatArray, leaving: FloatArray) -> None:
        links = {
            str(row): [str(column) for column in np.flatnonzero(moves[row])] for row in range(len(moves))
        }
        self._moves = [{int(column): float(row[column]) for column in np.flatnonzero(row)} for row in moves]
        self._leaving = [float(chance) for chance in leaving]
        self._loops: list[list[int]] = []
        self.work = 0
        for component in find_components(links):
            loop, work = self._order_loop([int(name) for name in component])
            self._loops.append(loop)
            self.work += work

    def solve(self, transforms: Sequence[ComplexArray]) -> ComplexArray:
        """Return the transform of the time from the first state on.

        Parameters
        ----------
        transforms
            For each state, shape (k,): the transform of its stay at k frequencies.

        Returns
        -------
        array of shape (k,)
        """
        count = len(transforms[0])
        result = np.empty(count, dtype=np.complex128)
        for first in range(0, count, SLICE):
            part = slice(first, first + SLICE)
            result[part] = self._solve_slice([transform[part] for transform in transforms])
        return result

    def _order_loop(self, members: list[int]) -> tuple[list[int], int]:
        """Return the members in a good order of elimination, and how many products that takes."""
        onward = {row: set(self._moves[row]) & set(members) for row in members}
        into: dict[int, set[int]] = {row: set() for row in members}
        for row, targets in onward.items():
            for target in targets:
                into[target].add(row)
        order: list[int] = []
        work = len(members)
        while onward:
            row = min(onward, key=lambda name: (len(onward[name] - {name}) * len(into[name] - {name}), name))
            targets, sources = onward.pop(row) - {row}, into.pop(row) - {row}
            work += len(targets) * len(sources)
            for source in sources:
                onward[source] = (onward[source] | targets) - {row}
            for target in targets:
                into[target] = (into[target] | sources) - {row}
            order.append(row)
        return order, work

    def _solve_slice(self, transforms: Sequence[ComplexArray]) -> ComplexArray:
        solved: dict[int, ComplexArray] = {}
        for loop in self._loops:
            inner: dict[int, dict[int, ComplexArray]] = {}
            outer: dict[int, ComplexArray] = {}
            for row in loop:
                total = np.full(len(transforms[row]), self._leaving[row], dtype=np.complex128)
                for column, chance in self._moves[row].items():
                    if column in solved:
                        total += chance * solved[column]
                outer[row] = transforms[row] * total
                inner[row] = {
                    column: chance * transforms[row]
                    for column, chance in self._moves[row].items()
                    if column not in solved
                }
            _eliminate(loop, inner, outer)
            for row in reversed(loop):
                solved[row] = outer[row]
                for column, weight in inner[row].items():
                    solved[row] = solved[row] + weight * solved[column]
        return solved[0]


def _eliminate(
    loop: Sequence[int], inner: dict[int, dict[int, ComplexArray]], outer: dict[int, ComplexArray]
) -> None:
    """Bring ``f = outer + inner f`` into a form where each state depends on later ones of ``loop`` only."""
    waiting = set(loop)
    for row in loop:
        waiting.discard(row)
        own = inner[row].pop(row, None)
        if own is not None:
            gain = 1.0 / (1.0 - own)
            outer[row] = outer[row] * gain
            inner[row] = {column: weight * gain for column, weight in inner[row].items()}
        for other in waiting:
            through = inner[other].pop(row, None)
            if through is None:
                continue
            outer[other] = outer[other] + through * outer[row]
            for column, weight in inner[row].items():
                known = inner[other].get(column)
                more = through * weight
                inner[other][column] = more if known is None else known + more
