"""Acts by states as a plain table of utilities: the short way to a question's worth, to compare with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bittern.engines.key.index import Floats


@dataclass(frozen=True, slots=True)
class Utilities:
    """Acts by states, shape (acts, states); stakes of :func:`bittern.engines.key.lookahead.plan_two`."""

    table: Floats

    def stop(self, joint: Floats) -> Floats:
        """Return the value of the best act, times the chance of being there."""
        return np.asarray((joint @ self.table.T).max(axis=-1), dtype=np.float64)

    def certain(self, joint: Floats) -> Floats:
        """Return the same for somebody who knows the state."""
        return np.asarray(joint @ self.table.max(axis=0), dtype=np.float64)


def best_expected(utility: Floats, chance: Floats) -> tuple[int, float]:
    """Return the act with the highest expected utility, and that utility."""
    expected = utility @ chance
    best = int(np.argmax(expected))
    return best, float(expected[best])


def value_of_sample(utility: Floats, chance: Floats, likelihood: Floats) -> float:
    """Return the best joint expectation summed over answers, less the best without one (Raiffa 1968)."""
    return sum(max(float(act @ (answer * chance)) for act in utility) for answer in likelihood) - max(
        float(act @ chance) for act in utility
    )


def value_of_certainty(utility: Floats, chance: Floats) -> float:
    """Return what knowing the state would be worth."""
    return float(utility.max(axis=0) @ chance) - best_expected(utility, chance)[1]
