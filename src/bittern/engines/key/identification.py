"""Which article a vehicle takes, how sure that is and why, and what to ask next."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from bittern.engines.key.asking import (
    Ask,
    Stop,
    choose_asks,
    explain_stop,
    find_state_chances,
    list_questions,
)
from bittern.engines.key.catalogue import Article, Catalogue
from bittern.engines.key.conflict import find_conflicts
from bittern.engines.key.decision import DEFAULT_BAR, Costs
from bittern.engines.key.evidence import Observation, Vehicle
from bittern.engines.key.index import Floats, Integers, KeyIndex
from bittern.engines.key.lookahead import Orders
from bittern.engines.key.posterior import MOST_CANDIDATES, Case, Posterior, open_case, posterior_of
from bittern.engines.key.rates import Rates
from bittern.engines.key.wording import (
    describe_effect,
    describe_gaps,
    describe_listing,
    describe_match,
    describe_outside,
)

# An article less likely than this has no state of its own in the decision: with all others it is one state in
# which no order is right.
_LEAST_STATE = 1e-6
_MOST_CANDIDATES = 12
_LEAST_SHOWN = 0.001


@dataclass(frozen=True, slots=True)
class Candidate:
    """An article that could fit, its probability, and the reasons in words, strongest first."""

    article: str
    probability: float
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Identification:
    """The answer: candidates best first, what remains outside the pack, and the next act.

    ``settled`` with ``order``: order that article. ``settled`` without: not in this pack. Not settled: ask
    the first of ``ask``; with nothing to ask the case is undecided. ``outside_because`` are the reasons for
    ``outside_pack``; ``assumed`` says what the model had to take for granted. ``conflicts`` are sentences
    about observations that cannot all be right; ``stop`` is set when ``ask`` is empty; ``considered`` are all
    questions not yet asked with what each is worth, best first, those not worth asking too.
    """

    candidates: tuple[Candidate, ...]
    outside_pack: float
    settled: bool
    order: str | None
    ask: tuple[Ask, ...]
    outside_because: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    conflicts: tuple[str, ...] = ()
    stop: Stop | None = None
    considered: tuple[Ask, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape, with more keys after it."""
        return {
            "candidates": [
                {"article": one.article, "probability": one.probability, "because": list(one.because)}
                for one in self.candidates
            ],
            "outside_pack": self.outside_pack,
            "settled": self.settled,
            "order": self.order,
            "ask": [
                {
                    "question": one.question,
                    "expected_saving": one.expected_saving,
                    "cost": one.cost,
                    "p_settles": one.p_settles,
                    "text": one.text,
                    "where": one.where,
                }
                for one in self.ask
            ],
            "outside_because": list(self.outside_because),
            "assumed": list(self.assumed),
            "conflicts": list(self.conflicts),
            "stop": None if self.stop is None else {"reason": self.stop.reason, "text": self.stop.text},
        }


def identify(
    catalogue: Catalogue | KeyIndex,
    vehicle: Vehicle,
    observations: Sequence[Observation],
    costs: Costs | None = None,
    bar: float = DEFAULT_BAR,
    *,
    rates: Rates | None = None,
    unavailable: Collection[str] = (),
) -> Identification:
    """Return the article that ``vehicle`` takes, as far as the observations can say.

    Parameters
    ----------
    catalogue
        The pack's articles and fitments; a :class:`KeyIndex` of them saves laying them out anew each time.
    vehicle
        What is known of it; every part may be missing.
    observations
        In any order. A value None means asked, and cannot be had.
    costs
        The shop's costs, in the pack's currency.
    bar
        The shop's bar, 0 to 1: no article is ordered below this probability.
    rates
        The model's rates of error.
    unavailable
        Observation kinds that cannot be had for a reason which has nothing to do with the article, such as
        no key to look at: they are not asked and, unlike a value None, are no evidence.

    Returns
    -------
    Identification
        ``settled`` needs all three: no question saves more than it costs, the likeliest article (or "not in
        this pack") reaches ``bar``, and acting on it has the least expected cost.

    Raises
    ------
    ObservationError
        A kind, a way of getting it, or a type of value is unknown.

    Notes
    -----
    Model: :mod:`~bittern.engines.key.posterior`. A question is worth its expected value of sample
    information, two questions ahead: :mod:`~bittern.engines.key.lookahead`.

    Examples
    --------
    >>> from bittern.engines.key.catalogue import Article, Fitment
    >>> heron = Article("H-1", "Heron remote", "remote", fcc_id="KX4-HM22", buttons=("lock", "unlock"))
    >>> row = Fitment("Heron", "One", 2015, 2019, "turn", "", "", "H-1", 0.9)
    >>> label = Observation("fcc_id", "FCC ID: KX4HM22", "seen")
    >>> one = Vehicle(make="Heron", model="One", year=2017)
    >>> identify(Catalogue({"H-1": heron}, (row,)), one, [label]).order
    'H-1'
    """
    index = catalogue if isinstance(catalogue, KeyIndex) else KeyIndex(catalogue)
    costs, rates = costs or Costs(), rates or Rates()
    case = open_case(index, vehicle, observations, rates)
    if not len(index):
        stop = Stop("nothing-left", "The pack has no articles.")
        return Identification((), 1.0, True, None, (), ("the pack has no articles",), stop=stop)
    posterior = posterior_of(case)
    p_article = posterior.p_article
    states = _choose_states(p_article[: len(case.pools.places)])
    chance = find_state_chances(posterior, states)
    stakes = Orders(costs.wrong, costs.needless_search)
    top = int(np.argmax(np.where(np.arange(len(chance)) == len(states), -1.0, chance)))
    considered = list_questions(case, posterior, costs, bar, unavailable)
    pays = any(ask.net_saving > 0.0 for ask in considered)
    settled = bool(chance[top] >= bar and _is_best(chance, top, stakes) and not pays)
    named = _article_of(case, int(states[top])).article if top < len(states) else None
    asks = () if settled else tuple(choose_asks(considered, p_top=float(chance[top]), bar=bar))
    candidates, outside_because = _explain(case, posterior, states)
    return Identification(
        candidates=candidates,
        outside_pack=_below_one(posterior.p_outside),
        settled=settled,
        order=named if settled else None,
        ask=asks,
        outside_because=outside_because,
        assumed=tuple(describe_gaps(case)),
        conflicts=find_conflicts(case, posterior),
        stop=None if asks else _find_stop(considered, chance, stakes, float(chance[top]), named),
        considered=tuple(considered),
    )


def _is_best(chance: Floats, top: int, stakes: Orders) -> bool:
    """Return whether acting on the likeliest outcome has the least expected cost."""
    of_top = -(stakes.needless if top == len(chance) - 1 else stakes.wrong) * (1.0 - chance[top])
    return bool(of_top >= float(stakes.stop(chance)) - 1e-9)


def _find_stop(asks: Sequence[Ask], chance: Floats, stakes: Orders, p_top: float, named: str | None) -> Stop:
    certainty = float(stakes.certain(chance)) - float(stakes.stop(chance))
    return explain_stop(asks, certainty, p_top, named or "nothing in this pack")


def _choose_states(p_article: Floats) -> Integers:
    """Return the articles told apart that have a state of their own, likeliest first; one at least."""
    order = np.argsort(-p_article, kind="stable")[:MOST_CANDIDATES]
    return np.asarray(order[: max(1, int((p_article[order] >= _LEAST_STATE).sum()))], dtype=np.int64)


def _article_of(case: Case, entry: int) -> Article:
    return case.index.articles[int(case.pools.places[entry])]


def _explain(
    case: Case, posterior: Posterior, states: Integers
) -> tuple[tuple[Candidate, ...], tuple[str, ...]]:
    """Return the candidates with their reasons, and the reasons for what is outside the pack."""
    without = [posterior_of(case, leave_out=i) for i in range(len(case.judged))]
    p_without = [one.p_article for one in without]
    p_article = posterior.p_article
    shown = [int(i) for i in states[:_MOST_CANDIDATES] if p_article[i] >= _LEAST_SHOWN] or [
        int(i) for i in states[:1]
    ]
    before = case.prior.article.sum(axis=1)
    candidates = []
    for place in shown:
        article, p = _article_of(case, place), float(p_article[place])
        listing = describe_listing(case.vehicle, float(before[place]), listed=bool(case.prior.listed[place]))
        factors = [_odds(p) / _odds(float(other[place])) for other in p_without]
        matches = [describe_match(one.observation, article) for one in case.judged]
        candidates.append(Candidate(article.article, _below_one(p), (listing, *_reasons(matches, factors))))
    p_outside = posterior.p_outside
    factors = [_odds(p_outside) / _odds(one.p_outside) for one in without]
    matches = [describe_match(one.observation, None) for one in case.judged]
    outside = (describe_outside(float(case.prior.outside.sum())), *_reasons(matches, factors))
    return tuple(candidates), outside


def _reasons(matches: Sequence[str], factors: Sequence[float]) -> list[str]:
    """Return one sentence an observation, the one that moved most first."""
    strength = [abs(np.log(max(factor, 1e-300))) for factor in factors]
    order = sorted(range(len(matches)), key=lambda i: (-round(float(strength[i]), 9), matches[i]))
    return [f"{matches[i]}: {describe_effect(factors[i])}" for i in order]


def _odds(p: float) -> float:
    return max(p, 1e-300) / max(1.0 - p, 1e-15)


def _below_one(p: float) -> float:
    # Rounding must not let the sum of all probabilities exceed 1.
    return max(0.0, p * (1.0 - 1e-12))
