"""What finished jobs say about errors: how often each way of observing is wrong.

Model. After a job the article is known, so every observation can be compared with it: each is a trial that
went right or wrong. A rate has a Beta prior whose mean is the assumed rate and whose weight is that of
:attr:`~bittern.engines.key.learning.Rule.prior_trials` trials; right and wrong trials add to it.

Whether the key shown was of the vehicle's kind is never recorded. It is a latent variable: each job's chance
of a foreign key follows from its observations under the rates, and trials count as far as the key was the
vehicle's own. Rates and chances are found together by expectation and maximisation (Dempster, Laird and
Rubin, J. R. Statist. Soc. B 39 (1977) 1-38), from the assumed rates on, so the result is a fixed point.

Identifiers have many ways to be misread; one factor per way of reading scales the rates of its channel: the
errors counted over those expected, with a Gamma prior of mean 1.

Not learnt, and left as assumed: frequencies, observations of another thing than the key but for identifiers,
separators and prefixes of identifiers, words that the pack does not know. A number or list with just one
button too few is taken for one overlooked, which it mostly is, so other slips come out a little low. A blade
or chip that was named wrongly and hit the right name by chance counts as right, so that rate comes out low
by that part.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from bittern.core.beta import beta_interval
from bittern.core.channel import ChannelRates
from bittern.engines.key.comparison import MOST_EDITS, OVERLOOKED, Judge, Trial, expected_errors
from bittern.engines.key.index import KeyIndex
from bittern.engines.key.learning import Lesson, Rule, weigh_lesson
from bittern.engines.key.rates import ByHow, NullRates, Rates

FOREIGN = "foreign"
CHANNEL = "channel"
BY_HOW = ("miscount", "missed", "imagined", "category_wrong", "start_wrong", "elsewhere_fcc")
_SCALED = (
    "look_alike", "sound_alike", "mistaken", "swapped", "lost", "doubled", "inserted", "end_lost",
    "start_lost",
)  # fmt: skip
# No factor takes a channel further than this from what was assumed, either way.
_MOST_FACTOR = 8.0
_ROUNDS, _STILL = 200, 1e-9


@dataclass(frozen=True, slots=True)
class LearntRate:
    """A rate as assumed and as learnt.

    Attributes
    ----------
    name
        A field of :class:`~bittern.engines.key.rates.Rates`, ``null:KIND:has`` or ``null:KIND:has-not``, or
        ``channel``, whose value is a factor on the assumed rates.
    how
        The way of observing, or empty.
    low, high
        Interval that holds the rate with a chance of 90 %.
    cases
        Finished jobs with such an observation.
    wrong, trials
        What went wrong of how many trials, as they weigh.
    """

    name: str
    how: str
    assumed: float
    learnt: float
    low: float
    high: float
    cases: int
    wrong: float
    trials: float


@dataclass(slots=True)
class _Sum:
    wrong: float = 0.0
    trials: float = 0.0
    cases: int = 0


@dataclass(slots=True)
class _Reading:
    """Errors counted and expected in identifiers got in one way."""

    found: float = 0.0
    expected: float = 0.0
    cases: int = 0


_Key = tuple[str, str]
_Pattern = tuple[Trial, ...]


@dataclass(slots=True)
class _Gathered:
    """Jobs with the same trials, their weight and number, and what identifiers resembled."""

    weight: dict[_Pattern, float] = field(default_factory=lambda: defaultdict(float))
    cases: dict[_Pattern, int] = field(default_factory=lambda: defaultdict(int))
    readings: dict[_Pattern, dict[str, _Reading]] = field(default_factory=dict)


def learn_rates(
    index: KeyIndex, lessons: Iterable[Lesson], today: date, rates: Rates, rule: Rule
) -> tuple[Rates, tuple[LearntRate, ...]]:
    """Return ``rates`` as learnt from ``lessons`` in any order, and what changed, most moved first."""
    gathered = _gather(index, lessons, today, rates, rule)
    if not gathered.weight:
        return rates, ()
    values = {key: get_rate(rates, key) for pattern in gathered.weight for key in _keys(pattern)}
    if any(one.of_key for pattern in gathered.weight for one in pattern):
        values[FOREIGN, ""] = rates.foreign
    assumed = dict(values)
    for _ in range(_ROUNDS):
        sums = _count(gathered, values)
        new = {key: _posterior(assumed[key], sums[key], rule) for key in values}
        still = all(abs(new[key] - values[key]) <= _STILL for key in values)
        values = new
        if still:
            break
    sums = _count(gathered, values)
    learnt = [_describe(key, assumed[key], values[key], sums[key], rule) for key in values]
    factors = _learn_channels(gathered, values, rule)
    changed = _with_rates(rates, values, {one.how: one.learnt for one in factors})
    return changed, tuple(sorted([*learnt, *factors], key=lambda one: (-_moved(one), one.name, one.how)))


def get_rate(rates: Rates, key: _Key) -> float:
    """Return the rate that ``key``, name and how, stands for."""
    name, how = key
    if name in (FOREIGN, OVERLOOKED):
        return float(getattr(rates, name))
    if name.startswith("null:"):
        _, kind, word = name.split(":")
        return rates.null[kind].has if word == "has" else rates.null[kind].has_not
    by_how: ByHow = getattr(rates, name)
    return by_how.of(how)


def scale_channel(channel: ChannelRates, factor: float) -> ChannelRates:
    """Return the channel with ``factor`` times as many errors; separators and prefixes stay."""
    changed = {name: min(0.2, getattr(channel, name) * factor) for name in _SCALED}
    each = ("look_alike", "sound_alike", "mistaken", "swapped", "lost", "doubled")
    total = sum(changed[name] for name in each)
    if total > 0.5:
        changed |= {name: changed[name] * 0.5 / total for name in each}
    return replace(channel, **changed)


def _gather(index: KeyIndex, lessons: Iterable[Lesson], today: date, rates: Rates, rule: Rule) -> _Gathered:
    gathered, judge = _Gathered(), Judge(index, rates.undercount)
    for lesson in lessons:
        place = index.position.get(lesson.article) if lesson.article else None
        if lesson.outcome != "fitted" or place is None:
            continue
        trials = [trial for one in lesson.observations for trial in judge.compare(one, lesson, place)]
        if not trials:
            continue
        pattern = tuple(
            sorted(trials, key=lambda one: (one.name, one.how, one.wrong, one.right, one.foreign))
        )
        w = weigh_lesson(lesson, today, rule)
        gathered.weight[pattern] += w
        gathered.cases[pattern] += 1
        label = index.articles[place].fcc_id
        for one in lesson.observations:
            if one.kind == "fcc_id" and one.value is not None and label:
                errors = judge.count_errors(label, str(one.value))
                if errors <= MOST_EDITS:
                    at = gathered.readings.setdefault(pattern, {}).setdefault(one.how, _Reading())
                    at.found += w * errors
                    at.expected += w * expected_errors(label, rates.channel[one.how])
                    at.cases += 1
    # In one order whatever the order of the lessons, for sums that are the same to the last digit.
    gathered.weight = {pattern: gathered.weight[pattern] for pattern in sorted(gathered.weight, key=repr)}
    return gathered


def _keys(pattern: _Pattern) -> set[_Key]:
    return {(one.name, one.how) for one in pattern}


def _p_own(pattern: _Pattern, values: Mapping[_Key, float]) -> float:
    """Return the chance that the key of such a job is of the vehicle's kind."""
    if not any(one.of_key for one in pattern):
        return 1.0
    foreign = values[FOREIGN, ""]
    log_own, log_foreign = math.log1p(-foreign), math.log(foreign)
    for one in pattern:
        if one.of_key:
            p = values[one.name, one.how]
            log_own += one.right * math.log1p(-p) + one.wrong * math.log(max(1e-300, p * one.others))
            log_foreign += math.log(one.foreign)
    return 1.0 / (1.0 + math.exp(min(700.0, log_foreign - log_own)))


def _count(gathered: _Gathered, values: Mapping[_Key, float]) -> dict[_Key, _Sum]:
    sums: dict[_Key, _Sum] = {key: _Sum() for key in values}
    for pattern, weight in gathered.weight.items():
        own, cases = _p_own(pattern, values), gathered.cases[pattern]
        if any(one.of_key for one in pattern):
            at = sums[FOREIGN, ""]
            at.wrong += weight * (1.0 - own)
            at.trials += weight
            at.cases += cases
        for one in pattern:
            at, counted = sums[one.name, one.how], weight * (own if one.of_key else 1.0)
            at.wrong += counted * one.wrong
            at.trials += counted * (one.wrong + one.right)
        for key in _keys(pattern):
            sums[key].cases += cases
    return sums


def _posterior(assumed: float, found: _Sum, rule: Rule) -> float:
    if not found.trials:
        return assumed
    return (rule.prior_trials * assumed + found.wrong) / (rule.prior_trials + found.trials)


def _describe(key: _Key, assumed: float, learnt: float, found: _Sum, rule: Rule) -> LearntRate:
    alpha = rule.prior_trials * assumed + found.wrong
    low, high = beta_interval(alpha, rule.prior_trials + found.trials - alpha)
    return LearntRate(*key, assumed, learnt, low, high, found.cases, found.wrong, found.trials)


def _learn_channels(gathered: _Gathered, values: Mapping[_Key, float], rule: Rule) -> list[LearntRate]:
    total: dict[str, _Reading] = {}
    for pattern in gathered.weight:
        for how, one in gathered.readings.get(pattern, {}).items():
            own, at = _p_own(pattern, values), total.setdefault(how, _Reading())
            at.found += own * one.found
            at.expected += own * one.expected
            at.cases += one.cases
    factors = []
    for how, at in sorted(total.items()):
        shape, scale = rule.prior_errors + at.found, rule.prior_errors + at.expected
        factor = min(_MOST_FACTOR, max(1 / _MOST_FACTOR, shape / scale))
        # The cube root of a Gamma variable is nearly normal (Wilson and Hilferty, PNAS 17 (1931) 684-688).
        sd = 1.0 / (3.0 * math.sqrt(shape))
        middle = 1.0 - 1.0 / (9.0 * shape)
        low, high = (max(0.0, middle + side * 1.645 * sd) ** 3 * shape / scale for side in (-1, 1))
        factors.append(LearntRate(CHANNEL, how, 1.0, factor, low, high, at.cases, at.found, at.expected))
    return factors


def _with_rates(rates: Rates, values: Mapping[_Key, float], factors: Mapping[str, float]) -> Rates:
    changed: dict[str, object] = {}
    for name in BY_HOW:
        new = {how.replace("-", "_"): value for (one, how), value in values.items() if one == name}
        if new:
            changed[name] = replace(getattr(rates, name), **new)
    null: dict[str, NullRates] = dict(rates.null)
    for (name, _), value in values.items():
        if name.startswith("null:"):
            _, kind, word = name.split(":")
            null[kind] = null[kind]._replace(**{"has" if word == "has" else "has_not": value})
    channel = {
        how: scale_channel(one, factors[how]) if how in factors else one for how, one in rates.channel.items()
    }
    changed |= {name: values[name, ""] for name in (FOREIGN, OVERLOOKED) if (name, "") in values}
    return replace(rates, null=null, channel=channel, **changed)  # type: ignore[arg-type]


def _moved(one: LearntRate) -> float:
    """Return by how many of its assumed standard deviations a rate moved."""
    if one.name == CHANNEL:
        return abs(one.learnt - 1.0) * math.sqrt(10.0)
    return abs(one.learnt - one.assumed) / math.sqrt(max(1e-9, one.assumed * (1.0 - one.assumed)))
