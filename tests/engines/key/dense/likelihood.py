"""How likely an observation is, for each value that an article can have and for an article not in the pack.

Every kind but the identifier works the same way: a kernel says how likely the observation is for each
distinct value in the pack; an article outside the pack is judged by the kernel averaged over the pack
(``background``), widened by values that the pack does not have. A part ``elsewhere`` of all observations is
about another thing and follows the background, whatever the article.
"""

from __future__ import annotations

import math

import numpy as np

from bittern.engines.key.catalogue import STARTS
from bittern.engines.key.evidence import MOST_BUTTONS, Observation
from bittern.engines.key.rates import Rates
from tests.engines.key.dense.identifier import identifier_likelihood
from tests.engines.key.dense.index import FeatureTable, Floats, KeyIndex, plain_name
from tests.engines.key.dense.spread import Likelihood

# Names that the pack does not know share the chance of "something else" as if there were this many.
_OTHER_NAMES = 20
# Part of the background of counts that keeps to no number of the pack, halving with each further button.
_FREE_COUNTS = 0.15
# Chance that a remote outside the pack has a button whose word the pack does not know.
_NEW_BUTTON = 0.10
# A radio that keeps to no frequency of the pack lies anywhere between these, equal chances per octave.
_RADIO_HZ = (1e3, 1e11)


def key_likelihood(index: KeyIndex, observation: Observation, weight: Floats, rates: Rates) -> Likelihood:
    """Return the likelihood of an observation of the shown key.

    Parameters
    ----------
    index
        The pack.
    observation
        Any kind but ``start``.
    weight
        Shape (articles,), sum 1: how often each article turns up, from :meth:`KeyIndex.weight_for`.
    rates
        The model's rates.
    """
    table = index.tables[observation.kind]
    shares = table.shares(weight)
    if observation.kind == "fcc_id":
        return identifier_likelihood(index, observation, shares, rates)
    if observation.value is None:
        return null_likelihood(observation.kind, table, shares, rates)
    kernel, background = _kernel(observation, table, shares, rates)
    elsewhere = rates.elsewhere.of(observation.how)
    by_value = (1.0 - elsewhere) * kernel + elsewhere * background
    answered = answered_chance(observation.kind, table, rates)
    generic = background * float(shares @ answered)
    return Likelihood(by_value * answered, by_value * answered, generic)


def null_likelihood(kind: str, table: FeatureTable, shares: Floats, rates: Rates) -> Likelihood:
    """Return the likelihood that ``kind`` was asked and cannot be had."""
    by_value = 1.0 - answered_chance(kind, table, rates)
    return Likelihood(by_value, by_value, float(shares @ by_value))


def start_likelihood(observation: Observation, rates: Rates) -> Floats:
    """Return the likelihood of an observed start, shape (2,): for a vehicle started by turn, by push."""
    null = rates.null["start"].has
    if observation.value is None:
        return np.full(2, null)
    wrong = rates.start_wrong.of(observation.how)
    seen = STARTS.index(str(observation.value))
    return (1.0 - null) * np.where(np.arange(2) == seen, 1.0 - wrong, wrong)


def frequency_sd_hz(value: float, sd: float | None, how: str, rates: Rates) -> float:
    """Return the standard deviation, Hz, of a frequency about an article's nominal one.

    Notes
    -----
    Stated or usual error of the measurement, unit-to-unit spread, and for a value not measured but given in
    whole or tenth megahertz the rounding, added as variances.

    Examples
    --------
    >>> round(frequency_sd_hz(433.91e6, 2e4, "measured", Rates()))
    28284
    >>> frequency_sd_hz(433e6, None, "told", Rates()) > 5e5
    True
    """
    if sd is None:
        sd = rates.frequency_sd_hz.of(how)
        if how != "measured":
            step = next((step for step in (1e6, 1e5) if abs(value / step - round(value / step)) < 1e-6), 0.0)
            sd = math.hypot(sd, rates.frequency_round * step)
    return math.hypot(sd, rates.frequency_unit_sd_hz)


def radio_octaves() -> float:
    """Return the width, octaves, of the band in which a radio outside the pack may lie."""
    return math.log2(_RADIO_HZ[1] / _RADIO_HZ[0])


def answered_chance(kind: str, table: FeatureTable, rates: Rates) -> Floats:
    """Return the chance that ``kind`` can be answered, for each value of the table."""
    answered = np.full(len(table.values), 1.0 - rates.null[kind].has)
    if table.absent >= 0:
        answered[table.absent] = 1.0 - rates.null[kind].has_not
    return answered


def _kernel(
    observation: Observation, table: FeatureTable, shares: Floats, rates: Rates
) -> tuple[Floats, float]:
    """Return the likelihood for each value of the table, and the background of things not in the pack."""
    value, how = observation.value, observation.how
    if observation.kind == "button_count":
        return _count_kernel(int(str(value)), table, shares, rates, how)
    if observation.kind == "buttons":
        return _buttons_kernel(_words(value), table, shares, rates, how)
    if observation.kind == "frequency_hz":
        return _frequency_kernel(float(str(value)), observation.sd, how, table, shares, rates)
    return _category_kernel(plain_name(str(value)), table, shares, rates, how)


def p_counted(count: int, seen: int, rates: Rates, how: str) -> float:
    """Return the chance that ``count`` is said where ``seen`` buttons are seen."""
    counts, wrong = np.arange(MOST_BUTTONS + 1), rates.miscount.of(how)
    low = wrong * rates.undercount if seen > 0 else 0.0
    high = wrong * (1.0 - rates.undercount) if seen < MOST_BUTTONS else 0.0
    if count == seen:
        return 1.0 - low - high
    side = counts < seen if count < seen else counts > seen
    away = 0.25 ** np.abs(counts - seen)
    return (low if count < seen else high) * float(away[count] / away[side].sum())


def p_listed(
    said: frozenset[str], seen: frozenset[str], words: frozenset[str], rates: Rates, how: str
) -> float:
    """Return the chance that ``said`` of the pack's ``words`` are said where ``seen`` are seen."""
    chance = 1.0
    for word in words:
        p = 1.0 - rates.missed.of(how) if word in seen else rates.imagined.of(how)
        chance *= p if word in said else 1.0 - p
    return chance


def _looks(true: frozenset[str], overlooked: float) -> list[tuple[float, frozenset[str]]]:
    """Return what may be seen of a set of buttons, with its chance."""
    if not true:
        return [(1.0, true)]
    return [(1.0 - overlooked, true), *((overlooked / len(true), true - {one}) for one in sorted(true))]


def _words(value: object) -> frozenset[str]:
    return frozenset(map(plain_name, value if isinstance(value, tuple) else ()))


def _sets(table: FeatureTable) -> list[frozenset[str]]:
    return [frozenset(value) if isinstance(value, frozenset) else frozenset[str]() for value in table.values]


def find_beyond(
    index: KeyIndex, count: Observation, buttons: Observation, weight: Floats, rates: Rates
) -> Floats:
    """Return, for each article, the logarithm of a count and a list after one look over their product."""
    how, numbers, table = count.how, index.tables["button_count"], index.tables["buttons"]
    elsewhere, number, said = rates.elsewhere.of(how), int(str(count.value)), _words(buttons.value)
    sets = _sets(table)
    words = frozenset[str]().union(*sets)
    p_new = _p_new(len(said - words), rates.imagined_new.of(how))
    _, other_count = _count_kernel(number, numbers, numbers.shares(weight), rates, how)
    _, other_list = _buttons_kernel(said, table, table.shares(weight), rates, how)
    found = []
    for true in sets:
        looks = _looks(true, rates.overlooked)
        each = [
            (p, p_counted(number, len(seen), rates, how), p_new * p_listed(said, seen, words, rates, how))
            for p, seen in looks
        ]
        both = sum(p * a * b for p, a, b in each)
        alone = [sum(p * one for p, one, _ in each), sum(p * one for p, _, one in each)]
        mixed = (1.0 - elsewhere) * both + elsewhere * other_count * other_list
        for p, other in zip(alone, (other_count, other_list), strict=True):
            mixed /= (1.0 - elsewhere) * p + elsewhere * other
        found.append(math.log(mixed))
    return np.array(found)[table.code]


def _count_kernel(
    count: int, table: FeatureTable, shares: Floats, rates: Rates, how: str
) -> tuple[Floats, float]:
    def chance(true: int) -> float:
        if true == 0:
            return p_counted(count, 0, rates, how)
        good, poor = (p_counted(count, seen, rates, how) for seen in (true, true - 1))
        return (1.0 - rates.overlooked) * good + rates.overlooked * poor

    kernel = np.array([chance(min(MOST_BUTTONS, int(str(true)))) for true in table.values])
    free = 0.5 ** (np.arange(MOST_BUTTONS + 1) + 1.0)
    background = (1.0 - _FREE_COUNTS) * float(shares @ kernel) + _FREE_COUNTS * float(
        free[count] / free.sum()
    )
    return kernel, background


def _buttons_kernel(
    seen: frozenset[str], table: FeatureTable, shares: Floats, rates: Rates, how: str
) -> tuple[Floats, float]:
    sets = _sets(table)
    words = frozenset[str]().union(*sets)
    kernel = np.array(
        [
            sum(p * p_listed(seen, one, words, rates, how) for p, one in _looks(true, rates.overlooked))
            for true in sets
        ]
    )
    missed, imagined = rates.missed.of(how), rates.imagined.of(how)
    # Free: every button of the pack by itself, as often as articles have it.
    free = 1.0
    for word in words:
        share = sum(float(s) for s, one in zip(shares, sets, strict=True) if word in one)
        p_word = 0.02 + 0.96 * (share * (1.0 - missed) + (1.0 - share) * imagined)
        free *= p_word if word in seen else 1.0 - p_word
    new_words = len(seen.difference(words))
    kernel = kernel * _p_new(new_words, rates.imagined_new.of(how))
    in_pack = float(shares @ kernel)
    outside = (1.0 - _NEW_BUTTON) * free if not new_words else _NEW_BUTTON * free * _p_names(new_words)
    return kernel, 0.5 * in_pack + 0.5 * outside


def _p_new(words: int, p_any: float) -> float:
    """Return the chance of these words that the pack does not know, when any occur with ``p_any``."""
    return 1.0 - p_any if not words else p_any * _p_names(words)


def _p_names(words: int) -> float:
    # Geometric in number, and each is one of some twenty that it could be.
    return float(0.5**words * _OTHER_NAMES**-words)


def _category_kernel(
    name: str, table: FeatureTable, shares: Floats, rates: Rates, how: str
) -> tuple[Floats, float]:
    values = [str(value) for value in table.values]
    named = 1.0 - (float(shares[table.absent]) if table.absent >= 0 else 0.0)
    smooth = 0.1
    kinds = sum(1 for value in values if value)
    if name in values and named > 0.0:
        share = float(shares[values.index(name)])
        background = (1.0 - rates.category_new) * ((1.0 - smooth) * share / named + smooth / kinds)
    else:
        background = (rates.category_new if kinds else 1.0) / _OTHER_NAMES
    wrong = rates.category_wrong.of(how)
    right = np.array([1.0 if value == name else 0.0 for value in values])
    p_wrong = np.array([wrong if value else 1.0 for value in values])
    return (1.0 - p_wrong) * right + p_wrong * background, background


def _frequency_kernel(
    value: float, sd: float | None, how: str, table: FeatureTable, shares: Floats, rates: Rates
) -> tuple[Floats, float]:
    sd_hz = frequency_sd_hz(value, sd, how, rates)
    nominal = np.array([float(str(hertz)) for hertz in table.values])
    density = np.exp(-0.5 * ((value - nominal) / sd_hz) ** 2) / (sd_hz * math.sqrt(2.0 * math.pi))
    density[nominal == 0.0] = 0.0
    free = 1.0 / (value * math.log(2.0) * radio_octaves())
    background = mix_frequency(float(shares @ density), free, shares, table, rates)
    density[nominal == 0.0] = background
    return density, background


def mix_frequency(in_pack: float, free: float, shares: Floats, table: FeatureTable, rates: Rates) -> float:
    """Return the background of a frequency: the pack's radios, and radios that keep to none of them."""
    silent = float(shares[table.absent]) if table.absent >= 0 else 0.0
    radios = 1.0 - silent
    if radios <= 1e-9:
        return free
    return (1.0 - rates.frequency_free) * in_pack / radios + rates.frequency_free * free
