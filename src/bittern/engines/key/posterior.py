"""Chances over articles after all observations, with a key that may not be the vehicle's own.

Model. The vehicle takes article a (or something outside the pack) and starts by turn or push: see
:mod:`~bittern.engines.key.prior`. Observed starts are about the vehicle. All other observations are about the
key that is shown. With chance ``1 - foreign`` it is of the vehicle's kind: article a, or a key outside the
pack, which with ``outside_alike`` resembles some article in everything but its identifier. With chance
``foreign`` it is any key: an article of the pack, or with ``foreign_unknown`` a key that resembles none.
Given the key, observations are independent, but for a number and a list of buttons got in one way: whoever
overlooks a button does so in both (:mod:`~bittern.engines.key.buttons`).

What it cannot see: other mistakes that belong together (a worn key hides more than one thing), two vehicles
mixed up, articles that differ in nothing one can observe.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bittern.engines.key.evidence import KEY_KINDS, Observation, Vehicle, check_observation
from bittern.engines.key.index import Floats, Integers, KeyIndex
from bittern.engines.key.likelihood import find_beyond, key_likelihood, start_likelihood
from bittern.engines.key.pools import Pools, common_heads, likeliest, pool_articles
from bittern.engines.key.prior import Listing, Prior, list_articles, spread_prior
from bittern.engines.key.rates import Rates
from bittern.engines.key.spread import LabelLikelihood, Likelihood
from bittern.engines.key.weight import Weight

MOST_CANDIDATES = 40
"""Articles that are told apart at least: the likeliest."""


@dataclass(frozen=True, slots=True)
class Judged:
    """An observation with its likelihood; for ``start`` shape (2,), else over the values of its kind."""

    observation: Observation
    start: Floats | None
    key: Likelihood | LabelLikelihood | None

    @property
    def said(self) -> bool:
        """Whether there was an answer."""
        return self.observation.value is not None


@dataclass(frozen=True, slots=True)
class Pair:
    """A number and a list of buttons after one look: their ``places`` among the observations.

    ``beyond`` is the logarithm of their likelihood together less those of each, shape (values of "buttons",).
    """

    places: tuple[int, int]
    beyond: Floats


@dataclass(frozen=True, slots=True)
class Case:
    """One vehicle with its observations, judged but not yet put together.

    Attributes
    ----------
    pools
        The entries that everything of a case is laid out over: articles, then pools of the others.
    prior
        Chances over the entries.
    weight
        How often articles turn up as keys in general.
    pair
        A number and a list of buttons that belong together.
    log_own, log_alike
        Shape (observations + 1, entries): logarithm of each observation's likelihood, for the article's own
        key and for one outside the pack that resembles it; 0 for ``start``. The last row is what the pair
        has beyond the product of its two.
    log_other
        Shape (observations + 1,): the same for a key that resembles none.
    start
        Shape (observations + 1, 2): likelihood for a vehicle started by turn, by push; 1 for all other kinds.
    """

    index: KeyIndex
    rates: Rates
    vehicle: Vehicle
    listing: Listing
    pools: Pools
    prior: Prior
    weight: Weight
    judged: tuple[Judged, ...]
    pair: Pair | None
    log_own: Floats
    log_alike: Floats
    log_other: Floats
    start: Floats


@dataclass(frozen=True, slots=True)
class Posterior:
    """Chances after the observations; all that are chances of the vehicle's article sum to 1.

    Attributes
    ----------
    article, outside
        Shapes (entries, 2) and (2,), by start as in :class:`~bittern.engines.key.prior.Prior`.
    own_given_article, own_given_outside
        Shape (entries,) and a number: chance that the shown key is the vehicle's kind, given its article.
    foreign_key, foreign_other
        Shape (entries,) and a number, sum 1: what a key not of the vehicle's kind would be.
    outside_key, outside_other
        Shape (entries,) and a number, sum 1: which article a key outside the pack would resemble.
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
        """Chance of each entry, shape (entries,)."""
        return np.asarray(self.article[:, 0] + self.article[:, 1], dtype=np.float64)

    @property
    def p_outside(self) -> float:
        """Chance that the vehicle's article is not in the pack."""
        return float(self.outside.sum())


def open_case(
    index: KeyIndex,
    vehicle: Vehicle,
    observations: Sequence[Observation],
    rates: Rates,
    apart: Sequence[int] = (),
) -> Case:
    """Return the case with every observation judged; their order does not matter.

    Parameters
    ----------
    apart
        Articles, by their place in the pack, that shall not be in a pool whatever their chance.

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
    listing = list_articles(index, vehicle, rates)
    start = np.array([*(np.ones(2) if one.start is None else one.start for one in judged), np.ones(2)])
    pair = _find_pair(index, judged, weight, rates)
    alone = _tell_apart(index, listing, weight, judged, pair, start.prod(axis=0), rates)
    refused = [index.position[name] for name, _ in vehicle.refused if name in index.position]
    pools = pool_articles(index, weight, np.union1d(alone, np.array([*apart, *refused], dtype=np.int64)))
    terms = _log_terms(judged, pair, pools)
    prior = _refuse(index, vehicle, pools, spread_prior(index, listing, pools, rates))
    return Case(index, rates, vehicle, listing, pools, prior, weight, judged, pair, *terms, start)


def tell_more_apart(case: Case, places: Integers) -> Case:
    """Return the same case with the articles at ``places`` told apart too."""
    pools = pool_articles(case.index, case.weight, np.union1d(case.pools.places, places))
    log_own, log_alike, log_other = _log_terms(case.judged, case.pair, pools)
    prior = spread_prior(case.index, case.listing, pools, case.rates)
    prior = _refuse(case.index, case.vehicle, pools, prior)
    return replace(case, pools=pools, prior=prior, log_own=log_own, log_alike=log_alike, log_other=log_other)


def posterior_of(case: Case, leave_out: int | None = None) -> Posterior:
    """Return the chances after all observations, or after all but one.

    Notes
    -----
    Likelihoods are multiplied as logarithms and scaled by their largest, so that nothing underflows to
    "impossible" however much evidence there is.
    """
    rates, weight = case.rates, case.pools.weight
    kept = np.arange(len(case.log_own)) != (-1 if leave_out is None else leave_out)
    kept[-1] = case.pair is None or leave_out not in case.pair.places
    own, alike, other, scale = _scaled(case.log_own[kept], case.log_alike[kept], case.log_other[kept])
    foreign = (1.0 - rates.foreign_unknown) * weight * own
    foreign_other = rates.foreign_unknown * other
    p_foreign = float(foreign.sum()) + foreign_other
    outside = rates.outside_alike * weight * alike
    outside_other = (1.0 - rates.outside_alike) * other
    p_outside = float(outside.sum()) + outside_other
    key_article = (1.0 - rates.foreign) * own + rates.foreign * p_foreign
    key_outside = (1.0 - rates.foreign) * p_outside + rates.foreign * p_foreign
    start = case.start[kept].prod(axis=0)
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


def _refuse(index: KeyIndex, vehicle: Vehicle, pools: Pools, prior: Prior) -> Prior:
    """Return the prior after the articles that the vehicle refused: evidence, not a deletion."""
    if not vehicle.refused:
        return prior
    article = prior.article.copy()
    for name, p_though_right in vehicle.refused:
        place = index.position.get(name)
        entry = None if place is None else pools.entry_of(place)
        if entry is not None:
            article[entry] *= p_though_right
    total = float(article.sum() + prior.outside.sum())
    return replace(prior, article=article / total, outside=prior.outside / total)


def _tell_apart(
    index: KeyIndex,
    listing: Listing,
    weight: Weight,
    judged: Sequence[Judged],
    pair: Pair | None,
    start: Floats,
    rates: Rates,
) -> Integers:
    """Return the articles that stand alone: those with an identifier like one that was read, the likeliest.

    Notes
    -----
    What is left in the pools has at most the chance of the ``MOST_CANDIDATES`` that are not: for each of the
    three sorts of articles (listed for the vehicle; of its make; any) that many are taken by chances that
    are exact for the sort and too low for an article of two sorts, which is taken with the first.
    """
    if len(index) <= MOST_CANDIDATES:
        return np.arange(len(index))
    labels = [one.key.labels for one in judged if isinstance(one.key, LabelLikelihood)]
    alike = index.classes.articles_of(np.unique(np.concatenate(labels))) if labels else np.zeros(0, np.int64)
    alike = np.sort(alike)
    pools = pool_articles(index, weight, alike)
    own, _, other, _ = _scaled(*_log_terms(judged, pair, pools))
    p_foreign = (1.0 - rates.foreign_unknown) * float(pools.weight @ own) + rates.foreign_unknown * other
    p_key = np.zeros(len(index.signatures))
    p_key[pools.rest] = ((1.0 - rates.foreign) * own + rates.foreign * p_foreign)[len(alike) :]
    of = index.signatures.of
    unlisted = listing.unlisted * float(listing.outside @ start)
    in_general = unlisted * weight.of_articles(listing.places)
    listed = (listing.chance @ start + in_general) * p_key[of[listing.places]]
    made, how_often = weight.of_make
    return np.unique(
        np.concatenate(
            [
                alike,
                likeliest(listing.places, listed, MOST_CANDIDATES),
                likeliest(made, how_often * p_key[of[made]], MOST_CANDIDATES),
                common_heads(index, weight, p_key, MOST_CANDIDATES),
            ]
        )
    )


def _judge(index: KeyIndex, observation: Observation, weight: Weight, rates: Rates) -> Judged:
    if observation.kind in KEY_KINDS:
        return Judged(observation, None, key_likelihood(index, observation, weight, rates))
    return Judged(observation, start_likelihood(observation, rates), None)


def _find_pair(index: KeyIndex, judged: Sequence[Judged], weight: Weight, rates: Rates) -> Pair | None:
    """Return the first number and list of buttons that were got in one way."""
    said = [
        {one.observation.how: i for i, one in enumerate(judged) if one.observation.kind == kind and one.said}
        for kind in ("button_count", "buttons")
    ]
    how = next((how for how in said[0] if how in said[1]), None)
    if how is None:
        return None
    places = said[0][how], said[1][how]
    count, buttons = (judged[place].observation for place in places)
    return Pair(places, find_beyond(index, count, buttons, weight, rates))


def _log_terms(judged: Sequence[Judged], pair: Pair | None, pools: Pools) -> tuple[Floats, Floats, Floats]:
    """Return the logarithms of Case."""
    log_own, log_alike = np.zeros((2, len(judged) + 1, len(pools)))
    log_other = np.zeros(len(judged) + 1)
    for i, one in enumerate(judged):
        if one.key is not None:
            own, alike = one.key.of_values(pools.code[one.observation.kind])
            log_own[i], log_alike[i], log_other[i] = np.log(own), np.log(alike), math.log(one.key.generic)
    if pair is not None:
        log_own[-1] = log_alike[-1] = pair.beyond[pools.code["buttons"]]
    return log_own, log_alike, log_other


def _scaled(log_own: Floats, log_alike: Floats, log_other: Floats) -> tuple[Floats, Floats, float, float]:
    """Return the likelihoods of an own article, of one outside like it, of any other, and their log scale."""
    own, alike, other = log_own.sum(axis=0), log_alike.sum(axis=0), float(log_other.sum())
    scale = max(other, float(own.max(initial=-math.inf)), float(alike.max(initial=-math.inf)))
    return np.exp(own - scale), np.exp(alike - scale), math.exp(other - scale), scale


def _plain(observation: Observation) -> object:
    value = observation.value
    return tuple(sorted(value)) if isinstance(value, tuple) else value
