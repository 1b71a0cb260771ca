"""What is asked, what is not, and the sentence that says why asking stopped."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.key.catalogue import Catalogue
from bittern.engines.key.decision import Costs
from bittern.engines.key.evidence import KINDS, Observation, Value, Vehicle
from bittern.engines.key.identification import Identification, identify
from bittern.engines.key.index import Floats, KeyIndex
from bittern.engines.key.lookahead import Orders, plan_two
from bittern.engines.key.posterior import open_case, posterior_of
from bittern.engines.key.questions import Survey
from bittern.engines.key.rates import Rates
from tests.engines.key.toy import ONE_2016, article, fitment, toy_catalogue

INDEX = KeyIndex(toy_catalogue())
VALUES: dict[str, Value] = {
    "fcc_id": "KX4-PR78",
    "button_count": 4,
    "buttons": ("lock", "unlock", "boot", "panic"),
    "start": "push",
    "blade": "heron-6",
    "frequency_hz": 434.42e6,
    "chip": "c2",
}


def find(*observations: Observation, vehicle: Vehicle = ONE_2016, **options: object) -> Identification:
    return identify(INDEX, vehicle, observations, **options)  # type: ignore[arg-type]


def seen(*kinds: str) -> list[Observation]:
    return [Observation(kind, VALUES[kind], "seen") for kind in kinds]


@settings(deadline=None, max_examples=60)
@given(
    st.dictionaries(st.sampled_from(KINDS), st.booleans()),
    st.sampled_from([0.05, 1.0, 10.0, 200.0]),
    st.sampled_from([0.5, 0.9, 0.9999]),
)
def test_either_something_is_asked_or_it_is_said_why_not(
    had: dict[str, bool], per_minute: float, bar: float
) -> None:
    shown = [Observation(kind, VALUES[kind] if value else None, "seen") for kind, value in had.items()]
    costs = Costs(per_minute=per_minute)
    found = find(*shown, costs=costs, bar=bar)
    assert (found.stop is None) == bool(found.ask)
    assert not (found.settled and found.ask)
    # All that was not asked is considered, and nothing else.
    answered = set(had) | ({"button_count"} if had.get("buttons") else set())
    assert {one.question for one in found.considered} == set(KINDS) - answered
    nets = [one.net_saving for one in found.considered]
    assert nets == sorted(nets, reverse=True)
    assert set(found.ask) <= set(found.considered)
    pays = any(net > 0.0 for net in nets)
    if found.settled:
        assert not pays
        assert max([found.outside_pack, *(one.probability for one in found.candidates)]) >= bar - 1e-9
    else:
        # Until it is settled, what pays is offered, best first.
        paying = [one for one in found.considered if one.net_saving > 0.0]
        assert list(found.ask[: len(paying)]) == paying
    if found.stop and found.stop.best:
        assert found.stop.best == found.considered[0]


def test_everything_was_asked() -> None:
    stop = find(*(Observation(kind, None, "told") for kind in KINDS)).stop
    assert stop is not None
    assert (stop.reason, stop.text, stop.best) == (
        "nothing-left",
        "Everything that could be asked was asked.",
        None,
    )


def test_nothing_pays_and_the_sentence_has_the_figures_of_the_best() -> None:
    # Three answers speak for one article, and a question costs more than it can still save.
    found = find(*seen("button_count", "start"), costs=Costs(per_minute=1.5), bar=0.5)
    stop = found.stop
    assert stop is not None and stop.best is not None and stop.reason == "nothing-pays"
    best = stop.best
    figures = re.search(r"the best left, (.+), would save ([\d.]+) and costs ([\d.]+)\.$", stop.text)
    assert figures is not None
    assert float(figures[2]) == pytest.approx(best.expected_saving, abs=0.005)
    assert float(figures[3]) == pytest.approx(best.cost, abs=0.005)
    assert best.expected_saving <= best.cost


def test_certainty_is_worth_less_than_the_cheapest_question() -> None:
    found = find(*seen("fcc_id", "start", "button_count"))
    assert found.settled and found.stop is not None and found.stop.reason == "certain"
    figures = re.search(
        r"^Asking gains nothing more: more than 99 in 100 for P-4; certainty would save ([\d.]+),"
        r" the cheapest question costs ([\d.]+)\.$",
        found.stop.text,
    )
    assert figures is not None
    # Not the article with what it costs to be wrong: what is lost without certainty.
    lost = Costs().wrong * (1.0 - found.candidates[0].probability)
    assert float(figures[1]) == pytest.approx(lost, abs=0.06)
    assert float(figures[2]) == min(one.cost for one in found.considered)


def test_an_empty_pack_stops_too() -> None:
    stop = identify(Catalogue({}, ()), ONE_2016, []).stop
    assert stop is not None and stop.text == "The pack has no articles."


def test_a_question_that_costs_a_visit_comes_after_one_by_telephone() -> None:
    by_telephone = find(costs=Costs()).ask[0].question
    dear = Costs(visit={by_telephone: 60.0})
    found = find(costs=dear)
    assert found.ask[0].question != by_telephone
    asked = {one.question: one.cost for one in found.considered}
    assert asked[by_telephone] == pytest.approx(Costs().of_question(by_telephone) + 60.0)


def test_what_cannot_be_asked_is_not_considered_and_is_no_evidence() -> None:
    found = find(unavailable=("fcc_id", "blade"))
    assert {"fcc_id", "blade"}.isdisjoint(one.question for one in found.considered)
    assert found.candidates == find().candidates


def test_two_questions_that_help_only_together_are_asked_for_their_pair() -> None:
    # Four articles by blade and frequency: neither alone says which, and an order wants one of four.
    four = {
        f"{blade}{hertz:.0f}": article(
            f"{blade}{hertz:.0f}", blade=blade, frequency_hz=hertz, buttons=("lock",)
        )
        for blade in ("b-1", "b-2")
        for hertz in (315e6, 433.92e6)
    }
    rows = tuple(fitment("One", (2014, 2017), "turn", name, 0.25) for name in four)
    index = KeyIndex(Catalogue(four, rows))
    costs = Costs(minutes={"blade": 3.0, "frequency_hz": 3.0})
    case = open_case(index, ONE_2016, [], Rates())
    posterior = posterior_of(case)
    chance = np.array([*posterior.p_article[:4], 0.0, posterior.p_outside])
    survey = Survey(case, posterior, np.arange(4))
    kinds = ("blade", "frequency_hz")

    def pair(i: int, j: int) -> Floats:
        return survey.pair(kinds[i], kinds[j])

    stakes = Orders(costs.wrong, costs.needless_search)
    worths = plan_two(chance, [survey.single(kind) for kind in kinds], [3.0, 3.0], pair, stakes, 0.0)
    found = {one.question: one for one in identify(index, ONE_2016, [], costs).considered}
    for kind, worth in zip(kinds, worths, strict=True):
        assert worth.plan > worth.alone + 5.0
        assert found[kind].expected_saving >= worth.plan - 0.01
