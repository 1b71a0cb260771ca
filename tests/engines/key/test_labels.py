"""Identifiers like a reading, found by counting over a layout, against looking at each of them."""

from __future__ import annotations

import random

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bittern.engines.key.labels import LabelIndex, pairs_of


def look_at_each(labels: list[str], reading: str, most: int) -> list[int]:
    """Return the places of the labels that ``reading`` resembles, by the rule's own words."""
    wanted, found = pairs_of(reading), []
    for place, label in enumerate(labels):
        pairs = pairs_of(label)
        shared, shorter = len(pairs & wanted), max(1, min(len(pairs), len(wanted)))
        if shared and 5 * shared >= 2 * shorter:
            found.append((-shared / shorter, -shared, place))
    return [place for _, _, place in sorted(found)[:most]]


def draw_labels(draw: random.Random, count: int, signs: str) -> list[str]:
    """Return distinct labels of many lengths, the empty one among them."""
    made = {"": None}
    for _ in range(count):
        made["".join(draw.choice(signs) for _ in range(draw.choice([1, 2, 3, 5, 7, 8, 12])))] = None
    labels = list(made)
    draw.shuffle(labels)
    return labels


@settings(deadline=None, max_examples=120)
@example(5, 600, "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", 7, 1)
@given(
    st.integers(0, 10_000),
    st.sampled_from([0, 1, 30, 600]),
    # Few signs: pairs that many labels have, and many alike; all signs: pairs that hardly any has.
    st.sampled_from(["8B2", "82KX4M", "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"]),
    st.sampled_from([0, 1, 4, 7, 9, 400]),
    st.sampled_from([1, 3, 24]),
)
def test_like_finds_what_looking_at_each_label_finds(
    seed: int, count: int, signs: str, length: int, most: int
) -> None:
    draw = random.Random(seed)
    labels = draw_labels(draw, count, signs)
    index = LabelIndex(labels)
    readings = ["".join(draw.choice(signs) for _ in range(length)), draw.choice(labels)]
    for reading in (*readings, readings[1][1:] + draw.choice(signs)):
        assert index.like(reading, most).tolist() == look_at_each(labels, reading, most)


def test_a_pack_without_identifiers_has_none_like_a_reading() -> None:
    for labels in ([], [""], ["", "A"]):
        assert np.array_equal(LabelIndex(labels).like("KX4-HM22"), [])
