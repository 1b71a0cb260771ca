"""The Bayes rule with some of its pieces taken from the engine: what each piece of the model costs.

With no piece it is the Bayes rule. With all of them it believes what the engine believes, and differs from it
only in how it predicts answers. Nothing here is used by the engine or the policies.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from bittern.engines.key.evidence import Observation, Vehicle
from bittern.engines.key.index import KeyIndex
from bittern.engines.key.likelihood import key_likelihood, start_likelihood
from bittern.engines.key.prior import prior_of
from bittern.engines.key.rates import Rates
from bittern.engines.key.weight import Weight
from simulated_shop.bayes import FEATURE_OF, FEATURES, SHAPE, Rule
from simulated_shop.customers import Answer, Job
from simulated_shop.table import Floats, Table

PIECES = ("vehicles", "start", *FEATURES, "other keys")
"""What vehicles take; each answer; and keys that are not the vehicle's, or not in the pack."""


class PiecedRule(Rule):
    """A rule whose ``pieces`` are the engine's, the others the simulator's."""

    def __init__(self, table: Table, index: KeyIndex, rates: Rates, pieces: Collection[str]) -> None:
        super().__init__(table)
        if not set(pieces) <= set(PIECES):
            raise ValueError(f"no such pieces: {sorted(set(pieces) - set(PIECES))}")
        self.index, self.rates, self.pieces = index, rates, frozenset(pieces)
        self._order = np.array([index.position[name] for name in table.names], dtype=np.int64)
        self._first = {
            name: np.unique(one.code, return_index=True)[1] for name, one in table.features.items()
        }
        self._weight: Weight = index.weight_for("", rates)

    def weigh_vehicles(self, job: Job) -> tuple[Floats, Floats]:
        """Return priors by carelessness, start and article, and outside."""
        self._weight = self.index.weight_for(job.make, self.rates)
        if "vehicles" not in self.pieces:
            return super().weigh_vehicles(job)
        vehicle = Vehicle(make=job.make, model=job.model, year=job.year, year_sure=job.year_sure)
        prior = prior_of(self.index, vehicle, self.rates)
        article = prior.article[self._order].T
        return self.p_careless[:, None, None] * article, self.p_careless[:, None] * prior.outside

    def judge_start(self, answer: Answer) -> Floats:
        """Return the chance of the answer, by carelessness and true start."""
        if "start" not in self.pieces:
            return super().judge_start(answer)
        chance = start_likelihood(Observation("start", answer.value, answer.how), self.rates)
        return np.tile(chance, (2, 1))

    def judge_feature(self, name: str, about: Mapping[str, Answer]) -> tuple[Floats, Floats]:
        """Return the chance of the answers about one feature, by value, and by the value derived from."""
        if name not in self.pieces:
            return super().judge_feature(name, about)
        known, alike, _ = self._engine_feature(name, about)
        if name == "label":
            return known, alike
        pool = np.einsum("v,vswc->swc", self.pools[name], known)
        derived = self.keeps[name] * known + (1.0 - self.keeps[name]) * pool
        derived[self.absent[name]] = known[self.absent[name]]
        return known, derived

    def _engine_feature(self, name: str, about: Mapping[str, Answer]) -> tuple[Floats, Floats, float]:
        """Return the engine's chances: by value, outside the pack but alike, and of a key like none."""
        places = self._order[self._first[name]]
        own, alike, generic = np.ones(len(places)), np.ones(len(places)), 1.0
        for kind, answer in about.items():
            seen = Observation(kind, answer.value, answer.how)
            judged = key_likelihood(self.index, seen, self._weight, self.rates)
            one, other = judged.of_values(self.index.tables[kind].code[places])
            # A density per megahertz, as the simulator's.
            unit = 1e6 if name == "radio" and answer.value is not None else 1.0
            own, alike, generic = own * one * unit, alike * other * unit, generic * judged.generic * unit
        spread = np.ones((1, *SHAPE))
        return own[:, None, None, None] * spread, alike[:, None, None, None] * spread, generic

    def mix_keys(
        self, job: Job, answers: Mapping[str, Answer], own: Floats, missing: Floats
    ) -> tuple[float, Floats, Floats]:
        """Return how often a key is not the vehicle's, and the chance of ``answers`` for such keys."""
        if "other keys" not in self.pieces:
            return super().mix_keys(job, answers, own, missing)
        rates = self.rates
        weight = self._weight.by_article[self._order]
        alike, generic = np.ones_like(own), np.ones(SHAPE)
        for name in FEATURES:
            about = {kind: one for kind, one in answers.items() if FEATURE_OF.get(kind) == name}
            if not about:
                continue
            code = self.table.features[name].code
            if name in self.pieces:
                _, by_value, other = self._engine_feature(name, about)
                generic = generic * other
            else:
                known, derived = super().judge_feature(name, about)
                by_value = derived if name == "label" else known
                generic = generic * np.einsum("n,nswc->swc", weight, by_value[code])
            alike = alike * by_value[code]
        unknown = rates.foreign_unknown
        foreign = (1.0 - unknown) * np.einsum("n,nswc->swc", weight, own) + unknown * generic
        like = rates.outside_alike
        outside = like * np.einsum("n,nswc->swc", weight, alike) + (1.0 - like) * generic
        count = len(weight) + 1
        return rates.foreign, np.broadcast_to(foreign, (count, *SHAPE)), np.broadcast_to(outside, (2, *SHAPE))
