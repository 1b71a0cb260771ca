"""The decision of the Bayes rule: which question, if any, is worth its cost, looking two answers ahead.

Answers are predicted for every hidden state, so that a question's worth counts what the answers so far say of
the key being second-hand or worn. Rare answers count together, and a garbled identifier counts as read right;
both matter only for which question is asked: beliefs after an answer are exact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.key.decision import Costs
from simulated_shop.bayes import FEATURE_OF, SHAPE, Belief, Rule
from simulated_shop.customers import Answer, Job
from simulated_shop.misreading import chances_of_reading
from simulated_shop.pack import HIDDEN
from simulated_shop.table import STARTS, Floats

MOST_STATES = 16
"""Articles with a state of their own; the rest are one state, in which no order is right."""
MOST_VALUES = 10
HIDDEN_STATES = 16


@dataclass(frozen=True, slots=True)
class Worth:
    """What asking would save after its cost, two answers ahead, and the question (empty: none pays)."""

    question: str
    net_saving: float


def list_utilities(count: int, costs: Costs) -> Floats:
    """Return utilities (acts, states): order each of ``count`` articles, or search elsewhere."""
    utility = np.full((count + 1, count + 2), -costs.wrong)
    utility[np.arange(count), np.arange(count)] = 0.0
    utility[count] = -costs.needless_search
    utility[count, -1] = 0.0
    return utility


def choose_question(
    rule: Rule, job: Job, belief: Belief, open_kinds: Sequence[str], costs: Costs, *, depth: int = 2
) -> Worth:
    """Return the question worth most among those that can be asked and were not."""
    states = np.argsort(-belief.article, kind="stable")[:MOST_STATES]
    joint = _gather(belief.hidden, states).reshape(len(states) + 2, HIDDEN_STATES)
    utility = list_utilities(len(states), costs)
    rows = {
        kind: _predict(rule, job, belief, kind, states).reshape(-1, len(states) + 2, HIDDEN_STATES)
        for kind in open_kinds
    }
    stop = float((utility @ joint.sum(axis=1)).max())
    best = Worth("", 0.0)
    for kind, row in rows.items():
        others = {other: rows[other] for other in rows if other != kind} if depth > 1 else {}
        after = row * joint[None]
        value = _value_after(after, others, utility, costs) - costs.of_question(kind)
        if value - stop > best.net_saving + 1e-9:
            best = Worth(kind, value - stop)
    return best


def _value_after(after: Floats, others: Mapping[str, Floats], utility: Floats, costs: Costs) -> float:
    """Return the expected value after an answer: act, or ask one of ``others`` first."""
    by_state = after.sum(axis=2)
    best = (by_state @ utility.T).max(axis=1)
    p_answer = by_state.sum(axis=1)
    for kind, row in others.items():
        both = np.matmul(after.transpose(1, 0, 2), row.transpose(1, 2, 0))
        value = np.tensordot(utility, both, axes=(1, 0)).max(axis=0).sum(axis=1)
        best = np.maximum(best, value - costs.of_question(kind) * p_answer)
    return float(best.sum())


def _gather(hidden: Floats, states: NDArray[np.int64]) -> Floats:
    """Return rows of ``states``, of all other articles together, and of outside."""
    rest = hidden[:-1].sum(axis=0) - hidden[states].sum(axis=0)
    return np.concatenate([hidden[states], np.maximum(rest, 0.0)[None], hidden[-1:]])


def _predict(rule: Rule, job: Job, belief: Belief, kind: str, states: NDArray[np.int64]) -> Floats:
    """Return chances of the answers to ``kind``, shape (answers, states + 2, 2, new case, worn, careless)."""
    if kind == "start":
        return _predict_start(rule, job, belief, states)
    name = FEATURE_OF[kind]
    code = rule.table.features[name].code
    tables = _answer_tables(rule, job, belief, kind, states)
    rows = np.empty((len(tables) + 1, len(states) + 2, 2, *SHAPE))
    mass = belief.hidden[:-1, 0].copy()
    mass[states] = 0.0
    mass /= np.maximum(mass.sum(axis=0), 1e-300)
    count = len(rule.table.features[name].values)
    by_value = np.zeros((3, count, *SHAPE))
    for place, weights in enumerate((mass, belief.missing, belief.foreign)):
        np.add.at(by_value[place], code, weights)
    for answer, (known, derived) in enumerate(tables):
        rows[answer, :-2, 0] = known[code[states]]
        rows[answer, -2, 0] = (by_value[0] * known).sum(axis=0)
        rows[answer, -1, 0] = (by_value[1] * derived).sum(axis=0)
        rows[answer, :, 1] = (by_value[2] * known).sum(axis=0)
    return _complete(rows)


def _complete(rows: Floats) -> Floats:
    """Fill the last row with whatever answer is none of the others; make the chances sum to 1."""
    rows[-1] = np.maximum(0.0, 1.0 - rows[:-1].sum(axis=0))
    return np.asarray(rows / rows.sum(axis=0))


def _predict_start(rule: Rule, job: Job, belief: Belief, states: NDArray[np.int64]) -> Floats:
    how = job.answers["start"].how
    by_start = np.vstack([belief.start[states], belief.start[:-1].mean(axis=0)[None], belief.start[-1:]])
    rest = np.maximum(belief.article, 0.0).copy()
    rest[states] = 0.0
    if rest.sum() > 0:
        by_start[-2] = rest @ belief.start[:-1] / rest.sum()
    rows = np.empty((4, len(states) + 2, 2, *SHAPE))
    for answer, value in enumerate((*STARTS, None)):
        chance = by_start @ rule.judge_start(Answer(value, how)).T
        rows[answer] = chance[:, None, None, None, :]
    return _complete(rows)


def _answer_tables(
    rule: Rule, job: Job, belief: Belief, kind: str, states: NDArray[np.int64]
) -> list[tuple[Floats, Floats]]:
    """Return for each answer its chance by value, and by the value derived from."""
    name, how = FEATURE_OF[kind], job.answers[kind].how
    values = _likely_values(rule, belief, name)
    if kind == "fcc_id":
        return _label_tables(rule, values, how)
    if kind == "frequency_hz":
        return _radio_tables(rule, values)
    said: list[str | int | tuple[str, ...]] = []
    if kind == "button_count":
        said = list(range(8))
    elif kind == "buttons":
        sets = [rule.layouts[place] for place in values]
        said = sorted({tuple(sorted(one)) for held in sets for one in (held, held - {HIDDEN})})
    else:
        said = [str(value) for place in values if (value := rule.table.features[name].values[place])]
    return [rule.judge_feature(name, {kind: Answer(value, how)}) for value in (*said, None)]


def _likely_values(rule: Rule, belief: Belief, name: str) -> list[int]:
    feature = rule.table.features[name]
    mass = np.bincount(feature.code, weights=belief.article, minlength=len(feature.values))
    mass[rule.absent[name]] = 0.0
    return [int(place) for place in np.argsort(-mass, kind="stable")[:MOST_VALUES] if mass[place] > 1e-4]


def _radio_tables(rule: Rule, values: Sequence[int]) -> list[tuple[Floats, Floats]]:
    """Return tables of the nominal frequency that a measurement is nearest to."""
    habits, absent = rule.table.habits, rule.absent["radio"]
    silent = rule.judge_feature("radio", {"frequency_hz": Answer(None, "measured")})
    tables = []
    for place in values:
        known = np.full((len(absent), *SHAPE), habits.radio_stray * rule.pools["radio"][place])
        known[place] += 1.0 - habits.radio_stray
        known[absent] = rule.pools["radio"][place]
        known *= 1.0 - silent[0]
        pool = np.einsum("v,vswc->swc", rule.pools["radio"], known)
        derived = habits.keeps_radio * known + (1.0 - habits.keeps_radio) * pool
        derived[absent] = known[absent]
        tables.append((known, derived))
    return [*tables, silent]


def _label_tables(rule: Rule, values: Sequence[int], how: str) -> list[tuple[Floats, Floats]]:
    """Return tables of reading each likely identifier exactly, a garbled one counting as read right."""
    table, phone = rule.table, how == "read-aloud"
    habits, labels, absent = table.habits, table.labels, rule.absent["label"]
    places = list(values)
    read = np.zeros((2, len(places), len(places)))
    for row, place in enumerate(places):
        text = str(table.features["label"].values[place]).replace("-", "")
        for bad in (0, 1):
            read[bad, row] = chances_of_reading(
                labels.codes[places], labels.lengths[places], np.zeros(len(places)), text, habits,
                phone=phone, bad=bool(bad),
            )  # fmt: skip
    for bad in (0, 1):
        read[bad][np.diag_indices(len(places))] += np.maximum(0.0, 1.0 - read[bad].sum(axis=0))
    p_bad = np.array([habits.text_bad, habits.worn_text_bad])
    by_wear = read[0][:, :, None] * (1.0 - p_bad) + read[1][:, :, None] * p_bad
    silent = rule.judge_feature("label", {"fcc_id": Answer(None, how)})
    answered = 1.0 - silent[0]
    other = habits.other_thing * rule.care if phone else np.zeros(2)
    tables = []
    for row, place in enumerate(places):
        known = np.zeros((len(absent), *SHAPE))
        known[places, 0] = by_wear[row][:, :, None] * (1.0 - other)
        known[:, 1] = rule.pools["label"][place]
        known[absent] = 0.0
        known *= answered
        derived = known.copy()
        # An identifier outside the pack is taken for one in it too rarely to count here.
        derived[:, 0] = 0.0
        tables.append((known, derived))
    return [*tables, silent]
