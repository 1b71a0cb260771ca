"""What a rule believes after the answers so far."""

from __future__ import annotations

from dataclasses import dataclass

from simulated_shop.table import Floats


@dataclass(frozen=True, slots=True)
class Belief:
    """Chances after the answers so far.

    Attributes
    ----------
    article, outside
        Shape (articles,) and a number; they sum to 1.
    hidden
        Shape (articles + 1, 2, 2, 2, 2): joint chance of the article (the last: outside), the key being the
        vehicle's kind (0) or not (1), new case, worn, careless.
    foreign
        Shape (articles, 2, 2, 2): chance of each article as a key of another kind, given the latter three.
    missing
        Shape (articles, 2, 2, 2): the same for the article that an own key outside the pack derives from.
    start
        Shape (articles + 1, 2): chance of turn and push given the article.
    """

    article: Floats
    outside: float
    hidden: Floats
    foreign: Floats
    missing: Floats
    start: Floats
