"""Bayes' rule with the simulator's own parameters: what can be known at best of the vehicle's article.

Exact sums over everything hidden: the vehicle's year and start, whether the customer is careless, whether the
key is of the vehicle's kind and which key it is otherwise, whether it is worn, whether its case was replaced,
whether the hidden button was overlooked, whether the text was badly legible. It knows the parameters, not the
draws: true shares scatter about the pack's, whose expectation is all that a rule without memory can use.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from simulated_shop.belief import Belief
from simulated_shop.customers import (
    BUTTON_WORDS,
    MOULDED_LENGTHS,
    UNLISTED,
    Answer,
    Job,
    care_factor,
    miss_rates,
    pool_of,
)
from simulated_shop.misreading import chances_of_reading, strip_reading
from simulated_shop.pack import BLADES, CHIPS, HIDDEN, Model
from simulated_shop.table import (
    STARTS,
    Floats,
    Table,
    p_push,
    split_start,
    weigh_year,
    weigh_years,
)

# Axes of a likelihood: value or article, new case (no, yes), worn (no, yes), careless (no, yes).
SHAPE = (2, 2, 2)
FEATURES = ("label", "layout", "radio", "blade", "chip")
FEATURE_OF = {
    "fcc_id": "label", "button_count": "layout", "buttons": "layout", "frequency_hz": "radio",
    "blade": "blade", "chip": "chip",
}  # fmt: skip


Listed = tuple[tuple[int, float], ...]
"""Places and shares of the articles that a vehicle's rows name."""
NOTHING_LISTED: tuple[Listed, Listed] = ((), ())
Cell = tuple[tuple[float, float], tuple[Listed, ...], float, float]


class Rule:
    """Likelihoods and priors of one world, made once."""

    def __init__(self, table: Table) -> None:
        self.table = table
        habits = table.habits
        self.pools = {name: pool_of(table, name) for name in FEATURES}
        self.keeps = {
            "layout": habits.keeps_layout, "radio": habits.keeps_radio, "blade": habits.keeps_blade,
            "chip": habits.keeps_chip,
        }  # fmt: skip
        self.absent = {name: np.array([not v for v in table.features[name].values]) for name in FEATURES}
        layouts = table.features["layout"].values
        self.layouts = [value if isinstance(value, frozenset) else frozenset() for value in layouts]
        self.care = np.array([care_factor(habits, careless=False), care_factor(habits, careless=True)])
        self.p_careless = np.array([1.0 - habits.careless, habits.careless])

    def believe(self, job: Job, answers: Mapping[str, Answer]) -> Belief:
        """Return the chances for ``job`` after ``answers``, by kind."""
        table, habits = self.table, self.table.habits
        prior, prior_outside = self.weigh_vehicles(job)
        if "start" in answers:
            start = self.judge_start(answers["start"])
            prior, prior_outside = prior * start[:, :, None], prior_outside * start
        own, missing = self._judge_key(answers)
        worlds = np.einsum(
            "s,w->sw",
            [1.0 - habits.new_case, habits.new_case],
            [1.0 - habits.worn, habits.worn],
        )[:, :, None]
        met_make, met_all = table.met[job.make, -1], table.met["", -1]
        derived = np.stack([table.met[job.make, start] for start in (0, 1)])
        hand, foreign, outside_by_start = self.mix_keys(job, answers, own, missing)
        p_article = prior.sum(axis=1)
        hidden = np.empty((len(met_make) + 1, 2, *SHAPE))
        hidden[:-1, 0] = (1.0 - hand) * np.einsum("cn,nswc->nswc", p_article, own)
        hidden[:-1, 1] = hand * np.einsum("cn,nswc->nswc", p_article, foreign[:-1])
        hidden[-1, 0] = (1.0 - hand) * np.einsum("ct,tswc->swc", prior_outside, outside_by_start)
        hidden[-1, 1] = hand * prior_outside.sum(axis=1) * foreign[-1]
        hidden *= worlds
        total = float(hidden.sum())
        hidden /= total
        chance = hidden.sum(axis=(1, 2, 3, 4))
        spread = (met_make + met_all)[:, None, None, None] * own
        base = derived.mean(axis=0)[:, None, None, None] * missing
        return Belief(
            article=chance[:-1],
            outside=float(chance[-1]),
            hidden=hidden,
            foreign=spread / np.maximum(spread.sum(axis=0), 1e-300),
            missing=base / np.maximum(base.sum(axis=0), 1e-300),
            start=self._start_given(prior, prior_outside),
        )

    def mix_keys(
        self, job: Job, answers: Mapping[str, Answer], own: Floats, missing: Floats
    ) -> tuple[float, Floats, Floats]:
        """Return how often a key is not the vehicle's, and the chance of ``answers`` for such keys.

        Shapes (articles + 1, 2, 2, 2), by the vehicle's article (the last: outside), for a key of another
        kind; (2, 2, 2, 2), by start, for the key of a vehicle outside the pack.
        """
        table, habits = self.table, self.table.habits
        met_make, met_all = table.met[job.make, -1], table.met["", -1]
        # Keys that are not the vehicle's: any of the pack, one bought for its looks, one that nobody lists.
        anyhow = np.einsum("n,nswc->swc", met_all, own)
        unknown = np.einsum("n,nswc->swc", met_all, missing)
        alike_of = np.empty((len(met_make) + 1, *SHAPE))
        alike_of[-1] = np.einsum("n,nswc->swc", met_make, own)
        for kind in np.unique(table.kind):
            held = met_make * (table.kind == kind)
            total = float(held.sum())
            alike = np.einsum("n,nswc->swc", held / total, own) if total > 0 else anyhow
            alike_of[:-1][table.kind == kind] = alike
        p_unknown, p_alike = habits.second_hand_unknown, habits.second_hand_alike
        foreign = p_unknown * unknown + p_alike * alike_of + (1.0 - p_unknown - p_alike) * anyhow
        derived = np.stack([table.met[job.make, start] for start in (0, 1)])
        return habits.second_hand, foreign, np.einsum("tn,nswc->tswc", derived, missing)

    def weigh_vehicles(self, job: Job) -> tuple[Floats, Floats]:
        """Return priors by carelessness, start and article, shapes (2, 2, articles), outside (2, 2)."""
        table, habits = self.table, self.table.habits
        prior, outside = np.zeros((2, 2, len(table.names))), np.zeros((2, 2))
        unlisted = [weigh_year(year) for year in range(2005, 2026)]
        for weight, model in self._list_models(job):
            years = (
                dict(zip(range(2005, 2026), np.array(unlisted) / sum(unlisted), strict=True))
                if model is None
                else weigh_years(model, habits)
            )
            for year, p_year in years.items():
                told = weight * p_year * self.p_careless * self._judge_year(job, year)
                if not told.any():
                    continue
                starts, listed, gap, new = self._describe_cell(model, year)
                for start in (0, 1):
                    held = told * starts[start]
                    prior[:, start] += gap * held[:, None] * table.gap(job.make, start)
                    left = 1.0 - gap - new
                    for place, share in listed[start]:
                        prior[:, start, place] += held * (1.0 - gap - new) * share
                        left -= (1.0 - gap - new) * share
                    outside[:, start] += held * (new + max(0.0, left))
        return prior, outside

    def _list_models(self, job: Job) -> list[tuple[float, Model | None]]:
        """Return the models that the vehicle may be of, with weights; None is one that the pack has not."""
        if job.model == UNLISTED:
            return [(1.0, None)]
        if job.model:
            return [(1.0, self.table.models[job.make, job.model])]
        models = [one for one in self.table.world.models if one.make == job.make]
        total = sum(one.popularity for one in models)
        missing = self.table.habits.model_missing
        return [(missing, None), *(((1.0 - missing) * one.popularity / total, one) for one in models)]

    def _describe_cell(self, model: Model | None, year: int) -> Cell:
        """Return chances of the starts, articles by start, and the chances of a gap and a new version."""
        habits = self.table.habits
        if model is None:
            push, known = p_push(year, habits), habits.missing_model_known
            return (1.0 - push, push), NOTHING_LISTED, known, 1.0 - known
        nearest = year if year in model.years else model.years[-1]
        listed = tuple(
            tuple((self.table.place[one.article], one.share) for one in model.cells.get((nearest, start), ()))
            for start in STARTS
        )
        gap, new = habits.fitment_gap, habits.new_version
        if year not in model.years:
            gap, new = habits.uncovered_gap, 1.0 - habits.uncovered_same - habits.uncovered_gap
        return split_start(model, nearest, habits), listed, gap, new

    def _judge_year(self, job: Job, year: int) -> Floats:
        """Return the chance of the year told, by carelessness."""
        if job.year is None:
            return np.ones(2)
        away = job.year - year
        if job.year_sure:
            return np.full(2, float(away == 0))
        habits = self.table.habits
        one, two = habits.year_off * self.care, habits.year_two_off * self.care
        side = habits.year_late if away > 0 else 1.0 - habits.year_late
        if away == 0:
            return np.asarray(1.0 - one - two, dtype=np.float64)
        return np.asarray(side * {1: one, 2: two}.get(abs(away), np.zeros(2)), dtype=np.float64)

    def judge_start(self, answer: Answer) -> Floats:
        """Return the chance of the answer, by carelessness and true start."""
        habits = self.table.habits
        if answer.value is None:
            return np.full((2, 2), habits.no_start)
        wrong = habits.start_mixed * self.care if answer.how == "told" else np.zeros(2)
        seen = STARTS.index(str(answer.value))
        right = np.arange(2) == seen
        answered = 1.0 - habits.no_start
        return np.asarray(answered * np.where(right, 1.0 - wrong[:, None], wrong[:, None]), np.float64)

    def _start_given(self, prior: Floats, prior_outside: Floats) -> Floats:
        by_start = np.vstack([prior.sum(axis=0).T, prior_outside.sum(axis=0)])
        return by_start / np.maximum(by_start.sum(axis=1, keepdims=True), 1e-300)

    def _judge_key(self, answers: Mapping[str, Answer]) -> tuple[Floats, Floats]:
        """Return the chance of all answers for each article as key, and for a key derived from each."""
        count = len(self.table.names)
        own, missing = np.ones((count, *SHAPE)), np.ones((count, *SHAPE))
        for name in FEATURES:
            about = {kind: one for kind, one in answers.items() if FEATURE_OF.get(kind) == name}
            if not about:
                continue
            known, derived = self.judge_feature(name, about)
            code = self.table.features[name].code
            own *= known[code]
            missing *= derived[code]
        return own, missing

    def judge_feature(self, name: str, about: Mapping[str, Answer]) -> tuple[Floats, Floats]:
        """Return the chance of the answers about one feature, by value, and by the value derived from."""
        if name == "label":
            return self._judge_label(about["fcc_id"])
        if name == "layout":
            known = self._judge_layout(about)
        elif name == "radio":
            known = self._judge_radio(about["frequency_hz"])
        else:
            known = self._judge_name(name, about[name])
        pool = np.einsum("v,vswc->swc", self.pools[name], known)
        derived = self.keeps[name] * known + (1.0 - self.keeps[name]) * pool
        derived[self.absent[name]] = known[self.absent[name]]
        return known, derived

    def _judge_label(self, answer: Answer) -> tuple[Floats, Floats]:
        habits, labels, absent = self.table.habits, self.table.labels, self.absent["label"]
        shape = (len(absent), *SHAPE)
        known, derived = np.empty(shape), np.empty(shape)
        silent = np.array([habits.no_label_read, habits.worn_no_label_read])
        bare = habits.new_case_bare
        if answer.value is None:
            known[:, 0] = silent[:, None]
            known[:, 1] = (bare + (1.0 - bare) * silent)[:, None]
            known[absent] = habits.unlabelled_silent
            return known, known
        phone, reading = answer.how == "read-aloud", strip_reading(str(answer.value))
        good, bad = (
            chances_of_reading(
                labels.codes, labels.lengths, labels.hyphened, reading, habits, phone=phone, bad=legible
            )
            for legible in (False, True)
        )
        p_bad = np.array([habits.text_bad, habits.worn_text_bad])
        read = good[:, None] * (1.0 - p_bad) + bad[:, None] * p_bad
        anything = read[list(labels.any_at)].mean(axis=0)
        other = habits.other_thing * self.care if phone else np.zeros(2)
        read = read[:, :, None] * (1.0 - other) + anything[:, None] * other
        read *= (1.0 - silent)[:, None]
        replaced = (1.0 - bare) * np.einsum("v,vwc->wc", self.pools["label"], read[: labels.known])
        sibling, same = habits.sibling_number, habits.sibling_grantee
        moulded = (1.0 - habits.unlabelled_silent) * p_moulded(reading)
        family = read[labels.patterns] * 100.0
        np.subtract.at(family, labels.pattern, read[: labels.known])
        family = np.maximum(family, 0.0) / np.maximum(1, 100 - labels.used)[:, None, None]
        grantee = np.stack([read[list(places)].mean(axis=0) for places in labels.grantees])
        anything = read[list(labels.any_at)].mean(axis=0)
        known[:, 0] = read[: labels.known]
        derived[:, 0] = (
            sibling * family[labels.pattern]
            + same * grantee[labels.grantee]
            + (1.0 - sibling - same) * anything
        )
        known[:, 1] = derived[:, 1] = replaced
        known[absent] = derived[absent] = moulded
        return known, derived

    def _judge_layout(self, about: Mapping[str, Answer]) -> Floats:
        habits = self.table.habits
        known = np.empty((len(self.layouts), *SHAPE))
        for place, layout in enumerate(self.layouts):
            total = np.zeros(2)
            for overlooked, chance in ((False, 1.0 - habits.hidden_missed), (True, habits.hidden_missed)):
                visible = layout - {HIDDEN} if overlooked else layout
                p = np.full(2, chance)
                if "button_count" in about:
                    p = p * self._judge_count(about["button_count"], len(visible))
                if "buttons" in about:
                    p = p * self._judge_buttons(about["buttons"], layout, visible)
                total += p
            known[place] = total
        pool = np.einsum("v,vswc->swc", self.pools["layout"], known)[1]
        other = habits.new_case_other_layout
        has = ~self.absent["layout"]
        known[has, 1] = (1.0 - other) * known[has, 1] + other * pool
        return known

    def _judge_count(self, answer: Answer, visible: int) -> Floats:
        habits = self.table.habits
        if answer.value is None:
            return np.full(2, habits.no_count)
        told = answer.how == "told"
        wrong = habits.told_miscounted * self.care if told else np.full(2, habits.miscounted)
        chance = np.zeros(2)
        said = int(str(answer.value))
        chance += (said == visible) * (1.0 - wrong)
        chance += (said == max(0, visible - 1)) * wrong * habits.undercount
        chance += (said == visible + 1) * wrong * (1.0 - habits.undercount)
        return (1.0 - habits.no_count) * chance

    def _judge_buttons(self, answer: Answer, layout: frozenset[str], visible: frozenset[str]) -> Floats:
        habits = self.table.habits
        if answer.value is None:
            return np.full(2, habits.no_buttons)
        said = set(answer.value) if isinstance(answer.value, tuple) else set()
        phone = answer.how == "told"
        chance = np.full(2, 1.0 - habits.no_buttons)
        for careless in (0, 1):
            missed, imagined = miss_rates(habits, phone=phone, factor=float(self.care[careless]))
            for word in BUTTON_WORDS:
                p_said = imagined if word not in layout else 1.0 - missed if word in visible else 0.0
                chance[careless] *= p_said if word in said else 1.0 - p_said
        return chance

    def _judge_radio(self, answer: Answer) -> Floats:
        habits, absent = self.table.habits, self.absent["radio"]
        known = np.empty((len(absent), *SHAPE))
        silent = np.array([habits.no_radio, habits.worn_no_radio])[:, None]
        if answer.value is None:
            known[:] = silent
            known[absent] = habits.featureless_silent
            return known
        nominal = np.array([float(str(value)) for value in self.table.features["radio"].values])
        density = np.zeros(len(nominal))
        for sd_hz, part in (
            (habits.radio_sd_hz, 1.0 - habits.radio_wide),
            (habits.radio_wide_sd_hz, habits.radio_wide),
        ):
            away = (float(str(answer.value)) - nominal) / sd_hz
            # A density per megahertz keeps the numbers near 1.
            density += part * np.exp(-0.5 * away**2) / (sd_hz / 1e6 * np.sqrt(2.0 * np.pi))
        stray = float(self.pools["radio"] @ density)
        density = (1.0 - habits.radio_stray) * density + habits.radio_stray * stray
        known[:] = (1.0 - silent) * density[:, None, None, None]
        known[absent] = (1.0 - habits.featureless_silent) * stray
        return known

    def _judge_name(self, name: str, answer: Answer) -> Floats:
        """Return the chance of a blade or chip named."""
        habits, values = self.table.habits, [str(value) for value in self.table.features[name].values]
        known = np.empty((len(values), *SHAPE))
        silent = habits.no_blade if name == "blade" else habits.no_chip
        every = BLADES if name == "blade" else CHIPS
        for place, value in enumerate(values):
            if answer.value is None:
                known[place] = silent if value else habits.featureless_silent
            elif not value:
                known[place] = (1.0 - habits.featureless_silent) / len(every)
            else:
                known[place] = (1.0 - silent) * self._p_named(name, value, str(answer.value))
        return known

    def _p_named(self, name: str, true: str, said: str) -> float:
        habits = self.table.habits
        if name == "chip":
            return 1.0 - habits.chip_mistaken if said == true else habits.chip_mistaken / (len(CHIPS) - 1)
        if said == true:
            return 1.0 - habits.blade_mistaken
        alike = [one for one in BLADES if one[:-1] == true[:-1] and one != true]
        return habits.blade_mistaken / len(alike) if said in alike else 0.0


def p_moulded(reading: str) -> float:
    """Return the chance of a number moulded in the case of a key without an identifier."""
    if not reading.isdigit() or len(reading) not in MOULDED_LENGTHS:
        return 0.0
    return float(10.0 ** -len(reading) / len(MOULDED_LENGTHS))
