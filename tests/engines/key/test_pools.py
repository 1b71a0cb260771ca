"""Pools and tables against the model over every article one by one, on random packs."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key import posterior as pooled
from bittern.engines.key.catalogue import Article, Catalogue, Fitment
from bittern.engines.key.evidence import HOWS, KINDS, Observation, Vehicle
from bittern.engines.key.index import Floats, Integers, KeyIndex
from bittern.engines.key.prior import prior_of
from bittern.engines.key.questions import Survey, answer_chances
from bittern.engines.key.rates import Rates
from tests.engines.key.dense import index as dense_index
from tests.engines.key.dense import posterior as dense
from tests.engines.key.dense import prior as dense_prior
from tests.engines.key.dense import questions as dense_questions

RATES = Rates()
MAKES = ["Heron", "heron", "Wader", "Plover"]
MODELS = ["One", "Two", "Three"]
WORDS = ["lock", "unlock", "boot", "Boot"]


def make_pack(draw: random.Random, articles: int, rows: int) -> Catalogue:
    """Return an invented pack in which labels, features and vehicles are often the same."""
    made = {}
    for i in range(articles):
        label = "".join(draw.choice("8B2Z") for _ in range(draw.choice([3, 4])))
        made[f"A-{i}"] = Article(
            f"A-{i}",
            "a",
            "remote",
            fcc_id=draw.choice(["", f"KX4-{label}", f"KX4{label}", f"2AB7Q{label}"]),
            frequency_hz=draw.choice([None, 315e6, 433.92e6, 434.42e6]),
            buttons=tuple(draw.sample(WORDS, draw.randint(0, 3))),
            blade=draw.choice(["", "b-1", "B-1", "b-2"]),
            chip=draw.choice(["", "c1", "c2"]),
        )
    fitments = []
    for _ in range(rows if articles else 0):
        first = draw.randint(2010, 2016)
        fitments.append(
            Fitment(
                draw.choice(MAKES),
                draw.choice(MODELS),
                first,
                first + draw.randint(0, 4),
                draw.choice(["turn", "push"]),
                "",
                "",
                f"A-{draw.randrange(articles + 1)}",
                draw.choice([0.2, 0.5, 0.9]),
            )
        )
    return Catalogue(made, tuple(fitments))


VEHICLES = st.builds(
    Vehicle,
    make=st.sampled_from(["", "Heron", "WADER", "Nobody"]),
    model=st.sampled_from(["", "one", "Two", "Nine"]),
    year=st.sampled_from([None, 1950, 2012, 2015]),
    year_sure=st.booleans(),
    start=st.sampled_from(["", "turn", "push"]),
)
OBSERVATIONS = st.one_of(
    st.builds(
        Observation,
        st.just("fcc_id"),
        st.sampled_from(["KX4-B82Z", "KX4 88", "FCC ID 2AB7QZZB", "QQ7-WW951", "KX4-8?Z", None]),
        st.sampled_from(HOWS),
    ),
    st.builds(Observation, st.just("button_count"), st.sampled_from([0, 2, 3, 20, None])),
    st.builds(Observation, st.just("start"), st.sampled_from(["turn", "push", None])),
    st.builds(
        Observation,
        st.just("buttons"),
        st.sampled_from([("lock", "boot"), ("lock", "horn", "roof"), (), None]),
        st.sampled_from(HOWS),
    ),
    st.builds(
        Observation,
        st.sampled_from(["blade", "chip"]),
        st.sampled_from(["b-1", "c2", "nothing known", None]),
        st.sampled_from(HOWS),
    ),
    st.builds(
        Observation,
        st.just("frequency_hz"),
        st.sampled_from([433.92e6, 433e6, 390.1e6, None]),
        st.sampled_from(HOWS),
        st.none() | st.just(5e4),
    ),
)
SIZES = st.sampled_from([(0, 0), (1, 0), (1, 2), (6, 12), (90, 60), (150, 300)])


@settings(deadline=None, max_examples=150)
@given(SIZES, st.integers(0, 10_000), VEHICLES, st.lists(OBSERVATIONS, max_size=4))
def test_pools_give_what_every_article_by_itself_gives(
    size: tuple[int, int], seed: int, vehicle: Vehicle, observations: list[Observation]
) -> None:
    pack = make_pack(random.Random(seed), *size)
    index, plain_index = KeyIndex(pack), dense_index.KeyIndex(pack)
    prior, expected_prior = prior_of(index, vehicle, RATES), dense_prior.prior_of(plain_index, vehicle, RATES)
    assert prior.article == pytest.approx(expected_prior.article, abs=1e-12)
    assert prior.outside == pytest.approx(expected_prior.outside, abs=1e-12)
    assert prior.listed.tolist() == (expected_prior.listed > 0).tolist()
    case = pooled.open_case(index, vehicle, observations, RATES)
    plain_case = dense.open_case(plain_index, vehicle, observations, RATES)
    for leave_out in (None, *range(len(case.judged))):
        found, expected = pooled.posterior_of(case, leave_out), dense.posterior_of(plain_case, leave_out)
        places = case.pools.places
        assert found.p_outside == pytest.approx(expected.p_outside, abs=1e-9)
        assert found.log_evidence == pytest.approx(expected.log_evidence, abs=1e-9)
        assert found.p_article[: len(places)] == pytest.approx(expected.p_article[places], abs=1e-9)
        pooled_mass = found.p_article.sum()
        assert pooled_mass == pytest.approx(expected.p_article.sum(), abs=1e-9)
    # No article of a pool is likelier than the forty that stand alone.
    everyone = dense.posterior_of(plain_case).p_article
    best = np.sort(everyone)[::-1][: pooled.MOST_CANDIDATES]
    alone = np.sort(everyone[case.pools.places])[::-1][: pooled.MOST_CANDIDATES]
    assert alone == pytest.approx(best, rel=1e-9)


@settings(deadline=None, max_examples=60)
@given(
    st.sampled_from([(6, 12), (90, 60)]), st.integers(0, 999), VEHICLES, st.lists(OBSERVATIONS, max_size=2)
)
def test_answers_have_the_chances_that_every_article_by_itself_gives(
    size: tuple[int, int], seed: int, vehicle: Vehicle, observations: list[Observation]
) -> None:
    pack = make_pack(random.Random(seed), *size)
    index, plain_index = KeyIndex(pack), dense_index.KeyIndex(pack)
    case = pooled.open_case(index, vehicle, observations, RATES)
    plain_case = dense.open_case(plain_index, vehicle, observations, RATES)
    posterior, plain = pooled.posterior_of(case), dense.posterior_of(plain_case)
    states = np.argsort(-posterior.p_article[: len(case.pools.places)], kind="stable")[:4]
    for kind in KINDS:
        if kind == "fcc_id":
            continue  # Which labels are told apart may differ; the joint tables below hold for it too.
        found = answer_chances(case, posterior, kind, states)
        expected = dense_questions.answer_chances(plain_case, plain, kind, case.pools.places[states])
        # Answers that are equally likely may come in another order.
        assert found[_order(found)] == pytest.approx(expected[_order(expected)], abs=1e-9)


def _order(table: Floats) -> Integers:
    return np.lexsort(np.round(table, 7).T)


@settings(deadline=None, max_examples=40)
@given(
    st.sampled_from([(6, 12), (90, 60)]), st.integers(0, 999), VEHICLES, st.lists(OBSERVATIONS, max_size=2)
)
def test_joint_chances_add_up_to_those_of_either_answer(
    size: tuple[int, int], seed: int, vehicle: Vehicle, observations: list[Observation]
) -> None:
    index = KeyIndex(make_pack(random.Random(seed), *size))
    case = pooled.open_case(index, vehicle, observations, RATES)
    survey = Survey(case, pooled.posterior_of(case), np.array([1, 0, 3]))
    for one in KINDS:
        assert survey.single(one).sum(axis=0) == pytest.approx(1.0)
        for other in (kind for kind in KINDS if kind != one):
            pair = survey.pair(one, other)
            assert pair.sum(axis=1) == pytest.approx(survey.single(one), abs=1e-9)
            assert pair == pytest.approx(survey.pair(other, one).transpose(1, 0, 2), abs=1e-12)
