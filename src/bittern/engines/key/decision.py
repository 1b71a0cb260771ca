"""What questions and mistakes cost the shop, and how often an answer settles a case.

What a question is worth is worked out in :mod:`~bittern.engines.key.lookahead`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from bittern.engines.key.errors import DecisionError
from bittern.engines.key.evidence import KINDS
from bittern.engines.key.index import Floats

DEFAULT_BAR = 0.9


@dataclass(frozen=True, slots=True)
class Costs:
    """What questions and mistakes cost the shop, in the pack's currency.

    Attributes
    ----------
    per_minute
        A technician's minute.
    minutes
        Minutes that each question takes, by observation kind.
    visit
        What a question costs besides its minutes, by observation kind: where the answer needs the key at the
        bench and the customer has to come, or somebody to go. 0 for what can be asked by telephone, and
        where the key is here already; nothing is assumed unless the shop says so.
    wrong_order
        Return fee and carriage of an article that does not fit.
    delay
        What the lost days cost the shop in goodwill and a car standing about.
    second_visit
        The customer, or the technician, comes again.
    needless_search
        Taking an article for one that the pack has not, and searching elsewhere or losing the sale.
    """

    per_minute: float = 1.0
    minutes: Mapping[str, float] = field(
        default_factory=lambda: {
            "fcc_id": 3.0,
            "button_count": 1.0,
            "buttons": 1.5,
            "start": 0.5,
            "blade": 3.0,
            "frequency_hz": 6.0,
            "chip": 6.0,
        }
    )
    wrong_order: float = 45.0
    delay: float = 25.0
    second_visit: float = 40.0
    needless_search: float = 60.0
    visit: Mapping[str, float] = field(default_factory=dict)

    @property
    def wrong(self) -> float:
        """All that an order of the wrong article costs."""
        return self.wrong_order + self.delay + self.second_visit

    def of_question(self, kind: str) -> float:
        """Return what asking for ``kind`` costs; a kind without minutes takes five, without visit none.

        >>> Costs(per_minute=2.0, minutes={"chip": 6.0}, visit={"chip": 40.0}).of_question("chip")
        52.0
        """
        return self.per_minute * self.minutes.get(kind, 5.0) + self.visit.get(kind, 0.0)

    def __post_init__(self) -> None:
        numbers = (
            self.per_minute, self.wrong_order, self.delay, self.second_visit, self.needless_search,
            *self.minutes.values(), *self.visit.values(),
        )  # fmt: skip
        if not all(0.0 <= number < float("inf") for number in numbers):
            raise DecisionError("a negative or endless cost", "costs of 0 or more")
        unknown = sorted((set(self.minutes) | set(self.visit)) - set(KINDS))
        if unknown:
            raise DecisionError(f"costs of {', '.join(unknown)}", f"only {', '.join(KINDS)}")


def chance_of_passing(chance: Floats, likelihood: Floats, eligible: Floats, bar: float) -> float:
    """Return how probable an answer is that lifts one ``eligible`` state to ``bar`` or above."""
    joint = likelihood * chance[None, :]
    answer = joint.sum(axis=1)
    best = (joint * eligible[None, :]).max(axis=1)
    return float(answer[best >= bar * np.maximum(answer, 1e-300)].sum())
