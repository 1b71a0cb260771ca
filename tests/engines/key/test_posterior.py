"""The posterior against enumeration by hand, and its behaviour when evidence is odd."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key.errors import ObservationError
from bittern.engines.key.evidence import HOWS, Observation, Vehicle
from bittern.engines.key.index import Floats, KeyIndex
from bittern.engines.key.likelihood import key_likelihood, start_likelihood
from bittern.engines.key.posterior import Posterior, open_case, posterior_of
from bittern.engines.key.prior import prior_of
from bittern.engines.key.rates import ByHow, Rates
from bittern.engines.key.spread import LabelLikelihood, Likelihood
from tests.engines.key.toy import ONE_2015, ONE_2016, toy_catalogue

INDEX = KeyIndex(toy_catalogue())
RATES = Rates()
NAMES = [one.article for one in INDEX.articles]


def judge(vehicle: Vehicle, *observations: Observation) -> Posterior:
    return posterior_of(open_case(INDEX, vehicle, observations, RATES))


def values_of(one: Likelihood | LabelLikelihood) -> Floats:
    assert isinstance(one, Likelihood)
    return one.by_value


def p_of(posterior: Posterior, name: str) -> float:
    return float(posterior.p_article[NAMES.index(name)])


def test_the_prior_is_that_worked_out_by_hand() -> None:
    # Told 2016: 2015, 2016, 2017 with .03, .94, .03. 2015 has turn only, the others turn and push alike.
    turn = {"T-2": 0.03 * 0.5 + 0.97 * 0.25, "T-3": 0.03 * 0.3 + 0.97 * 0.15, "M-0": 0.03 * 0.1, "P-4": 0.0}
    push = {"P-4": 0.97 * 0.45}
    left = [0.03 * 0.1 + 0.97 * 0.1, 0.97 * 0.05]
    outside = [0.93 * one + 0.035 for one in left]
    prior = prior_of(INDEX, ONE_2016, RATES)
    weight = INDEX.weight_for("Heron", RATES)
    for i, name in enumerate(NAMES):
        expected = [0.93 * turn.get(name, 0.0), 0.93 * push.get(name, 0.0)]
        expected = [e + 0.5 * weight.by_article[i] * o for e, o in zip(expected, outside, strict=True)]
        assert prior.article[i].tolist() == pytest.approx(expected)
    # 2016 has shares .5 and .3 for turn: .2 left over; 2015 has .1 more.
    left = [0.03 * 0.1 + 0.97 * 0.5 * 0.2, 0.97 * 0.5 * 0.1]
    assert prior.outside.tolist() == pytest.approx([0.5 * (0.93 * one + 0.035) for one in left])


def test_wrong_numbers_of_buttons_are_mostly_too_low() -> None:
    table, rates = INDEX.tables["button_count"], Rates(elsewhere=ByHow(0.0, 0.0, 0.0, 0.0, 0.0))
    weight = INDEX.weight_for("Heron", rates)

    def p_counted(count: int, true: int) -> float:
        one = key_likelihood(INDEX, Observation("button_count", count, "seen"), weight, rates)
        return float(values_of(one)[table.place[true]]) / (1.0 - rates.null["button_count"].has)

    wrong, over, low = rates.miscount.seen, rates.overlooked, rates.undercount
    # Of numbers below, each is four times rarer than the one above it: of 2, 1 and 0 for 3, of 1 and 0 for 2.
    assert p_counted(3, 3) == pytest.approx(
        (1 - over) * (1 - wrong) + over * wrong * (1 - low) * 0.75, rel=1e-3
    )
    below = (1 - over) * wrong * low + over * (1 - wrong * (1 - low))
    assert sum(p_counted(count, 3) for count in range(3)) == pytest.approx(below)
    assert p_counted(2, 3) > 5 * p_counted(4, 3)
    # Of no button none can be overlooked, or passed over in counting.
    assert p_counted(0, 0) == pytest.approx(1.0 - (1.0 - low) * wrong)


def test_a_button_overlooked_in_a_list_is_overlooked_in_the_number_too() -> None:
    vehicle, three = Vehicle(make="Heron"), next(one for one in INDEX.articles if len(one.buttons) == 3)
    fewer = three.buttons[:-1]
    number = Observation("button_count", 2, "seen")

    def weigh(*seen: Observation) -> float:
        return p_of(judge(vehicle, *seen), three.article)

    together = weigh(number, Observation("buttons", fewer, "seen"))
    # The list after the number says little more; got another way it is a second look.
    apart = weigh(number, Observation("buttons", fewer, "told"))
    assert together > 1.5 * apart
    assert weigh(Observation("buttons", fewer, "seen")) == pytest.approx(together, rel=0.5)


@pytest.mark.parametrize(
    "vehicle",
    [
        ONE_2015,
        Vehicle(),
        Vehicle(make="heron"),
        Vehicle(model="ONE "),
        Vehicle(make="Nobody"),
        Vehicle(make="Heron", model="One"),
        Vehicle(make="Heron", model="One", year=1950),
        Vehicle(make="Heron", model="One", year=2018),
        Vehicle(make="Heron", model="Two", year=2011, year_sure=True),
    ],
)
def test_every_prior_sums_to_one(vehicle: Vehicle) -> None:
    prior = prior_of(INDEX, vehicle, RATES)
    assert prior.article.sum() + prior.outside.sum() == pytest.approx(1.0)
    assert (prior.article >= 0).all()


def test_a_told_year_may_be_off_by_one_and_a_sure_one_not() -> None:
    told = prior_of(INDEX, ONE_2016, RATES)
    sure = prior_of(INDEX, Vehicle(make="Heron", model="One", year=2016, year_sure=True), RATES)
    mechanical = NAMES.index("M-0")
    assert told.listed[mechanical] and not sure.listed[mechanical]


def test_shares_that_sum_to_more_than_one_are_scaled_down() -> None:
    catalogue = toy_catalogue()
    doubled = KeyIndex(type(catalogue)(catalogue.articles, tuple(catalogue.fitments) * 3))
    prior = prior_of(doubled, ONE_2015, RATES)
    assert prior.article.sum() + prior.outside.sum() == pytest.approx(1.0)
    assert prior.article[NAMES.index("T-2"), 0] / prior.article[NAMES.index("T-3"), 0] == pytest.approx(
        5 / 3, rel=1e-3
    )


EVIDENCE = [
    (),
    (Observation("button_count", 3, "told"),),
    (Observation("start", "push", "told"), Observation("blade", "heron-8", "seen")),
    (Observation("fcc_id", "FCC ID KX4HM2Z", "read-aloud"), Observation("button_count", 2, "seen")),
    (
        Observation("fcc_id", None, "told"),
        Observation("buttons", ("lock", "unlock"), "seen"),
        Observation("frequency_hz", 433.9e6, "measured", 2e4),
        Observation("chip", "c1", "measured"),
    ),
]


@pytest.mark.parametrize("observations", EVIDENCE)
@pytest.mark.parametrize("vehicle", [ONE_2015, ONE_2016])
def test_the_posterior_is_that_of_enumerating_every_hidden_state(
    vehicle: Vehicle, observations: tuple[Observation, ...]
) -> None:
    prior = prior_of(INDEX, vehicle, RATES)
    weight = INDEX.weight_for(vehicle.make, RATES)
    about_key = [one for one in observations if one.kind != "start"]
    about_start = [one for one in observations if one.kind == "start"]
    tables = {one.kind: INDEX.tables[one.kind] for one in about_key}
    judged = {one.kind: key_likelihood(INDEX, one, weight, RATES) for one in about_key}
    keys: list[tuple[str, int]] = [("is", i) for i in range(len(NAMES))]
    keys += [("like", i) for i in range(len(NAMES))] + [("other", -1)]

    def p_seen(key: tuple[str, int]) -> float:
        p = 1.0
        for kind, one in judged.items():
            is_one, like_one = one.of_values(tables[kind].code)
            values = {"is": is_one, "like": like_one}.get(key[0])
            p *= one.generic if values is None else float(values[key[1]])
        return p

    def p_key(key: tuple[str, int], takes: int | None, *, own: bool) -> float:
        """Chance of the shown key, given what the vehicle takes (None: not in the pack)."""
        sort, i = key
        if own and takes is not None:
            return 1.0 if key == ("is", takes) else 0.0
        known = RATES.outside_alike if own else 1.0 - RATES.foreign_unknown
        if sort == "other":
            return 1.0 - known
        return known * float(weight.by_article[i]) if sort == ("like" if own else "is") else 0.0

    mass = dict.fromkeys([*NAMES, None], 0.0)
    for takes, start, own, key in itertools.product([*range(len(NAMES)), None], (0, 1), (True, False), keys):
        p = float(prior.outside[start] if takes is None else prior.article[takes, start])
        p *= (1.0 - RATES.foreign if own else RATES.foreign) * p_key(key, takes, own=own) * p_seen(key)
        p *= math.prod(float(start_likelihood(one, RATES)[start]) for one in about_start)
        mass[None if takes is None else NAMES[takes]] += p
    total = sum(mass.values())
    posterior = judge(vehicle, *observations)
    assert posterior.p_outside == pytest.approx(mass[None] / total, rel=1e-9)
    for name in NAMES:
        assert p_of(posterior, name) == pytest.approx(mass[name] / total, rel=1e-9)
    assert posterior.log_evidence == pytest.approx(math.log(total), rel=1e-9)


TEXTS = st.text("KX4HM22B8-Z ", min_size=1, max_size=12).filter(lambda text: any(c.isalnum() for c in text))
OBSERVATIONS = st.one_of(
    st.builds(Observation, st.just("fcc_id"), TEXTS | st.none(), st.sampled_from(HOWS)),
    st.builds(Observation, st.just("button_count"), st.integers(0, 20) | st.none(), st.sampled_from(HOWS)),
    st.builds(Observation, st.just("start"), st.sampled_from(["turn", "push", None]), st.sampled_from(HOWS)),
    st.builds(
        Observation,
        st.just("buttons"),
        st.lists(st.sampled_from(["lock", "unlock", "boot", "horn"])).map(tuple) | st.none(),
        st.sampled_from(HOWS),
    ),
    st.builds(
        Observation,
        st.sampled_from(["blade", "chip"]),
        st.sampled_from(["heron-8", "heron-6", "c1", "nothing known", None]),
        st.sampled_from(HOWS),
    ),
    st.builds(
        Observation,
        st.just("frequency_hz"),
        st.floats(1e3, 1e11) | st.sampled_from([433.92e6, 433e6, None]),
        st.sampled_from(HOWS),
        st.none() | st.floats(1.0, 1e6),
    ),
)


@settings(deadline=None, max_examples=60)
@given(st.lists(OBSERVATIONS, max_size=7), st.randoms(use_true_random=False))
def test_chances_sum_to_one_and_the_order_of_observations_does_not_matter(
    observations: list[Observation], shuffle: object
) -> None:
    one = judge(ONE_2016, *observations)
    assert one.p_article.sum() + one.p_outside == pytest.approx(1.0)
    assert np.isfinite(one.article).all()
    mixed = list(observations)
    shuffle.shuffle(mixed)  # type: ignore[attr-defined]
    other = judge(ONE_2016, *mixed)
    assert other.p_article.tolist() == one.p_article.tolist()
    assert other.p_outside == one.p_outside


@pytest.mark.parametrize(
    "observations",
    [
        (Observation("fcc_id", "QQ7-WW951", "seen"),),
        (Observation("button_count", 8, "seen"),),
        (Observation("buttons", ("horn", "roof", "boot"), "seen"),),
        (Observation("frequency_hz", 390.1e6, "measured"),),
        (Observation("blade", "wader-7", "seen"),),
        (Observation("chip", "c9", "measured"),),
        (Observation("start", "push", "measured"),),
    ],
)
def test_evidence_that_fits_nothing_raises_the_chance_of_outside(observations: tuple[Observation]) -> None:
    assert judge(ONE_2015, *observations).p_outside > 1.5 * judge(ONE_2015).p_outside


def test_several_things_that_fit_nothing_make_outside_the_likeliest() -> None:
    posterior = judge(
        ONE_2015,
        Observation("fcc_id", "QQ7-WW951", "seen"),
        Observation("buttons", ("horn", "roof"), "seen"),
        Observation("frequency_hz", 390.1e6, "measured"),
    )
    # The rest is a key that is not the vehicle's own and that the pack does not have.
    assert posterior.p_outside > 0.7


def test_a_near_miss_still_ranks_the_right_article_first() -> None:
    # B for 8, heard and written down: P-4 is KX4-PR78.
    posterior = judge(ONE_2016, Observation("fcc_id", "KX4-PR7B", "read-aloud"))
    assert p_of(posterior, "P-4") > 0.9


@pytest.mark.parametrize(
    "reading", ["fcc id: kx4 hm22", "KX4HM22", "FCCIDKX4-HM22", "KX4-HM2", "KX4-HM", "KX4-H?22"]
)
def test_prefix_hyphen_end_and_an_unreadable_character_do_not_hide_the_article(reading: str) -> None:
    assert p_of(judge(ONE_2015, Observation("fcc_id", reading, "read-aloud")), "T-2") > 0.85


def test_an_identifier_from_elsewhere_is_overruled_by_the_rest() -> None:
    # The label of another vehicle's remote was told; everything else is P-4's.
    wrong = Observation("fcc_id", "2AB7Q9ZT1", "told")
    assert p_of(judge(ONE_2016, wrong), "P-4") < 0.6
    posterior = judge(
        ONE_2016,
        wrong,
        Observation("button_count", 4, "seen"),
        Observation("start", "push", "told"),
        Observation("frequency_hz", 434.41e6, "measured"),
    )
    assert p_of(posterior, "P-4") > 0.95


def test_a_key_that_is_not_the_vehicles_own_leaves_the_prior_nearly_as_it_was() -> None:
    # All of "Two"'s remote, shown for a "One": a second-hand key says next to nothing about the vehicle.
    shown = (
        Observation("fcc_id", "2AB7Q9ZT1", "seen"),
        Observation("button_count", 1, "seen"),
        Observation("frequency_hz", 868.35e6, "measured"),
    )
    posterior = judge(ONE_2015, *shown)
    ratio = p_of(posterior, "T-2") / p_of(posterior, "T-3")
    assert ratio == pytest.approx(p_of(judge(ONE_2015), "T-2") / p_of(judge(ONE_2015), "T-3"), rel=0.05)
    assert posterior.own_given_article[NAMES.index("T-2")] < 0.01


@pytest.mark.parametrize("kind", ["button_count", "buttons", "start"])
def test_no_answer_is_nearly_neutral(kind: str) -> None:
    before, after = judge(ONE_2015), judge(ONE_2015, Observation(kind, None, "told"))
    factor = after.p_article / before.p_article
    assert factor.min() > 0.5
    assert factor.max() < 2.0


def test_no_identifier_and_no_radio_speak_for_the_mechanical_key() -> None:
    after = judge(
        ONE_2015, Observation("fcc_id", None, "seen"), Observation("frequency_hz", None, "measured")
    )
    assert p_of(after, "M-0") > 3 * p_of(judge(ONE_2015), "M-0")


def test_a_better_source_says_more() -> None:
    chances = [p_of(judge(ONE_2015, Observation("button_count", 3, how)), "T-3") for how in HOWS]
    assert chances[0] < chances[1] < chances[2] <= chances[3] < chances[4]


def test_a_rounded_frequency_that_was_told_does_not_exclude_the_exact_one() -> None:
    told = judge(ONE_2015, Observation("frequency_hz", 433e6, "told"))
    assert p_of(told, "T-2") > 0.85
    assert told.p_outside < judge(ONE_2015).p_outside


def test_an_exact_measurement_allows_for_the_spread_between_remotes() -> None:
    # 10 kHz off with a stated sd of 50 Hz is a healthy remote, not something from outside the pack.
    measured = judge(ONE_2015, Observation("frequency_hz", 433.91e6, "measured", 50.0))
    assert p_of(measured, "T-2") > 0.9


@pytest.mark.parametrize(
    "wrong",
    [
        Observation("smell", "rubber", "seen"),
        Observation("chip", "c1", "dreamt"),
        Observation("button_count", "four", "told"),
        Observation("button_count", True, "told"),
        Observation("button_count", -1, "told"),
        Observation("frequency_hz", float("nan"), "measured"),
        Observation("frequency_hz", 433.92e6, "measured", 0.0),
        Observation("start", "pull", "told"),
        Observation("buttons", "lock", "seen"),
        Observation("fcc_id", " - ", "seen"),
    ],
)
def test_observations_that_the_model_does_not_know_are_refused(wrong: Observation) -> None:
    with pytest.raises(ObservationError):
        judge(ONE_2015, wrong)


@pytest.mark.parametrize("how", HOWS)
def test_the_chances_of_all_counts_sum_to_one(how: str) -> None:
    weight = INDEX.weight_for("Heron", RATES)
    every = [
        key_likelihood(INDEX, Observation("button_count", count, how), weight, RATES)
        for count in [*range(21), None]
    ]
    assert np.sum([values_of(one) for one in every], axis=0) == pytest.approx(1.0, abs=1e-6)
    assert sum(one.generic for one in every) == pytest.approx(1.0, abs=1e-6)


def test_the_density_of_all_frequencies_integrates_to_one() -> None:
    weight = INDEX.weight_for("Heron", RATES)
    hertz = np.exp(np.linspace(math.log(1e3), math.log(1e11), 4001))
    fine = np.unique(
        np.concatenate(
            [hertz, *(np.linspace(f - 3e5, f + 3e5, 601) for f in (315e6, 433.92e6, 434.42e6, 868.35e6))]
        )
    )
    every = [
        key_likelihood(INDEX, Observation("frequency_hz", float(f), "measured"), weight, RATES) for f in fine
    ]
    null = key_likelihood(INDEX, Observation("frequency_hz", None, "measured"), weight, RATES)
    width = np.diff(fine)[:, None]
    density = np.array([[*values_of(one), one.generic] for one in every])
    area = (0.5 * (density[1:] + density[:-1]) * width).sum(axis=0)
    assert area + np.array([*values_of(null), null.generic]) == pytest.approx(1.0, abs=0.01)


def test_the_chances_of_all_sets_of_known_buttons_leave_only_unknown_words() -> None:
    weight = INDEX.weight_for("Heron", RATES)
    words = ("lock", "unlock", "boot", "panic")
    sets = [tuple(itertools.compress(words, bits)) for bits in itertools.product((0, 1), repeat=4)]
    every = [
        key_likelihood(INDEX, Observation("buttons", value, "seen"), weight, RATES) for value in [*sets, None]
    ]
    total = np.sum([values_of(one) for one in every], axis=0)
    assert (total < 1.0).all()
    assert total == pytest.approx(1.0, abs=0.005)
