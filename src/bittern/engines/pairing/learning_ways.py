"""How steps are really left, learnt from visits: Dirichlet priors, shrunk toward the family.

Model. A visit leaves by success or by one of the failures; the prior is a Dirichlet distribution whose mean
is what the sheet says and whose weight is :attr:`Rule.prior_visits` visits. The posterior adds the visits
seen (conjugate: Gelman et al., Bayesian Data Analysis, section 3.4). Before that the failures' odds are
multiplied by the family's factor: failures counted over failures expected, in a Gamma and Poisson model
(section 2.6 there) with the weight of :attr:`Rule.prior_failures` failures for a factor of 1.
"""

from __future__ import annotations

from collections.abc import Iterable

from bittern.core.beta import beta_interval
from bittern.engines.pairing.graph import share_options
from bittern.engines.pairing.learning_records import Rule, Seen
from bittern.engines.pairing.learning_times import Estimate

_PLACES = 3


def find_factor(others: Iterable[Seen], rule: Rule) -> float:
    """Return by which factor failures are more frequent in the family than its sheets say."""
    expected = counted = rule.prior_failures
    for seen in others:
        visits = seen.works + seen.failed
        expected += visits * sum(failure.chance for failure in seen.step.fails)
        counted += seen.failed
    return min(max(counted / expected, 1 / rule.most_factor), rule.most_factor)


def learn_failures(seen: Seen, factor: float, rule: Rule) -> list[Estimate]:
    """Return the chance of each failure in the order written; their sum leaves success its chance."""
    fails = seen.step.fails
    written = sum(failure.chance for failure in fails)
    if not fails or (written <= 0.0 and not seen.failed):
        return [Estimate(0.0, 0.0, 0.0) for _ in fails]
    works = max(0.0, 1.0 - written)
    # Odds, not chances, are scaled: the sum stays below 1.
    scale = factor / (works + factor * written)
    prior = [scale * failure.chance for failure in fails]
    total = rule.prior_visits + seen.works + seen.failed
    alphas = []
    for failure, chance in zip(fails, prior, strict=True):
        # Two failures that lead to one place cannot be told apart in a run: they share what was counted.
        same = [own for other, own in zip(fails, prior, strict=True) if other.to == failure.to]
        part = chance / sum(same) if sum(same) > 0 else 1 / len(same)
        alphas.append(rule.prior_visits * chance + part * seen.fails.get(failure.to, 0.0))
    values = [
        max(round(alpha / total, _PLACES), min(rule.floor, failure.chance))
        for failure, alpha in zip(fails, alphas, strict=True)
    ]
    excess = sum(values) - (0.999 if works > 0.001 else 1.0 - works)
    if excess > 0:
        most = values.index(max(values))
        values[most] = max(0.0, values[most] - excess)
    return [
        Estimate(value, *beta_interval(alpha, total - alpha))
        for value, alpha in zip(values, alphas, strict=True)
    ]


def learn_options(seen: Seen, rule: Rule) -> list[Estimate]:
    """Return the share of each option in the order written; they make 1 together."""
    shares = share_options(seen.step)
    if not shares:
        return []
    counts = [seen.options.get(option.label, 0.0) for option in seen.step.options]
    total = rule.prior_visits + sum(counts)
    alphas = [rule.prior_visits * share + count for share, count in zip(shares, counts, strict=True)]
    values = [
        max(round(alpha / total, _PLACES), min(rule.floor, share))
        for share, alpha in zip(shares, alphas, strict=True)
    ]
    most = values.index(max(values))
    values[most] = round(1.0 - sum(values[:most]) - sum(values[most + 1 :]), 12)
    return [
        Estimate(value, *beta_interval(alpha, total - alpha))
        for value, alpha in zip(values, alphas, strict=True)
    ]
