"""What one could ask next: the questions in words, their possible answers, and how likely each is."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence

import numpy as np

from bittern.core.channel import log_p_read
from bittern.engines.key.evidence import KEY_KINDS, MOST_BUTTONS, Observation
from bittern.engines.key.questions import QUESTIONS
from tests.engines.key.dense.index import FeatureTable, Floats, Integers
from tests.engines.key.dense.likelihood import (
    answered_chance,
    frequency_sd_hz,
    key_likelihood,
    mix_frequency,
    radio_octaves,
    start_likelihood,
)
from tests.engines.key.dense.posterior import Case, Posterior
from tests.engines.key.dense.spread import Likelihood

# Answers told apart for one question; rarer ones count together as "something else", which can only make a
# question look less useful than it is.
_MOST_ANSWERS = 24
# A misread identifier is still nearest to its own label this often.
_RECOVERED = 0.9
# Half-width of the answers told apart about a nominal frequency, in standard deviations.
_REACH_SD = 4.0


def answer_chances(case: Case, posterior: Posterior, kind: str, states: Integers) -> Floats:
    """Return the chance of each answer to ``kind``, shape (answers, len(states) + 2), columns summing to 1.

    Parameters
    ----------
    states
        Places of the articles that have a column each; then come one column for all other articles together
        and one for "not in the pack".

    Notes
    -----
    Posterior predictive: the answer describes the shown key, which may not be of the vehicle's kind, and that
    chance is what the observations so far have made of it. The last row is "cannot be had".
    """
    rest = posterior.p_article.copy()
    rest[states] = 0.0
    rest /= max(float(rest.sum()), 1e-300)
    if kind not in KEY_KINDS:
        return _start_chances(case, posterior, states, rest)
    table = case.index.tables[kind]
    answers = _answers(case, posterior, kind)
    by_value = np.array([one.by_value for one in answers])
    unlisted = np.array([one.unlisted_by_value for one in answers])
    generic = np.array([one.generic for one in answers])
    foreign = by_value @ table.shares(posterior.foreign_key) + posterior.foreign_other * generic
    own = posterior.own_given_article
    each = own[states] * by_value[:, table.code[states]] + np.outer(foreign, 1.0 - own[states])
    others = by_value @ table.shares(rest * own) + float(rest @ (1.0 - own)) * foreign
    outside = unlisted @ table.shares(posterior.outside_key) + posterior.outside_other * generic
    own_outside = posterior.own_given_outside
    not_in_pack = own_outside * outside + (1.0 - own_outside) * foreign
    return _complete(np.column_stack([each, others, not_in_pack]))


def _complete(chances: Floats) -> Floats:
    """Return the table with a row for every answer that was not told apart."""
    chances = np.clip(chances, 0.0, 1.0)
    left = np.clip(1.0 - chances.sum(axis=0), 0.0, 1.0)
    table = np.vstack([chances, left])
    return np.asarray(table / table.sum(axis=0), dtype=np.float64)


def _start_chances(case: Case, posterior: Posterior, states: Integers, rest: Floats) -> Floats:
    how = QUESTIONS["start"].how
    answers = np.array(
        [start_likelihood(Observation("start", value, how), case.rates) for value in ("turn", "push", None)]
    )
    p_article = posterior.p_article
    by_start = posterior.article / np.maximum(p_article, 1e-300)[:, None]
    outside = posterior.outside / max(posterior.p_outside, 1e-300)
    return _complete(answers @ np.column_stack([by_start[states].T, rest @ by_start, outside]))


def _answers(case: Case, posterior: Posterior, kind: str) -> list[Likelihood]:
    """Return the likelihood of each answer that is told apart, "cannot be had" last."""
    table = case.index.tables[kind]
    likely = _likely_values(table, posterior)
    if kind == "fcc_id":
        told_apart = _identifier_answers(case, likely)
    elif kind == "frequency_hz":
        told_apart = _frequency_answers(case, likely)
    else:
        how = QUESTIONS[kind].how
        told_apart = [
            key_likelihood(case.index, Observation(kind, value, how), case.weight, case.rates)
            for value in _observable(kind, [table.values[place] for place in likely])
        ]
    null = key_likelihood(case.index, Observation(kind, None), case.weight, case.rates)
    return [*told_apart, null]


def _likely_values(table: FeatureTable, posterior: Posterior) -> list[int]:
    mass = table.shares(posterior.p_article)
    if table.absent >= 0 and table.values[table.absent] in ("", 0.0):
        mass[table.absent] = 0.0
    order = np.argsort(-mass, kind="stable")[:_MOST_ANSWERS]
    return [int(place) for place in order if mass[place] > 1e-4]


def _observable(kind: str, values: Sequence[Hashable]) -> list[str | int | tuple[str, ...]]:
    if kind == "button_count":
        most = max((int(str(value)) for value in values), default=0)
        return list(range(min(MOST_BUTTONS, most + 2) + 1))
    if kind == "buttons":
        return [tuple(sorted(value)) for value in values if isinstance(value, frozenset)]
    return [str(value) for value in values if value]


def _identifier_answers(case: Case, likely: Sequence[int]) -> list[Likelihood]:
    """Return an answer for each likely label: read as it is, or misread but still nearest to it."""
    table, rates = case.index.tables["fcc_id"], case.rates
    how = QUESTIONS["fcc_id"].how
    channel = rates.channel[how]
    read = np.zeros((len(likely), len(table.values)))
    for row, place in enumerate(likely):
        label = str(table.values[place])
        near = set(case.index.like_labels(label)) & set(likely)
        for other in near | {place}:
            read[row, other] = math.exp(log_p_read(str(table.values[other]), label, channel))
    for row, place in enumerate(likely):
        read[row, place] += _RECOVERED * max(0.0, 1.0 - float(read[:, place].sum()))
    shares = table.shares(case.weight)
    labelled = max(1e-9, 1.0 - (float(shares[table.absent]) if table.absent >= 0 else 0.0))
    elsewhere = rates.elsewhere_fcc.of(how)
    answered = answered_chance("fcc_id", table, rates)
    answers = []
    for p_read in read:
        # An identifier outside the pack is taken for this label too rarely to count.
        another = 0.5 * float(shares @ p_read) / labelled
        by_value = answered * ((1.0 - elsewhere) * p_read + elsewhere * another)
        if table.absent >= 0:
            by_value[table.absent] = answered[table.absent] * another
        unlisted = answered * elsewhere * another
        answers.append(Likelihood(by_value, unlisted, float(shares @ unlisted)))
    return answers


def _frequency_answers(case: Case, likely: Sequence[int]) -> list[Likelihood]:
    """Return an answer for each likely nominal frequency: measured nearest to it and within reach."""
    table, rates = case.index.tables["frequency_hz"], case.rates
    how = QUESTIONS["frequency_hz"].how
    nominal = np.array([float(str(value)) for value in table.values])
    centres = sorted(float(nominal[place]) for place in likely)
    shares = table.shares(case.weight)
    answered = answered_chance("frequency_hz", table, rates)
    elsewhere = rates.elsewhere.of(how)
    answers = []
    for i, centre in enumerate(centres):
        sd_hz = frequency_sd_hz(centre, None, how, rates)
        low, high = centre - _REACH_SD * sd_hz, centre + _REACH_SD * sd_hz
        if i:
            low = max(low, (centre + centres[i - 1]) / 2)
        if i + 1 < len(centres):
            high = min(high, (centre + centres[i + 1]) / 2)
        inside = _p_below((high - nominal) / sd_hz) - _p_below((low - nominal) / sd_hz)
        inside[nominal == 0.0] = 0.0
        free = math.log2(high / low) / radio_octaves()
        background = mix_frequency(float(shares @ inside), free, shares, table, rates)
        inside[nominal == 0.0] = background
        by_value = answered * ((1.0 - elsewhere) * inside + elsewhere * background)
        answers.append(Likelihood(by_value, by_value, background * float(shares @ answered)))
    return answers


def _p_below(z: Floats) -> Floats:
    """Return the standard normal distribution function."""
    return np.array([0.5 * math.erfc(-one / math.sqrt(2.0)) for one in z])
