"""Cases drawn from the model itself: stated probabilities come true as often as they say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pytest

from bittern.engines.key.catalogue import STARTS
from bittern.engines.key.evidence import Observation, Value, Vehicle
from bittern.engines.key.index import Floats, KeyIndex
from bittern.engines.key.likelihood import key_likelihood, start_likelihood
from bittern.engines.key.posterior import open_case, posterior_of
from bittern.engines.key.prior import prior_of
from bittern.engines.key.rates import Rates
from tests.engines.key.toy import toy_catalogue

RATES = Rates()
INDEX = KeyIndex(toy_catalogue())
OUTSIDE = len(INDEX)


@dataclass(frozen=True)
class Shown:
    """The hidden key: an article's place (-1: resembles none), and whether it is that article."""

    place: int
    listed: bool


class Driver:
    """Draws vehicles, keys and what people say about them from the model."""

    def __init__(self, vehicle: Vehicle, seed: int) -> None:
        self.draw = np.random.default_rng(seed)
        self.vehicle = vehicle
        self.prior = prior_of(INDEX, vehicle, RATES)
        self.weight = INDEX.weight_for(vehicle.make, RATES)

    def pick(self, chances: Floats | Sequence[float]) -> int:
        p = np.asarray(chances, dtype=float)
        return int(self.draw.choice(len(p), p=p / p.sum()))

    def vehicle_state(self) -> tuple[int, int]:
        """Return what the vehicle takes, by place (or OUTSIDE), and its start."""
        flat = np.vstack([self.prior.article, self.prior.outside]).ravel()
        return divmod(self.pick(flat), 2)

    def shown_key(self, takes: int) -> Shown:
        if self.draw.random() < RATES.foreign:
            unknown = self.draw.random() < RATES.foreign_unknown
            return (
                Shown(-1, listed=False) if unknown else Shown(self.pick(self.weight.by_article), listed=True)
            )
        if takes != OUTSIDE:
            return Shown(takes, listed=True)
        alike = self.draw.random() < RATES.outside_alike
        return Shown(self.pick(self.weight.by_article) if alike else -1, listed=False)

    def count_seen(self, key: Shown, how: str) -> Observation:
        return self._seen("button_count", [*range(21), None], key, how)

    def blade_seen(self, key: Shown, how: str) -> Observation:
        named = [value for value in INDEX.tables["blade"].values if value]
        new = [f"new-{i}" for i in range(20)]
        return self._seen("blade", [*map(str, named), *new, None], key, how)

    def start_told(self, start: int) -> Observation:
        answers = [Observation("start", value, "told") for value in (*STARTS, None)]
        return answers[self.pick([float(start_likelihood(one, RATES)[start]) for one in answers])]

    def _seen(self, kind: str, values: Sequence[Value], key: Shown, how: str) -> Observation:
        answers = [Observation(kind, value, how) for value in values]
        chances = []
        for one in answers:
            judged = key_likelihood(INDEX, one, self.weight, RATES)
            own, alike = judged.of_values(INDEX.tables[one.kind].code)
            by_article = own if key.listed else alike
            chances.append(judged.generic if key.place < 0 else float(by_article[key.place]))
        assert sum(chances) == pytest.approx(1.0, abs=0.02)
        return answers[self.pick(chances)]


def run(driver: Driver, cases: int) -> tuple[Floats, Floats]:
    """Return stated chances, shape (cases, articles + 1), and for each what the vehicle took."""
    stated, truth = np.zeros((cases, OUTSIDE + 1)), np.zeros(cases, dtype=int)
    for i in range(cases):
        takes, start = driver.vehicle_state()
        key = driver.shown_key(takes)
        seen = [driver.count_seen(key, "told"), driver.blade_seen(key, "told"), driver.start_told(start)]
        posterior = posterior_of(open_case(INDEX, driver.vehicle, seen, RATES))
        stated[i] = [*posterior.p_article, posterior.p_outside]
        truth[i] = takes
    return stated, truth


@pytest.fixture(scope="module")
def drawn() -> tuple[Floats, Floats]:
    return run(Driver(Vehicle(make="Heron", model="One", year=2016), seed=20), 1500)


@pytest.mark.parametrize(("low", "high"), [(0.02, 0.1), (0.1, 0.3), (0.3, 0.6), (0.6, 0.9), (0.9, 1.0)])
def test_stated_probabilities_come_true_as_often_as_they_say(
    drawn: tuple[Floats, Floats], low: float, high: float
) -> None:
    stated, truth = drawn
    happened = np.arange(OUTSIDE + 1)[None, :] == truth[:, None]
    chosen = (stated >= low) & (stated < high)
    p, hits, n = stated[chosen], float(happened[chosen].sum()), int(chosen.sum())
    assert n > 30
    # Binomial error with each case's own probability; 3.5 standard deviations.
    assert abs(hits - p.sum()) < 3.5 * math.sqrt(float((p * (1.0 - p)).sum()))


def test_outside_pack_comes_true_as_often_as_it_says(drawn: tuple[Floats, Floats]) -> None:
    stated, truth = drawn
    p = stated[:, OUTSIDE]
    spread = math.sqrt(float((p * (1.0 - p)).sum()))
    assert abs(float((truth == OUTSIDE).sum()) - p.sum()) < 3.5 * spread


def test_the_evidence_is_worth_its_bits(drawn: tuple[Floats, Floats]) -> None:
    # A calibrated posterior must beat its own prior in log score, by far more than chance allows.
    stated, truth = drawn
    prior = prior_of(INDEX, Vehicle(make="Heron", model="One", year=2016), RATES)
    before = np.array([*prior.article.sum(axis=1), prior.outside.sum()])
    gain = np.log(stated[np.arange(len(truth)), truth]) - np.log(before[truth])
    assert gain.mean() > 5 * gain.std() / math.sqrt(len(gain))
