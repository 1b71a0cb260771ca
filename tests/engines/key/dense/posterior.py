"""Chances over articles after all observations, with a key that may not be the vehicle's own.

Model. The vehicle takes article a (or something outside the pack) and starts by turn or push: see
:mod:`~bittern.engines.key.prior`. Observed starts are about the vehicle. All other observations are about the
key that is shown. With chance ``1 - foreign`` it is of the vehicle's kind: article a, or a key outside the
pack, which with ``outside_alike`` resembles some article in everything but its identifier. With chance
``foreign`` it is any key: an article of the pack, or with ``foreign_unknown`` a key that resembles none.
Given the key, observations are independent, but for a number and a list of buttons got in one way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bittern.engines.key.evidence import KEY_KINDS, Observation, Vehicle, check_observation
from bittern.engines.key.rates import Rates
from tests.engines.key.dense.index import Floats, KeyIndex
from tests.engines.key.dense.likelihood import find_beyond, key_likelihood, start_likelihood
from tests.engines.key.dense.prior import Prior, prior_of
from tests.engines.key.dense.spread import Likelihood


@dataclass(frozen=True, slots=True)
class Judged:
    """An observation with its likelihood; for ``start`` shape (2,), else over the values of its kind."""

    observation: Observation
    start: Floats | None
    key: Likelihood | None


@dataclass(frozen=True, slots=True)
class Case:
    """One vehicle with its observations, judged but not yet put together."""

    index: KeyIndex
    rates: Rates
    vehicle: Vehicle
    prior: Prior
    weight: Floats
    judged: tuple[Judged, ...]


@dataclass(frozen=True, slots=True)
class Posterior:
    """Chances after the observations; all that are chances of the vehicle's article sum to 1.

    Attributes
    ----------
    article, outside
        Shapes (articles, 2) and (2,), by start as in :class:`~bittern.engines.key.prior.Prior`.
    own_given_article, own_given_outside
        Shape (articles,) and a number: chance that the shown key is the vehicle's kind, given its article.
    foreign_key, foreign_other
        Shape (articles,) and a number, sum 1: what a key not of the vehicle's kind would be.
    outside_key, outside_other
        Shape (articles,) and a number, sum 1: which article a key outside the pack would resemble.
    log_evidence
        Natural logarithm of the chance (density, where a frequency was measured) of all observations.
    """

    article: Floats
    outside: Floats
    own_given_article: Floats
    own_given_outside: float
    foreign_key: Floats
    foreign_other: float
    outside_key: Floats
    outside_other: float
    log_evidence: float

    @property
    def p_article(self) -> Floats:
        """Chance of each article, shape (articles,)."""
        return np.asarray(self.article[:, 0] + self.article[:, 1], dtype=np.float64)

    @property
    def p_outside(self) -> float:
        """Chance that the vehicle's article is not in the pack."""
        return float(self.outside.sum())


def open_case(index: KeyIndex, vehicle: Vehicle, observations: Sequence[Observation], rates: Rates) -> Case:
    """Return the case with every observation judged; their order does not matter.

    Raises
    ------
    ObservationError
        An observation's kind, source or type of value is unknown.
    """
    every = list(observations)
    if vehicle.start:
        every.append(Observation("start", vehicle.start, "told"))
    for one in every:
        check_observation(one)
    every.sort(key=lambda one: (one.kind, one.how, repr(_plain(one)), repr(one.sd)))
    weight = index.weight_for(vehicle.make, rates)
    judged = tuple(_judge(index, one, weight, rates) for one in every) if len(index) else ()
    return Case(index, rates, vehicle, prior_of(index, vehicle, rates, weight), weight, judged)


def posterior_of(case: Case, leave_out: int | None = None) -> Posterior:
    """Return the chances after all observations, or after all but one.

    Notes
    -----
    Likelihoods are multiplied as logarithms and scaled by their largest, so that nothing underflows to
    "impossible" however much evidence there is.
    """
    rates = case.rates
    judged = [one for i, one in enumerate(case.judged) if i != leave_out]
    own, alike, other, scale = _key_terms(case, judged)
    foreign = (1.0 - rates.foreign_unknown) * case.weight * own
    foreign_other = rates.foreign_unknown * other
    p_foreign = float(foreign.sum()) + foreign_other
    outside = rates.outside_alike * case.weight * alike
    outside_other = (1.0 - rates.outside_alike) * other
    p_outside = float(outside.sum()) + outside_other
    key_article = (1.0 - rates.foreign) * own + rates.foreign * p_foreign
    key_outside = (1.0 - rates.foreign) * p_outside + rates.foreign * p_foreign
    start = np.ones(2)
    for one in judged:
        start = start * one.start if one.start is not None else start
    mass_article = case.prior.article * start[None, :] * key_article[:, None]
    mass_outside = case.prior.outside * start * key_outside
    total = float(mass_article.sum() + mass_outside.sum())
    return Posterior(
        article=mass_article / total,
        outside=mass_outside / total,
        own_given_article=(1.0 - rates.foreign) * own / key_article,
        own_given_outside=(1.0 - rates.foreign) * p_outside / key_outside,
        foreign_key=foreign / p_foreign,
        foreign_other=foreign_other / p_foreign,
        outside_key=outside / p_outside,
        outside_other=outside_other / p_outside,
        log_evidence=math.log(total) + scale,
    )


def _judge(index: KeyIndex, observation: Observation, weight: Floats, rates: Rates) -> Judged:
    if observation.kind in KEY_KINDS:
        return Judged(observation, None, key_likelihood(index, observation, weight, rates))
    return Judged(observation, start_likelihood(observation, rates), None)


def _find_pair(judged: Sequence[Judged]) -> tuple[Observation, Observation] | None:
    said = [one.observation for one in judged if one.observation.value is not None]
    # As the engine: of several in one way, the last; of several ways, the first in the order of the counts.
    counts = {one.how: one for one in said if one.kind == "button_count"}
    lists = {one.how: one for one in said if one.kind == "buttons"}
    return next(((counts[how], lists[how]) for how in counts if how in lists), None)


def _key_terms(case: Case, judged: Sequence[Judged]) -> tuple[Floats, Floats, float, float]:
    """Return the likelihoods of an own article, of one outside like it, of any other, and their log scale."""
    index = case.index
    log_own, log_alike, log_other = np.zeros(len(index)), np.zeros(len(index)), 0.0
    for one in judged:
        if one.key is None:
            continue
        code = index.tables[one.observation.kind].code
        log_own += np.log(one.key.by_value)[code]
        log_alike += np.log(one.key.unlisted_by_value)[code]
        log_other += math.log(one.key.generic)
    # The pair of all observations: the engine does not look for another where one of it is left out.
    pair = _find_pair(case.judged)
    if pair is not None and all(any(one.observation is half for one in judged) for half in pair):
        beyond = find_beyond(index, *pair, case.weight, case.rates)
        log_own += beyond
        log_alike += beyond
    scale = max(log_other, *(float(log.max(initial=-math.inf)) for log in (log_own, log_alike)))
    return np.exp(log_own - scale), np.exp(log_alike - scale), math.exp(log_other - scale), scale


def _plain(observation: Observation) -> object:
    value = observation.value
    return tuple(sorted(value)) if isinstance(value, tuple) else value
