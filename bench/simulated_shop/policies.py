"""Four ways to decide what to order, with one accounting for all of them.

1. ``listed``: the listed article with the largest share for the make, model and year told; nothing listed:
   search elsewhere.
2. ``label``: asks for the identifier. Orders the listed article whose identifier is the one read, small
   letters, hyphens, spaces and a prefix aside (of several, the one with the largest share). A label that was
   read but matches nothing listed is not ordered: search elsewhere. A label that cannot be had leaves nothing
   to demand: as 1. Two other readings are kept beside it: ``label, strict`` never orders without a match,
   ``label, lenient`` falls back to 1 in every case.
3. ``engine``: asks the first question that :func:`identify` offers while it saves more than it costs. Then it
   has settled, or is undecided, and the person decides by the probabilities shown: whatever costs least on
   average. ``engine, from 60 %``: undecided, the likeliest article is ordered from 60 % on, else it is
   searched for elsewhere. ``engine, cautious``: undecided means search elsewhere.
4. ``bayes``: :mod:`bayes` with :mod:`lookahead`, and at the end whatever costs least on average.

What nobody could ask (a key that is lost; a measurement over the telephone) is known to both: it is not
asked, costs nothing and says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from bittern.engines.key.decision import DEFAULT_BAR, Costs
from bittern.engines.key.evidence import KINDS, Observation, Vehicle
from bittern.engines.key.identification import Identification, identify
from bittern.engines.key.index import KeyIndex
from bittern.engines.key.rates import Rates
from simulated_shop.bayes import Rule
from simulated_shop.customers import Answer, Job
from simulated_shop.lookahead import choose_question, list_utilities
from simulated_shop.misreading import strip_reading
from simulated_shop.table import Table

POLICIES = (
    "listed",
    "label",
    "label, strict",
    "label, lenient",
    "engine",
    "engine, from 60 %",
    "engine, cautious",
    "bayes",
)
ORDERED_FROM = 0.6
MOST_QUESTIONS = 10
LEAST_STATED = 0.001


class Stated(NamedTuple):
    """A probability that was stated, and whether it came true."""

    p: float
    true: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one job went under one policy.

    ``ended`` is ``settled``, ``not in pack`` or ``undecided``, as the policy sees it; ``article`` what was
    ordered, or None where it was searched for elsewhere; ``p_truth`` the probability that was given to what
    proved true (None: the policy states none), ``stated`` all that were, ``bound`` what the Bayes rule makes
    of the same answers for each of ``stated`` (kept for ``engine`` alone).
    """

    article: str | None
    ended: str
    right: bool
    questions: int
    cost: float
    p_truth: float | None = None
    p_truth_first: float | None = None
    stated: tuple[Stated, ...] = ()
    bound: tuple[float, ...] = ()

    @property
    def wrong_order(self) -> bool:
        """Whether an article was ordered that the vehicle does not take."""
        return self.article is not None and not self.right

    @property
    def needless_search(self) -> bool:
        """Whether it was searched for elsewhere although the pack has it."""
        return self.article is None and not self.right


@dataclass(frozen=True, slots=True)
class Shop:
    """One world with all that the policies need, made once."""

    table: Table
    rule: Rule
    index: KeyIndex
    costs: Costs = field(default_factory=Costs)
    rates: Rates = field(default_factory=Rates)

    def serve(self, job: Job) -> dict[str, Outcome]:
        """Return the outcome of ``job`` under each policy."""
        outcomes = {"listed": self._by_list(job)}
        for name in ("label", "label, strict", "label, lenient"):
            outcomes[name] = self._by_label(job, name)
        engine = ("engine", "engine, from 60 %", "engine, cautious")
        outcomes |= dict(zip(engine, self.serve_by_engine(job), strict=True))
        outcomes["bayes"] = self.serve_by_rule(job)
        return outcomes

    def _close(
        self,
        job: Job,
        article: str | None,
        ended: str,
        asked: Sequence[str],
        stated: tuple[Mapping[str, float], float] | None = None,
        p_first: float | None = None,
    ) -> Outcome:
        """Return the outcome of an act, with its cost."""
        right = article == job.truth
        cost = sum(self.costs.of_question(kind) for kind in asked)
        if not right:
            cost += self.costs.needless_search if article is None else self.costs.wrong
        if stated is None:
            return Outcome(article, ended, right, len(asked), cost)
        articles, outside = stated
        pairs = [Stated(p, name == job.truth) for name, p in articles.items() if p >= LEAST_STATED]
        pairs.append(Stated(outside, job.truth is None))
        p_truth = p_of(job.truth, articles, outside, len(self.table.names))
        return Outcome(article, ended, right, len(asked), cost, p_truth, p_first, tuple(pairs))

    def list_shares(self, job: Job) -> dict[str, float]:
        """Return listed articles of the make, model, year and start told, the largest share first."""
        start = str(job.answers["start"].value or "") if "start" in job.offered else ""
        shares: dict[str, float] = {}
        for row in self.table.world.catalogue.fitments:
            if row.make != job.make or (job.model and row.model != job.model):
                continue
            if job.year is not None and not row.year_from <= job.year <= row.year_to:
                continue
            if not start or row.start == start:
                shares[row.article] = shares.get(row.article, 0.0) + row.share
        return dict(sorted(shares.items(), key=lambda item: -item[1]))

    def _by_list(self, job: Job) -> Outcome:
        shares = self.list_shares(job)
        total = max(1.0, sum(shares.values()))
        stated = {name: share / total for name, share in shares.items()}
        best = next(iter(shares), None)
        outside = 1.0 - sum(stated.values())
        return self._close(job, best, "settled" if best else "not in pack", (), (stated, outside))

    def _by_label(self, job: Job, name: str) -> Outcome:
        shares = self.list_shares(job)
        answer = job.answers.get("fcc_id")
        asked = ["fcc_id"] if answer and "fcc_id" not in job.offered else []
        reading = None if answer is None or answer.value is None else strip_reading(str(answer.value))
        best, match = next(iter(shares), None), None
        if reading is not None:
            bare = reading.replace("-", "").replace(" ", "").upper()
            labels = {one: self.table.world.catalogue.articles[one].fcc_id.replace("-", "") for one in shares}
            match = next((one for one in shares if labels[one] == bare), None)
        demanded = reading is not None or name == "label, strict"
        article = match or (None if demanded and name != "label, lenient" else best)
        return self._close(job, article, "settled" if article else "not in pack", asked)

    def serve_by_engine(self, job: Job) -> tuple[Outcome, Outcome, Outcome]:
        """Return the engine's outcomes, an undecided case decided by cost, from 60 % on, and not ordered."""
        start = job.answers["start"].value if "start" in job.offered else None
        vehicle = Vehicle(
            make=job.make, model=job.model, year=job.year, year_sure=job.year_sure, start=str(start or "")
        )
        seen = [
            observe(kind, job.answers[kind])
            for kind in job.offered
            if kind != "start" or job.answers[kind].value is None
        ]
        asked: list[str] = []
        unavailable = tuple(kind for kind in KINDS if kind not in job.answers)
        found = self._identify(vehicle, seen, unavailable)
        p_first = p_of(job.truth, stated_by(found), found.outside_pack, len(self.table.names))
        for _ in range(MOST_QUESTIONS):
            if found.settled or not found.ask or found.ask[0].net_saving <= 0.0:
                break
            kind = found.ask[0].question
            asked.append(kind)
            seen.append(observe(kind, job.answers[kind]))
            found = self._identify(vehicle, seen, unavailable)
        stated = stated_by(found), found.outside_pack
        bound = self._bound(job, asked, stated[0])
        if found.settled:
            ended = "settled" if found.order else "not in pack"
            one = self._close(job, found.order, ended, asked, stated, p_first)
            return replace(one, bound=bound), one, one
        top = found.candidates[0]
        order = (1.0 - top.probability) * self.costs.wrong
        search = (1.0 - found.outside_pack) * self.costs.needless_search
        choice = top.article if order <= search else None
        likely = top.article if top.probability >= ORDERED_FROM else None
        by_cost, by_chance, never = (
            self._close(job, article, "undecided", asked, stated, p_first)
            for article in (choice, likely, None)
        )
        return replace(by_cost, bound=bound), by_chance, never

    def _bound(self, job: Job, asked: Sequence[str], articles: Mapping[str, float]) -> tuple[float, ...]:
        """Return the Bayes rule's chance of everything that :meth:`_close` takes down as stated."""
        belief = self.rule.believe(job, {kind: job.answers[kind] for kind in (*job.offered, *asked)})
        places = [self.table.place[name] for name, p in articles.items() if p >= LEAST_STATED]
        return (*(float(belief.article[place]) for place in places), belief.outside)

    def _identify(
        self, vehicle: Vehicle, seen: Sequence[Observation], unavailable: Sequence[str]
    ) -> Identification:
        return identify(
            self.index, vehicle, seen, self.costs, DEFAULT_BAR, rates=self.rates, unavailable=unavailable
        )

    def serve_by_rule(self, job: Job) -> Outcome:
        """Return the outcome of ``job`` under this shop's rule alone."""
        known: dict[str, Answer] = {kind: job.answers[kind] for kind in job.offered}
        asked: list[str] = []
        belief = self.rule.believe(job, known)
        p_first = belief.outside if job.truth is None else belief.article[self.table.place[job.truth]]
        while open_kinds := [kind for kind in job.answers if kind not in known]:
            worth = choose_question(self.rule, job, belief, open_kinds, self.costs)
            if not worth.question:
                break
            asked.append(worth.question)
            known[worth.question] = job.answers[worth.question]
            belief = self.rule.believe(job, known)
        top = int(np.argmax(belief.article))
        chance = np.array([belief.article[top], 1.0 - belief.article[top] - belief.outside, belief.outside])
        act = int(np.argmax(list_utilities(1, self.costs) @ chance))
        article = self.table.names[top] if act == 0 else None
        stated = dict(zip(self.table.names, belief.article.tolist(), strict=True)), belief.outside
        ended = "settled" if article else "not in pack"
        if (belief.article[top] if article else belief.outside) < DEFAULT_BAR:
            ended = "undecided"
        return self._close(job, article, ended, asked, stated, float(p_first))


def observe(kind: str, answer: Answer) -> Observation:
    """Return an answer as the engine takes it."""
    return Observation(kind, answer.value, answer.how)


def stated_by(found: Identification) -> dict[str, float]:
    """Return the probability of each candidate shown."""
    return {one.article: one.probability for one in found.candidates}


def p_of(truth: str | None, articles: Mapping[str, float], outside: float, count: int) -> float:
    """Return the probability given to the truth; what is left over is spread over the articles not shown."""
    if truth is None:
        return max(outside, 1e-6)
    if truth in articles:
        return max(articles[truth], 1e-6)
    left = 1.0 - outside - sum(articles.values())
    return max(1e-6, left / max(1, count - len(articles)))
