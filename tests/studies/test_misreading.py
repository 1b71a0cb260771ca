"""Readings of the simulated shop: their chances are those with which they are drawn."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path
from random import Random

import numpy as np
import pytest

BENCH = Path(__file__).resolve().parents[2] / "bench"
if str(BENCH) not in sys.path:
    sys.path.insert(0, str(BENCH))

from simulated_shop.habits import Habits, scale_errors  # noqa: E402
from simulated_shop.misreading import (  # noqa: E402
    ANY,
    DIGIT,
    SYMBOLS,
    chances_of_reading,
    draw_reading,
    encode,
    spell,
    strip_reading,
)

# Errors frequent enough that every kind of them turns up often.
CLUMSY = scale_errors(Habits(), 8.0)


def p_reading(
    codes: list[list[int]], reading: str, *, hyphened: float = 0.0, bad: bool = False
) -> np.ndarray:
    padded, lengths = encode(codes)
    return chances_of_reading(
        padded, lengths, np.full(len(codes), hyphened), reading, CLUMSY, phone=True, bad=bad
    )


@pytest.mark.parametrize(("label", "bad"), [("KX4-B08", False), ("KXB0S8M", True), ("AB5", False)])
def test_readings_are_as_frequent_as_their_chances_say(label: str, bad: bool) -> None:
    draw, count = Random(7), 12_000
    seen = Counter(
        strip_reading(draw_reading(draw, label, CLUMSY, phone=True, bad=bad)) for _ in range(count)
    )
    common = [reading for reading, times in seen.most_common(40) if times >= 20]
    assert len(common) >= 8
    for reading in common:
        chance = float(p_reading([spell(label)], reading, hyphened=float("-" in label), bad=bad)[0])
        spread = (chance * (1.0 - chance) / count) ** 0.5
        assert abs(seen[reading] / count - chance) < 5.0 * spread + 1e-6, reading


@pytest.mark.parametrize("reading", ["KX4B08", "KX408", "KX4BB12", "4KXB07", "B99"])
def test_a_wildcard_is_the_mean_over_what_it_stands_for(reading: str) -> None:
    head = spell("KX4B")
    digits = [[*head, first, second] for first in range(10) for second in range(10)]
    assert p_reading([[*head, DIGIT, DIGIT]], reading)[0] == pytest.approx(p_reading(digits, reading).mean())
    symbols = [[*head, 0, last] for last in range(len(SYMBOLS))]
    assert p_reading([[*head, 0, ANY]], reading)[0] == pytest.approx(p_reading(symbols, reading).mean())
