"""Which questions are worth asking, two steps ahead, and why asking stops."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from bittern.engines.key.decision import Costs, chance_of_passing
from bittern.engines.key.evidence import KINDS
from bittern.engines.key.index import Floats, Integers
from bittern.engines.key.lookahead import Orders, keep_states, plan_two
from bittern.engines.key.posterior import MOST_CANDIDATES, Case, Posterior
from bittern.engines.key.questions import QUESTIONS, Survey
from bittern.engines.key.wording import NAMES, say_chance

# Below the bar a question that costs more than it saves is still offered if it settles the case this often.
_MAY_SETTLE = 0.05


@dataclass(frozen=True, slots=True)
class Ask:
    """A question that could be asked.

    Attributes
    ----------
    question
        The observation kind that it would give.
    expected_saving
        What its answer is expected to save, in the pack's currency: the best plan that begins with it and
        may ask one more, the second question's cost deducted, its own not.
    cost
        What asking costs, same currency.
    p_settles
        Chance that its answer lifts one article, or "not in this pack", above the bar.
    text, where
        The question in words, and where to look.
    """

    question: str
    expected_saving: float
    cost: float
    p_settles: float
    text: str
    where: str

    @property
    def net_saving(self) -> float:
        """Expected saving less cost."""
        return self.expected_saving - self.cost


@dataclass(frozen=True, slots=True)
class Stop:
    """Why no further question is asked.

    Attributes
    ----------
    reason
        ``certain`` (knowing for certain would save less than the cheapest question costs), ``nothing-pays``
        (questions remain, none saves what it costs) or ``nothing-left`` (everything was asked).
    text
        The same in a sentence.
    best
        The question that would have been worth most, if any is left.
    """

    reason: str
    text: str
    best: Ask | None = None

    @property
    def why(self) -> str:
        """The sentence up to its figures, for where ``best`` is shown with its own.

        >>> Stop("nothing-pays", "No further question pays: the best left would save 1.00.").why
        'No further question pays.'
        """
        return self.text.split(":", 1)[0].rstrip(".") + "."


def find_state_chances(posterior: Posterior, states: Integers) -> Floats:
    """Return chances of the states: each article of ``states``, all other articles, not in the pack."""
    p_article = posterior.p_article
    each = p_article[states]
    chance = np.array([*each, max(0.0, float(p_article.sum() - each.sum())), posterior.p_outside])
    return np.asarray(chance / chance.sum(), dtype=np.float64)


def list_questions(
    case: Case, posterior: Posterior, costs: Costs, bar: float, unavailable: Collection[str]
) -> list[Ask]:
    """Return every kind that could still be asked with what its answer is worth, best first.

    Parameters
    ----------
    unavailable
        Kinds that nobody can ask for now, whatever the article: they are left out, and say nothing.

    Notes
    -----
    See :func:`~bittern.engines.key.lookahead.plan_two`. A list of buttons answers their number too.
    """
    asked = {one.observation.kind for one in case.judged} | set(unavailable)
    if any(one.observation.kind == "buttons" and one.observation.value is not None for one in case.judged):
        asked.add("button_count")
    kinds = [kind for kind in KINDS if kind not in asked]
    if not kinds:
        return []
    stakes = Orders(costs.wrong, costs.needless_search)
    p_article = posterior.p_article[: len(case.pools.places)]
    order = np.argsort(-p_article, kind="stable")[:MOST_CANDIDATES]
    states = order[: max(1, keep_states(p_article[order], stakes, MOST_CANDIDATES))]
    chance = find_state_chances(posterior, states)
    survey = Survey(case, posterior, states)
    singles = [survey.single(kind) for kind in kinds]
    prices = [costs.of_question(kind) for kind in kinds]

    def pair(i: int, j: int) -> Floats:
        return survey.pair(kinds[i], kinds[j])

    worths = plan_two(chance, singles, prices, pair, stakes)
    eligible = np.ones(len(chance))
    eligible[-2] = 0.0
    asks = [
        Ask(
            question=kind,
            expected_saving=worth.saving(price),
            cost=price,
            p_settles=chance_of_passing(chance, single, eligible, bar),
            text=QUESTIONS[kind].text,
            where=QUESTIONS[kind].where,
        )
        for kind, worth, price, single in zip(kinds, worths, prices, singles, strict=True)
    ]
    return sorted(asks, key=lambda ask: -ask.net_saving)


def choose_asks(asks: Sequence[Ask], *, p_top: float, bar: float) -> list[Ask]:
    """Return the questions to offer, best first: those that pay; below the bar also those that may settle."""
    paying = [ask for ask in asks if ask.net_saving > 0.0]
    if p_top >= bar:
        return paying
    others = [ask for ask in asks if ask.net_saving <= 0.0 and ask.p_settles > _MAY_SETTLE]
    return paying + sorted(others, key=lambda ask: (-ask.p_settles / max(ask.cost, 1e-9), ask.question))


def explain_stop(asks: Sequence[Ask], certainty: float, p_top: float, top: str) -> Stop:
    """Return why nothing more is asked.

    Parameters
    ----------
    asks
        What could still be asked, best first.
    certainty
        What knowing the truth for certain would save, in the pack's currency.
    p_top, top
        The likeliest outcome and its chance.
    """
    if not asks:
        return Stop("nothing-left", "Everything that could be asked was asked.")
    best, cheapest = asks[0], min(ask.cost for ask in asks)
    if certainty <= cheapest:
        text = (
            f"Asking gains nothing more: {say_chance(p_top)} for {top}; certainty would save {certainty:.2f},"
            f" the cheapest question costs {cheapest:.2f}."
        )
        return Stop("certain", text, best)
    text = (
        f"No further question pays: the best left, {NAMES[best.question]}, would save"
        f" {best.expected_saving:.2f} and costs {best.cost:.2f}."
    )
    return Stop("nothing-pays", text, best)
