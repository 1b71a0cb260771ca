"""The accuracy study in small: the truth is found, and stated probabilities are near what comes true."""

from __future__ import annotations

import random
import runpy
from pathlib import Path
from typing import Any

import pytest

from bittern.core.channel import CHANNEL_BY_HOW
from tests.engines.vehicle.numbers import CLASSIC

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def study() -> dict[str, Any]:
    return runpy.run_path(str(ROOT / "bench" / "study_vin.py"))


def test_stated_probabilities_are_near_what_comes_true(study: dict[str, Any]) -> None:
    score = study["run_study"](("seen",), cases=60, seed=1)["seen"]
    assert score.cases == 60
    assert score.first / score.cases > 0.6
    # 60 cases have a standard error of about six points.
    assert score.stated / score.cases == pytest.approx(score.first / score.cases, abs=0.15)
    assert score.first <= score.first_three <= score.cases - score.missed
    assert "not listed" in study["show"]({"seen": score})


def test_intervals_are_wilsons(study: dict[str, Any]) -> None:
    # R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine 17
    # (1998), 857-872, table I, method 3 (from memory, recomputed): 81 of 263, 15 of 148, 0 of 20, 1 of 29.
    for hits, cases, low, high in (
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ):
        assert study["find_interval"](hits, cases) == pytest.approx((low, high), abs=5e-5)


def test_without_a_reserve_more_is_said_of_the_numbers_drawn(study: dict[str, Any]) -> None:
    with_it = study["run_study"](("seen",), cases=15, seed=3)["seen"]
    without = study["run_study"](("seen",), cases=15, seed=3, priors=study["NO_RESERVE"])["seen"]
    assert without.stated > with_it.stated
    assert without.stated_none < with_it.stated_none


def test_texts_are_written_down_by_the_rates(study: dict[str, Any]) -> None:
    draw, rates, count = random.Random(2), CHANNEL_BY_HOW["seen"], 4000
    texts = [study["write_down"](CLASSIC, rates, draw) for _ in range(count)]
    at_place_3 = [
        text[2] for text in texts if len(text) == 17 and text[:2] == "1M" and text[3:] == CLASSIC[3:]
    ]
    # 8 is taken for B alone: as often as the look-alikes' rate, and a little as any other.
    assert at_place_3.count("B") / len(at_place_3) == pytest.approx(rates.look_alike, abs=0.006)
    assert sum(len(text) < 15 for text in texts) / count == pytest.approx(0.03, abs=0.012)
