"""What a question is worth when one more may follow, chosen by the answer to the first.

Decision analysis over tables of chances (Raiffa 1968) that knows nothing of keys. What acts are worth says
:class:`Orders`, whose utilities are so regular that the best act needs two reductions over the states and no
table of acts by states.

Joint chances are used throughout, chances of an answer and a state together: the value of a table of them is
then the plain sum over its answers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bittern.engines.key.errors import DecisionError

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Pair = Callable[[int, int], Floats]
"""Answers' chances of two questions i < j together, shape (answers of i, answers of j, states)."""

# Money that pruning may cost a question's worth: far below the smallest that a shop would show.
TOLERANCE = 0.005


class Stakes(Protocol):
    """What acts are worth in each state."""

    def stop(self, joint: Floats) -> Floats:
        """Return the value of the best act, times the chance of being there.

        ``joint`` has shape (..., states): chances of being there and in each state.
        """
        ...

    def certain(self, joint: Floats) -> Floats:
        """Return the same for somebody who knows the state."""
        ...


@dataclass(frozen=True, slots=True)
class Orders:
    """States are articles, then "another article", then "not in this pack"; acts are orders, or none.

    To order an article costs ``wrong`` unless it is the true one; in "another article" no order is right. To
    take it for none of the pack costs ``needless`` unless that is true.
    """

    wrong: float
    needless: float

    def stop(self, joint: Floats) -> Floats:
        """Return the value of the best act, at most 0, times the chance of being there.

        >>> Orders(wrong=110.0, needless=60.0).stop(np.array([0.9, 0.0, 0.1])).round(9).tolist()
        -11.0
        """
        total = joint.sum(axis=-1)
        order = -self.wrong * (total - joint[..., :-2].max(axis=-1, initial=0.0))
        elsewhere = -self.needless * (total - joint[..., -1])
        return np.asarray(np.maximum(order, elsewhere), dtype=np.float64)

    def certain(self, joint: Floats) -> Floats:
        """Return the same for somebody who knows the state: only "another article" still costs."""
        return np.asarray(-min(self.wrong, self.needless) * joint[..., -2], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Worth:
    """What one question is worth, its own cost not deducted.

    Attributes
    ----------
    alone
        Expected value of sample information with nothing asked after it (Raiffa 1968).
    plan
        Value of the best plan that begins with it: after each answer stop, or ask whichever question then
        pays best, whose cost is deducted. Never below ``alone``.
    adds
        ``plan`` less the best that could be had with one question without it: what knowing its answer first
        is worth. 0 for a question without power, though its plan lives on what may follow.
    """

    alone: float
    plan: float
    adds: float

    def saving(self, cost: float) -> float:
        """Return what asking at ``cost`` saves: its plan's worth where the question earns its cost there.

        Notes
        -----
        A question earns its cost if it pays alone, or if it adds more than it costs ahead of the best other.
        One that does neither only rides on the question behind it; it is worth what its own answer is.
        """
        own = max(self.alone, self.adds)
        return self.plan if own > cost else own


def plan_two(
    chance: Floats,
    singles: Sequence[Floats],
    costs: Sequence[float],
    pair: Pair,
    stakes: Stakes,
    tolerance: float = TOLERANCE,
) -> list[Worth]:
    """Return the worth of every question, two steps ahead.

    Parameters
    ----------
    chance
        Shape (states,), sum 1, in the order of ``stakes``.
    singles
        For each question, shape (answers, states): chance of each answer in each state; columns sum to 1.
    costs
        What each question costs, in the currency of ``stakes``.
    pair
        Chances of two questions' answers together; asked for only where they can matter.
    tolerance
        Money by which ``plan`` may fall short; answers that can gain less than this together are skipped.

    Returns
    -------
    list of Worth
        ``alone`` is exact; ``plan`` is between the exact value less ``tolerance`` and the exact value,
        but where even certainty is worth less than the cheapest question: no plan pays then, and it is
        ``alone``.

    Raises
    ------
    DecisionError
        Tables that do not fit each other.

    Notes
    -----
    A second question after an answer gains at most what certainty would there, less its cost. Answers whose
    sum of these bounds stays within ``tolerance`` are not looked at, and a pair of questions is laid out
    only if it can still better some answer's best.
    """
    _check(chance, singles, costs)
    firsts = [_First(table, chance, stakes) for table in singles]
    now = float(stakes.stop(chance))
    alone = [max(0.0, float(first.stopped.sum()) - now) for first in firsts]
    certainty = float(stakes.certain(chance)) - now
    if not costs or certainty <= min(costs):
        plan = list(alone)
    else:
        for i, first in enumerate(firsts):
            others = [cost for j, cost in enumerate(costs) if j != i]
            first.open_answers(min(others, default=np.inf), tolerance)
        _look_further(firsts, chance, costs, pair, stakes, alone)
        plan = [max(float(first.best.sum()) - now, one) for first, one in zip(firsts, alone, strict=True)]
    net = np.array(alone) - np.array(costs)
    worths = []
    for i, (one, two) in enumerate(zip(alone, plan, strict=True)):
        without = max(0.0, float(np.delete(net, i).max(initial=0.0)))
        worths.append(Worth(one, two, max(0.0, two - without)))
    return worths


def keep_states(chance: Floats, stakes: Orders, most: int, tolerance: float = TOLERANCE) -> int:
    """Return how many articles need a state of their own, ``chance`` of articles being best first.

    Notes
    -----
    Pooling an article with the others takes away the act of ordering it. That act betters the next best one
    by at most ``wrong`` times its chance, summed over all answers, so the pooled chance times ``wrong``
    bounds what any plan's worth can lose. ``most`` may cut off more.

    Examples
    --------
    >>> keep_states(np.array([0.9, 0.09999, 0.00001]), Orders(110.0, 60.0), 40)
    2
    """
    tail = np.cumsum(chance[::-1])[::-1] * stakes.wrong
    return int(np.clip(int((tail > tolerance).sum()), 1, most)) if len(chance) else 0


class _First:
    """A question asked first: for each answer, the value of stopping there and the best found so far."""

    def __init__(self, table: Floats, chance: Floats, stakes: Stakes) -> None:
        joint = table * chance
        self.total = joint.sum(axis=1)
        self.stopped = stakes.stop(joint)
        self.certain = stakes.certain(joint)
        self.best = self.stopped.copy()
        self.open: Flags = np.zeros(len(table), dtype=bool)

    def open_answers(self, cheapest: float, tolerance: float) -> None:
        """Mark the answers after which a further question may gain enough to be looked at."""
        if not np.isfinite(cheapest):
            return
        bound = np.maximum(0.0, self.certain - self.stopped - cheapest * self.total)
        order = np.argsort(bound)
        self.open[order] = np.cumsum(bound[order]) > tolerance

    def may_gain(self, cost: float) -> Flags:
        """Return the answers where a question of ``cost`` could better what was found so far."""
        return np.asarray(self.open & (self.certain - cost * self.total > self.best), dtype=bool)

    def take(self, then: Floats, cost: float) -> None:
        """Take note of the value after each answer if one question, ``cost`` not deducted, follows."""
        self.best[self.open] = np.maximum(self.best, then - cost * self.total)[self.open]


def _look_further(
    firsts: Sequence[_First],
    chance: Floats,
    costs: Sequence[float],
    pair: Pair,
    stakes: Stakes,
    alone: Sequence[float],
) -> None:
    # Best questions first: what they find lets more of the others be passed over.
    order = sorted(range(len(firsts)), key=lambda i: costs[i] - alone[i])
    places = [(order[a], order[b]) for b in range(len(order)) for a in range(b)]
    for one, other in places:
        i, j = min(one, other), max(one, other)
        if not (firsts[i].may_gain(costs[j]).any() or firsts[j].may_gain(costs[i]).any()):
            continue
        table = pair(i, j)
        if table.shape != (len(firsts[i].total), len(firsts[j].total), len(chance)):
            raise DecisionError(f"a pair of shape {table.shape}", "answers by answers by states")
        value = stakes.stop(table * chance)
        firsts[i].take(value.sum(axis=1), costs[j])
        firsts[j].take(value.sum(axis=0), costs[i])


def _check(chance: Floats, singles: Sequence[Floats], costs: Sequence[float]) -> None:
    if chance.ndim != 1 or len(chance) < 2 or abs(float(chance.sum()) - 1.0) > 1e-6 or (chance < 0).any():
        raise DecisionError("chances that do not sum to 1", "two states or more with chances that sum to 1")
    if len(singles) != len(costs):
        raise DecisionError(f"{len(costs)} costs", f"one for each of {len(singles)} questions")
    for table in singles:
        if table.ndim != 2 or table.shape[1] != len(chance):
            raise DecisionError(f"answers of shape {table.shape}", f"(answers, {len(chance)})")
        if (table < -1e-9).any() or not np.allclose(table.sum(axis=0), 1.0, atol=1e-6):
            raise DecisionError("answers that do not sum to 1 in each state", "columns that sum to 1")
