"""What one could ask next: the questions in words, their possible answers, and how likely each is."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bittern.core.channel import ChannelRates
from bittern.core.readings import find_p_reads
from bittern.engines.key.evidence import KEY_KINDS, MOST_BUTTONS, Observation, Value
from bittern.engines.key.index import Floats, Integers
from bittern.engines.key.labels import are_alike, pairs_of
from bittern.engines.key.likelihood import (
    answer_likelihoods,
    answered_chance,
    frequency_sd_hz,
    mix_frequency,
    radio_octaves,
    start_likelihood,
)
from bittern.engines.key.posterior import Case, Posterior, posterior_of, tell_more_apart

# Answers told apart for one question; rarer ones count together as "something else", which can only make a
# question look less useful than it is.
_MOST_ANSWERS = 24
# A misread identifier is still nearest to its own label this often.
_RECOVERED = 0.9
# Half-width of the answers told apart about a nominal frequency, in standard deviations.
_REACH_SD = 4.0


@dataclass(frozen=True, slots=True)
class Question:
    """A question in words, where to look, and how its answer is usually got."""

    text: str
    where: str
    how: str


QUESTIONS: dict[str, Question] = {
    "fcc_id": Question(
        'What does the label say after "FCC ID"?',
        "On the back of the remote, or inside its case under the battery.",
        "read-aloud",
    ),
    "button_count": Question(
        "How many buttons has the remote?",
        "Count both faces and the edges; a key without buttons counts as 0.",
        "seen",
    ),
    "buttons": Question(
        "What is on each button?",
        "Name each symbol on both faces and the edges, worn ones too.",
        "seen",
    ),
    "start": Question(
        "Is the engine started by turning a key or by pressing a button?",
        "Beside the steering column or on the dashboard.",
        "told",
    ),
    "blade": Question(
        "Which blade has the key?",
        "Compare the blade, or the emergency blade from inside the remote, with the pack's blades.",
        "seen",
    ),
    "frequency_hz": Question(
        "On which frequency does the remote send?",
        "Measure one press at the bench with a receiver, or read it off the case.",
        "measured",
    ),
    "chip": Question(
        "Which chip is in the key?",
        "Measure with a chip reader; the key's bow at the coil.",
        "measured",
    ),
}


def answer_chances(case: Case, posterior: Posterior, kind: str, states: Integers) -> Floats:
    """Return the chance of each answer to ``kind``; see :meth:`Survey.single`."""
    return Survey(case, posterior, states).single(kind)


@dataclass(frozen=True, slots=True)
class _View:
    """The answers to a question about the key, and what decides them.

    Attributes
    ----------
    code
        Shape (entries,): which column each entry has.
    own, alike
        Shape (answers, columns): chance of each answer, for an article's own key and for one outside the
        pack that resembles it; columns sum to 1.
    generic
        Shape (answers,): the same for a key that resembles none.
    """

    code: Integers
    own: Floats
    alike: Floats
    generic: Floats


class Survey:
    """What could be asked of one case, and how likely each answer is in each state.

    Parameters
    ----------
    case, posterior
        The case as it stands.
    states
        Entries (articles told apart) that have a column each; then come one column for all other articles
        together and one for "not in the pack".

    Notes
    -----
    Posterior predictive: an answer describes the shown key, which may not be of the vehicle's kind, and that
    chance is what the observations so far have made of it. Given the key, answers are independent; given a
    state they are not, where the state leaves open which key it is. The last answer is "something else".
    """

    def __init__(self, case: Case, posterior: Posterior, states: Integers) -> None:
        self._case, self._posterior, self._states = case, posterior, states
        self._tell_labels_apart()
        p = self._posterior
        rest = p.p_article.copy()
        rest[self._states] = 0.0
        # With no article left over that state has no chance, and its column may be any.
        self._rest = rest / rest.sum() if rest.sum() > 0.0 else p.p_article / p.p_article.sum()
        self._own = p.own_given_article[self._states]
        self._views: dict[str, _View] = {}
        self._foreign: dict[str, Floats] = {}

    def single(self, kind: str) -> Floats:
        """Return the chance of each answer to ``kind``, shape (answers, states + 2), columns summing to 1."""
        if kind not in KEY_KINDS:
            return self._start_answers @ self._start_given_state
        view, p = self._view(kind), self._posterior
        foreign = self._foreign_answers(kind)
        each = self._own * view.own[:, view.code[self._states]] + np.outer(foreign, 1.0 - self._own)
        rest_own = self._rest * p.own_given_article
        others = view.own @ self._sums(view, rest_own) + float(self._rest.sum() - rest_own.sum()) * foreign
        outside = view.alike @ self._sums(view, p.outside_key) + p.outside_other * view.generic
        not_in_pack = p.own_given_outside * outside + (1.0 - p.own_given_outside) * foreign
        return np.column_stack([each, others, not_in_pack])

    def pair(self, first: str, second: str) -> Floats:
        """Return the chance of both answers, shape (answers, answers, states + 2); two different kinds.

        Each state's table sums to 1, and its sums over either answer are :meth:`single` of the other.
        """
        if first not in KEY_KINDS:
            return self._pair_start(second)
        if second not in KEY_KINDS:
            return self._pair_start(first).transpose(1, 0, 2)
        one, two, p = self._view(first), self._view(second), self._posterior
        foreign = one.own @ self._cross(one, two, p.foreign_key) @ two.own.T
        foreign += p.foreign_other * np.outer(one.generic, two.generic)
        a, b = one.own[:, one.code[self._states]], two.own[:, two.code[self._states]]
        each = self._own * (a[:, None, :] * b[None, :, :])
        each += foreign[:, :, None] * (1.0 - self._own)
        rest_own = self._rest * p.own_given_article
        others = one.own @ self._cross(one, two, rest_own) @ two.own.T
        others += float(self._rest.sum() - rest_own.sum()) * foreign
        outside = one.alike @ self._cross(one, two, p.outside_key) @ two.alike.T
        outside += p.outside_other * np.outer(one.generic, two.generic)
        not_in_pack = p.own_given_outside * outside + (1.0 - p.own_given_outside) * foreign
        return np.concatenate([each, others[:, :, None], not_in_pack[:, :, None]], axis=2)

    def _pair_start(self, kind: str) -> Floats:
        """Return the table of the start and another kind: independent given the article."""
        view, p = self._view(kind), self._posterior
        table = self._start_answers @ self._start_given_state
        pair = table[:, None, :] * self.single(kind)[None, :, :]
        # Not so for all other articles together, of which some start by push and have another key.
        by_start = self._rest[:, None] * self._by_start
        own = by_start * p.own_given_article[:, None]
        columns = view.own.shape[1]
        sums = np.array(
            [np.bincount(view.code, weights=own[:, start], minlength=columns) for start in (0, 1)]
        )
        others = sums @ view.own.T + np.outer((by_start - own).sum(axis=0), self._foreign_answers(kind))
        pair[:, :, -2] = self._start_answers @ others
        return pair

    def _tell_labels_apart(self) -> None:
        """Give articles that share a likely identifier with one of the entries an entry too."""
        case = self._case
        self._labels = _likely_values(case, self._posterior, "fcc_id")
        wanted = case.index.classes.articles_of(np.array(self._labels, dtype=np.int64))
        if len(np.setdiff1d(wanted, case.pools.places)):
            states = case.pools.places[self._states]
            self._case = tell_more_apart(case, wanted)
            self._posterior = posterior_of(self._case)
            self._states = np.searchsorted(self._case.pools.places, states)

    def _view(self, kind: str) -> _View:
        if kind not in self._views:
            self._views[kind] = _look(self._case, self._posterior, kind, self._labels)
        return self._views[kind]

    def _foreign_answers(self, kind: str) -> Floats:
        """Return the chance of each answer where the key is not of the vehicle's kind."""
        if kind not in self._foreign:
            view, p = self._view(kind), self._posterior
            self._foreign[kind] = view.own @ self._sums(view, p.foreign_key) + p.foreign_other * view.generic
        return self._foreign[kind]

    @cached_property
    def _by_start(self) -> Floats:
        p = self._posterior
        return np.asarray(p.article / np.maximum(p.p_article, 1e-300)[:, None], dtype=np.float64)

    @cached_property
    def _start_given_state(self) -> Floats:
        """Return the chance of either start in each state, shape (2, states + 2)."""
        p = self._posterior
        outside = p.outside / max(p.p_outside, 1e-300)
        return np.column_stack([self._by_start[self._states].T, self._rest @ self._by_start, outside])

    @cached_property
    def _start_answers(self) -> Floats:
        """Return the chance of each answer to the start, shape (answers, 2), columns summing to 1."""
        how = QUESTIONS["start"].how
        values = ("turn", "push", None)
        return _complete(
            np.array([start_likelihood(Observation("start", v, how), self._case.rates) for v in values])
        )

    @staticmethod
    def _sums(view: _View, chance: Floats) -> Floats:
        return np.bincount(view.code, weights=chance, minlength=view.own.shape[1]).astype(np.float64)

    @staticmethod
    def _cross(one: _View, two: _View, chance: Floats) -> Floats:
        rows, columns = one.own.shape[1], two.own.shape[1]
        sums = np.bincount(one.code * columns + two.code, weights=chance, minlength=rows * columns)
        return np.asarray(sums.reshape(rows, columns), dtype=np.float64)


def _look(case: Case, posterior: Posterior, kind: str, labels: Sequence[int]) -> _View:
    """Return the answers to ``kind`` that are told apart, "cannot be had" and "something else" after them."""
    if kind == "fcc_id":
        return _identifier_view(case, labels)
    table, shares = case.index.tables[kind], case.weight.shares(kind)
    likely = _likely_values(case, posterior, kind)
    if kind == "frequency_hz":
        own, generic = _frequency_answers(case, likely)
    else:
        values = _observable(kind, [table.values[place] for place in likely])
        own, generic = answer_likelihoods(kind, values, QUESTIONS[kind].how, table, shares, case.rates)
    null = 1.0 - answered_chance(kind, table, case.rates)
    own = _complete(np.vstack([own, null]))
    return _View(case.pools.code[kind], own, own, _complete(np.append(generic, shares @ null)))


def _complete(chances: Floats) -> Floats:
    """Return the table with a row for every answer that was not told apart."""
    chances = np.clip(chances, 0.0, 1.0)
    left = np.clip(1.0 - chances.sum(axis=0), 0.0, 1.0)
    table = np.concatenate([chances, left[None]])
    return np.asarray(table / table.sum(axis=0), dtype=np.float64)


def _likely_values(case: Case, posterior: Posterior, kind: str) -> list[int]:
    """Return the places of the likeliest values; of identifiers, those of articles told apart."""
    table, code, p_article = case.index.tables[kind], case.pools.code[kind], posterior.p_article
    if kind == "fcc_id":
        alone = len(case.pools.places)
        values, at = np.unique(code[:alone], return_inverse=True)
        mass = np.bincount(at.reshape(-1), weights=p_article[:alone], minlength=len(values))
    else:
        values = np.arange(len(table.values))
        mass = np.bincount(code, weights=p_article, minlength=len(values))
    if table.absent >= 0 and table.values[table.absent] in ("", 0.0):
        mass = np.where(values == table.absent, 0.0, mass)
    order = np.argsort(-mass, kind="stable")[:_MOST_ANSWERS]
    return [int(values[place]) for place in order if mass[place] > 1e-4]


def _observable(kind: str, values: Sequence[Hashable]) -> list[Value]:
    if kind == "button_count":
        most = max((int(str(value)) for value in values), default=0)
        return list(range(min(MOST_BUTTONS, most + 2) + 1))
    if kind == "buttons":
        return [tuple(sorted(value)) for value in values if isinstance(value, frozenset)]
    return [str(value) for value in values if value]


def _identifier_view(case: Case, likely: Sequence[int]) -> _View:
    """Return an answer for each likely label: read as it is, or misread but still nearest to it.

    Columns: the likely labels, any other label, none.
    """
    table, rates = case.index.tables["fcc_id"], case.rates
    how, null = QUESTIONS["fcc_id"].how, rates.null["fcc_id"]
    count = len(likely)
    read = _read_each_other([str(table.values[place]) for place in likely], rates.channel[how])
    places = np.array(likely, dtype=np.int64)
    # An identifier outside the pack is taken for one of these labels too rarely to count.
    another = 0.5 * (read @ case.weight.of_labels(places)) / max(1e-9, case.weight.labelled)
    elsewhere = rates.elsewhere_fcc.of(how)
    answered, answered_none = 1.0 - null.has, 1.0 - null.has_not
    columns = np.column_stack([read, np.zeros(count)])
    labelled = answered * ((1.0 - elsewhere) * columns + elsewhere * another[:, None])
    own = np.column_stack([labelled, answered_none * another])
    alike = elsewhere * another[:, None] * np.array([*[answered] * (count + 1), answered_none])
    nulls = np.array([*[null.has] * (count + 1), null.has_not])
    has = case.weight.labelled
    generic = elsewhere * another * (has * answered + (1.0 - has) * answered_none)
    no_answer = has * null.has + (1.0 - has) * null.has_not
    code = case.pools.code["fcc_id"]
    order = np.argsort(places)
    at = np.minimum(np.searchsorted(places[order], code), max(0, count - 1))
    hit = places[order][at] == code if count else np.zeros(len(code), dtype=np.bool_)
    column = np.where(hit, order[at] if count else 0, np.where(code == table.absent, count + 1, count))
    return _View(
        column.astype(np.int64),
        _complete(np.vstack([own, nulls])),
        _complete(np.vstack([alike, nulls])),
        _complete(np.append(generic, no_answer)),
    )


def _read_each_other(labels: Sequence[str], channel: ChannelRates) -> Floats:
    """Return the chance that each label (rows) is read where each (columns) stands."""
    read = np.zeros((len(labels), len(labels)))
    pairs = [pairs_of(label) for label in labels]
    near = [
        (row, column)
        for row, one in enumerate(pairs)
        for column, other in enumerate(pairs)
        if row == column or are_alike(one, other)
    ]
    for (row, column), p in zip(
        near, find_p_reads([labels[c] for _, c in near], [labels[r] for r, _ in near], channel), strict=True
    ):
        read[row, column] = p
    at = np.arange(len(labels))
    read[at, at] += _RECOVERED * np.maximum(0.0, 1.0 - read.sum(axis=0))
    return read


def _frequency_answers(case: Case, likely: Sequence[int]) -> tuple[Floats, Floats]:
    """Return an answer for each likely nominal frequency: measured nearest to it and within reach."""
    table, rates = case.index.tables["frequency_hz"], case.rates
    how = QUESTIONS["frequency_hz"].how
    nominal, shares = table.numbers, case.weight.shares("frequency_hz")
    centres = np.sort(nominal[np.array(likely, dtype=np.int64)])
    sd_hz = np.array([frequency_sd_hz(float(centre), None, how, rates) for centre in centres])
    low, high = centres - _REACH_SD * sd_hz, centres + _REACH_SD * sd_hz
    between = (centres[1:] + centres[:-1]) / 2
    low[1:], high[:-1] = np.maximum(low[1:], between), np.minimum(high[:-1], between)
    inside = _p_below((high[:, None] - nominal) / sd_hz[:, None])
    inside -= _p_below((low[:, None] - nominal) / sd_hz[:, None])
    inside[:, nominal == 0.0] = 0.0
    free = np.log2(high / low) / radio_octaves()
    background = mix_frequency(inside @ shares, free, shares, table, rates)
    inside[:, nominal == 0.0] = background[:, None]
    answered = answered_chance("frequency_hz", table, rates)
    elsewhere = rates.elsewhere.of(how)
    own = answered * ((1.0 - elsewhere) * inside + elsewhere * background[:, None])
    return own, background * float(shares @ answered)


def _p_below(z: Floats) -> Floats:
    """Return the standard normal distribution function."""
    return np.asarray([0.5 * math.erfc(-one / math.sqrt(2.0)) for one in z.ravel()]).reshape(z.shape)
