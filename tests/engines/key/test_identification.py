"""The answer as a whole: candidates, reasons, the next question, and when to stop asking."""

from __future__ import annotations

import random

import numpy as np
import pytest

from bittern.engines.key.catalogue import Article, Catalogue
from bittern.engines.key.decision import Costs
from bittern.engines.key.evidence import KINDS, Observation, Vehicle
from bittern.engines.key.identification import Identification, identify
from bittern.engines.key.index import KeyIndex
from bittern.engines.key.lookahead import Orders, plan_two
from bittern.engines.key.posterior import open_case, posterior_of
from bittern.engines.key.questions import QUESTIONS, answer_chances
from bittern.engines.key.rates import Rates
from tests.engines.key.toy import ONE_2015, ONE_2016, article, fitment, toy_catalogue, wide_catalogue

CATALOGUE = toy_catalogue()


def find(*observations: Observation, vehicle: Vehicle = ONE_2016, **options: object) -> Identification:
    return identify(CATALOGUE, vehicle, observations, **options)  # type: ignore[arg-type]


def test_probabilities_and_outside_sum_to_at_most_one() -> None:
    for observations in ([], [Observation("button_count", 3, "told")]):
        found = find(*observations)
        total = sum(one.probability for one in found.candidates) + found.outside_pack
        assert 0.99 < total <= 1.0


def test_candidates_come_best_first() -> None:
    chances = [one.probability for one in find(Observation("button_count", 3, "told")).candidates]
    assert chances == sorted(chances, reverse=True)


def test_an_open_case_asks_what_tells_the_candidates_apart() -> None:
    found = find()
    assert not found.settled and found.order is None
    assert {ask.question for ask in found.ask} <= set(KINDS)
    assert [ask.net_saving for ask in found.ask] == sorted(
        (ask.net_saving for ask in found.ask), reverse=True
    )
    assert all(ask.text.endswith("?") and ask.where for ask in found.ask)


def test_a_clear_label_settles_the_case() -> None:
    found = find(Observation("fcc_id", "FCC ID: KX4-PR78", "seen"), Observation("start", "push", "seen"))
    assert found.settled and found.order == "P-4" and found.ask == ()


def test_an_answered_question_is_not_asked_again_whether_it_could_be_had_or_not() -> None:
    for value in ("KX4-HM22", None):
        found = find(Observation("fcc_id", value, "told"))
        assert "fcc_id" not in {ask.question for ask in found.ask}
    every = find(*(Observation(kind, None, "told") for kind in KINDS))
    assert every.ask == () and not every.settled and every.order is None


def test_a_list_of_buttons_answers_their_number() -> None:
    found = find(Observation("buttons", ("lock", "unlock"), "told"), bar=0.9999)
    assert "button_count" not in {ask.question for ask in found.ask}


def test_a_vehicle_that_the_pack_does_not_list_is_not_in_this_pack() -> None:
    found = find(vehicle=Vehicle(make="Wader", model="Nine", year=2016))
    assert found.settled and found.order is None and found.outside_pack > 0.9
    assert any("lists no Wader Nine" in one for one in found.assumed)


def test_twins_that_nothing_tells_apart_stay_undecided() -> None:
    twins = Catalogue(
        {name: article(name, fcc_id="KX4-HM22", buttons=("lock",)) for name in ("A", "B")},
        (fitment("One", (2014, 2017), "turn", "A", 0.5), fitment("One", (2014, 2017), "turn", "B", 0.5)),
    )
    found = identify(twins, ONE_2015, [Observation("fcc_id", "KX4-HM22", "seen")])
    assert not found.settled and found.order is None and found.ask == ()


def test_nothing_is_ordered_below_the_bar() -> None:
    shown = Observation("button_count", 4, "told")
    dear = Costs(per_minute=1000.0)
    assert find(shown, costs=dear, bar=0.5).order == "P-4"
    strict = find(shown, costs=dear, bar=0.9999)
    assert not strict.settled and strict.order is None


def test_a_question_that_costs_more_than_it_saves_is_not_asked_above_the_bar() -> None:
    shown = Observation("fcc_id", "KX4-PR78", "told")
    cheap = find(shown, costs=Costs(per_minute=0.0001))
    dear = find(shown, costs=Costs(per_minute=1000.0))
    assert not cheap.settled and cheap.ask[0].net_saving > 0
    assert dear.settled and dear.order == "P-4"


def test_a_question_with_no_power_saves_nothing() -> None:
    # All of "One" in 2015 start by turn: asking how it starts can only find what is not in the pack.
    found = find(vehicle=ONE_2015, bar=1.0)
    saving = {ask.question: ask.expected_saving for ask in found.considered}
    cost = {ask.question: ask.cost for ask in found.considered}
    # What a plan is worth that begins with it comes from the question that follows, whose cost is deducted.
    assert saving["start"] < max(saving.values()) - 0.5 * min(cost[one] for one in cost if one != "start")
    assert found.ask[0].question != "start"


def test_the_saving_of_a_question_is_what_simulated_answers_save() -> None:
    # Expected loss before, less the mean expected loss after answers enumerated and judged one by one.
    costs, rates, index = Costs(), Rates(), KeyIndex(CATALOGUE)
    shown = [Observation("fcc_id", "2AB7Q9ZT1", "told"), Observation("start", "turn", "told")]
    now = posterior_of(open_case(index, ONE_2016, shown, rates))

    def least_loss(p_article: np.ndarray, p_outside: float) -> float:
        losses = [*(costs.wrong * (1.0 - p_article)), costs.needless_search * (1.0 - p_outside)]
        return min(float(loss) for loss in losses)

    after = 0.0
    for value in [*range(21), None]:
        answer = Observation("button_count", value, QUESTIONS["button_count"].how)
        then = posterior_of(open_case(index, ONE_2016, [*shown, answer], rates))
        p_answer = np.exp(then.log_evidence - now.log_evidence)
        after += p_answer * least_loss(then.p_article, then.p_outside)
    saving = least_loss(now.p_article, now.p_outside) - after
    case = open_case(index, ONE_2016, shown, rates)
    every = np.arange(len(CATALOGUE.articles))
    chance = np.array([*now.p_article[every], 0.0, now.p_outside])
    table = answer_chances(case, now, "button_count", every)
    (alone,) = plan_two(
        chance, [table], [1.0], lambda i, j: table, Orders(costs.wrong, costs.needless_search)
    )
    assert alone.alone == pytest.approx(saving, rel=0.01)
    # A plan that may ask once more is worth at least as much.
    found = identify(index, ONE_2016, shown, costs)
    asked = next(ask for ask in found.considered if ask.question == "button_count")
    assert asked.expected_saving >= 0.99 * saving


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("shown", [(), (Observation("fcc_id", "2AB7Q9ZT1", "told"),)])
def test_the_answers_to_a_question_have_chances_that_sum_to_one(
    kind: str, shown: tuple[Observation, ...]
) -> None:
    case = open_case(KeyIndex(CATALOGUE), ONE_2016, shown, Rates())
    table = answer_chances(case, posterior_of(case), kind, np.array([0, 2, 1]))
    assert table.shape[1] == 5
    assert (table >= 0).all()
    assert table.sum(axis=0) == pytest.approx(1.0)


def test_reasons_name_the_observation_the_letters_and_the_effect() -> None:
    found = find(Observation("fcc_id", "KX4-PR7B", "read-aloud"), Observation("button_count", 3, "told"))
    first = found.candidates[0]
    assert first.article == "P-4"
    assert first.because[0].startswith("listed for Heron One 2016: 43 in 100")
    label = next(one for one in first.because if "KX4-PR78" in one)
    assert "one character apart" in label and "8 and B are easily mixed" in label and "better" in label
    assert any("3 buttons (told), this article has 4" in one and "worse" in one for one in first.because)


def test_reasons_do_not_depend_on_the_order_of_observations() -> None:
    shown = [
        Observation("fcc_id", "KX4-PR7B", "read-aloud"),
        Observation("button_count", 3, "told"),
        Observation("start", "push", "told"),
        Observation("frequency_hz", 434.4e6, "measured"),
    ]
    assert find(*shown) == find(*reversed(shown))


def test_told_the_wrong_identifier_ends_in_the_right_article_after_more_questions() -> None:
    truth: dict[str, Observation] = {
        "button_count": Observation("button_count", 4, "seen"),
        "buttons": Observation("buttons", ("lock", "unlock", "boot", "panic"), "seen"),
        "start": Observation("start", "push", "told"),
        "blade": Observation("blade", "heron-6", "seen"),
        "frequency_hz": Observation("frequency_hz", 434.43e6, "measured"),
        "chip": Observation("chip", "c2", "measured"),
    }
    shown = [Observation("fcc_id", "2AB7Q9ZT1", "told")]
    found = find(*shown)
    assert not found.settled
    while found.ask:
        shown.append(truth[found.ask[0].question])
        found = find(*shown)
    assert found.settled and found.order == "P-4"
    assert len(shown) < 6


def test_asking_until_settled_orders_right_far_more_often_than_the_listed_favourite() -> None:
    index = KeyIndex(wide_catalogue(250))
    draw = random.Random(3)
    right = wrong = favourite = 0
    for _ in range(60):
        row = draw.choices(index.fitments, [one.share for one in index.fitments])[0]
        true = index.articles[index.position[row.article]]
        vehicle = Vehicle(make=row.make, model=row.model, year=draw.randint(row.year_from, row.year_to))
        answers = true_answers(true, row.start)
        shown: list[Observation] = []
        found = identify(index, vehicle, shown)
        favourite += found.candidates[0].article == row.article
        while found.ask:
            shown.append(answers[found.ask[0].question])
            found = identify(index, vehicle, shown)
        right += found.order == row.article
        wrong += found.settled and found.order != row.article
    assert right >= 54
    assert wrong <= 3
    assert favourite < right


def true_answers(true: Article, start: str) -> dict[str, Observation]:
    return {
        "fcc_id": Observation("fcc_id", true.fcc_id or None, "read-aloud"),
        "button_count": Observation("button_count", len(true.buttons), "seen"),
        "buttons": Observation("buttons", true.buttons, "seen"),
        "start": Observation("start", start, "told"),
        "blade": Observation("blade", true.blade, "seen"),
        "frequency_hz": Observation("frequency_hz", true.frequency_hz, "measured"),
        "chip": Observation("chip", true.chip, "measured"),
    }


def test_an_empty_pack_answers_that_it_is_not_in_it() -> None:
    found = identify(Catalogue({}, ()), ONE_2015, [Observation("fcc_id", "KX4-HM22", "seen")])
    assert found.candidates == () and found.outside_pack == pytest.approx(1.0)
    assert found.settled and found.order is None


def test_the_answer_as_data_has_the_fixed_keys() -> None:
    data = find(Observation("button_count", 3, "told")).as_dict()
    assert {"candidates", "outside_pack", "settled", "order", "ask"} <= set(data)
    candidates, asks = data["candidates"], data["ask"]
    assert isinstance(candidates, list) and isinstance(asks, list)
    assert {"article", "probability", "because"} <= set(candidates[0])
    assert {"question", "expected_saving", "cost"} <= set(asks[0])
