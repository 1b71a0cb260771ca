"""How likely an observation is, for each value that an article can have and for an article not in the pack.

Every kind but the identifier works the same way: a kernel says how likely the observation is for each
distinct value in the pack; an article outside the pack is judged by the kernel averaged over the pack
(``background``), widened by values that the pack does not have. A part ``elsewhere`` of all observations is
about another thing and follows the background, whatever the article.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from bittern.engines.key.buttons import OTHER_NAMES, count_kernels, join_kernels, list_kernels
from bittern.engines.key.catalogue import STARTS
from bittern.engines.key.evidence import Observation, Value
from bittern.engines.key.identifier import identifier_likelihood
from bittern.engines.key.index import FeatureTable, Floats, KeyIndex, plain_name
from bittern.engines.key.rates import Rates
from bittern.engines.key.spread import LabelLikelihood, Likelihood
from bittern.engines.key.weight import Weight

# A radio that keeps to no frequency of the pack lies anywhere between these, equal chances per octave.
_RADIO_HZ = (1e3, 1e11)


def key_likelihood(
    index: KeyIndex, observation: Observation, weight: Weight, rates: Rates
) -> Likelihood | LabelLikelihood:
    """Return the likelihood of an observation of the shown key.

    Parameters
    ----------
    index
        The pack.
    observation
        Any kind but ``start``.
    weight
        How often each article turns up, from :meth:`KeyIndex.weight_for`.
    rates
        The model's rates.
    """
    if observation.kind == "fcc_id":
        return identifier_likelihood(index, observation, weight, rates)
    table, shares = index.tables[observation.kind], weight.shares(observation.kind)
    if observation.value is None:
        return null_likelihood(observation.kind, table, shares, rates)
    by_value, generic = answer_likelihoods(
        observation.kind, [observation.value], observation.how, table, shares, rates, sd=observation.sd
    )
    return Likelihood(by_value[0], by_value[0], float(generic[0]))


def answer_likelihoods(
    kind: str,
    values: Sequence[Value],
    how: str,
    table: FeatureTable,
    shares: Floats,
    rates: Rates,
    *,
    sd: float | None = None,
) -> tuple[Floats, Floats]:
    """Return the likelihoods of each of ``values``: shapes (answers, values of the table) and (answers,).

    The first is for an article with that value of the feature, the second for one that resembles none.
    """
    kernel, background = _kernels(kind, values, how, sd, table, shares, rates)
    elsewhere = rates.elsewhere.of(how)
    answered = answered_chance(kind, table, rates)
    by_value = ((1.0 - elsewhere) * kernel + elsewhere * background[:, None]) * answered
    return by_value, background * float(shares @ answered)


def find_beyond(
    index: KeyIndex, count: Observation, buttons: Observation, weight: Weight, rates: Rates
) -> Floats:
    """Return what a number and a list of buttons say together beyond what each says.

    Natural logarithm, for each value of ``buttons``, of their likelihood after one look over the product of
    the two. For an article outside the pack that resembles none it is 0.
    """
    how, elsewhere, table = count.how, rates.elsewhere.of(count.how), index.tables["buttons"]
    _, p_count = count_kernels(
        [count.value], index.tables["button_count"], weight.shares("button_count"), rates, how
    )
    p_lists, p_list = list_kernels([buttons.value], table, weight.shares("buttons"), rates, how)
    p_counts, p_both = join_kernels(count.value, buttons.value, table, rates, how)
    both = (1.0 - elsewhere) * p_both + elsewhere * p_count[0] * p_list[0]
    each = ((1.0 - elsewhere) * p_counts + elsewhere * p_count[0]) * (
        (1.0 - elsewhere) * p_lists[0] + elsewhere * p_list[0]
    )
    return np.asarray(np.log(both) - np.log(each), dtype=np.float64)


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


def _kernels(
    kind: str,
    values: Sequence[Value],
    how: str,
    sd: float | None,
    table: FeatureTable,
    shares: Floats,
    rates: Rates,
) -> tuple[Floats, Floats]:
    """Return the likelihood of each answer for each value of the table, and the background of each."""
    if kind == "button_count":
        return count_kernels(values, table, shares, rates, how)
    if kind == "buttons":
        return list_kernels(values, table, shares, rates, how)
    if kind == "frequency_hz":
        hertz = np.array([float(str(value)) for value in values])
        return _frequency_kernels(hertz, sd, how, table, shares, rates)
    return _category_kernels([plain_name(str(value)) for value in values], table, shares, rates, how)


def _category_kernels(
    names: Sequence[str], table: FeatureTable, shares: Floats, rates: Rates, how: str
) -> tuple[Floats, Floats]:
    named = 1.0 - (float(shares[table.absent]) if table.absent >= 0 else 0.0)
    smooth = 0.1
    kinds = len(table.values) - (table.absent >= 0)
    place = np.array([table.place.get(name, -1) for name in names], dtype=np.int64)
    unknown = (rates.category_new if kinds else 1.0) / OTHER_NAMES
    background = np.full(len(names), unknown)
    if named > 0.0 and kinds:
        known = (1.0 - rates.category_new) * ((1.0 - smooth) * shares[place] / named + smooth / kinds)
        background = np.where(place >= 0, known, unknown)
    right = np.zeros((len(names), len(table.values)))
    right[np.flatnonzero(place >= 0), place[place >= 0]] = 1.0
    p_wrong = np.full(len(table.values), rates.category_wrong.of(how))
    if table.absent >= 0:
        p_wrong[table.absent] = 1.0
    return (1.0 - p_wrong) * right + p_wrong * background[:, None], background


def _frequency_kernels(
    hertz: Floats, sd: float | None, how: str, table: FeatureTable, shares: Floats, rates: Rates
) -> tuple[Floats, Floats]:
    sd_hz = np.array([frequency_sd_hz(float(value), sd, how, rates) for value in hertz])[:, None]
    nominal = table.numbers
    density = np.exp(-0.5 * ((hertz[:, None] - nominal) / sd_hz) ** 2) / (sd_hz * math.sqrt(2.0 * math.pi))
    density[:, nominal == 0.0] = 0.0
    free = 1.0 / (hertz * math.log(2.0) * radio_octaves())
    background = mix_frequency(density @ shares, free, shares, table, rates)
    density[:, nominal == 0.0] = background[:, None]
    return density, background


def mix_frequency(in_pack: Floats, free: Floats, shares: Floats, table: FeatureTable, rates: Rates) -> Floats:
    """Return the backgrounds of frequencies: the pack's radios, and radios that keep to none of them."""
    silent = float(shares[table.absent]) if table.absent >= 0 else 0.0
    radios = 1.0 - silent
    # Shares are summed in floating point: what is left of a pack without radios is not quite nothing.
    if radios <= 1e-9:
        return free
    return (1.0 - rates.frequency_free) * in_pack / radios + rates.frequency_free * free
