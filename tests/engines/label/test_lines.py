"""Lines of print: reading order at any angle, and plain text."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.label.lines import Line, Point, find_direction, join_boxes, plain_text, sort_lines


def place(rows: list[list[str]], turn_deg: float) -> list[Line]:
    """Return words set in rows, 40 px apart, the whole turned about the origin."""
    angle = math.radians(turn_deg)

    def turn(x: float, y: float) -> Point:
        return (x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle))

    lines = []
    for row, words in enumerate(rows):
        x = 0.0
        for word in words:
            wide, top = 12.0 * len(word), 40.0 * row
            lines.append(
                Line(
                    word,
                    0.9,
                    (turn(x, top), turn(x + wide, top), turn(x + wide, top + 20), turn(x, top + 20)),
                )
            )
            x += wide + 15
    return lines


@given(
    st.lists(
        st.lists(st.text("ABC123", min_size=2, max_size=9), min_size=1, max_size=4), min_size=1, max_size=6
    ),
    st.floats(-180, 180),
    st.integers(0, 2**31),
)
def test_lines_are_put_in_reading_order_at_any_angle(rows: list[list[str]], turn: float, seed: int) -> None:
    lines = place(rows, turn)
    mixed = [lines[i] for i in np.random.default_rng(seed).permutation(len(lines))]
    assert sort_lines(mixed) == tuple(lines)
    x, y = find_direction(mixed)
    assert math.isclose(x, math.cos(math.radians(turn)), abs_tol=1e-6)
    assert math.isclose(y, math.sin(math.radians(turn)), abs_tol=1e-6)


def test_no_lines_have_an_order_too() -> None:
    assert sort_lines([]) == ()
    assert find_direction([]) == (1.0, 0.0)


@given(st.text(max_size=40))
def test_plain_text_is_its_own_plain_text(text: str) -> None:
    assert plain_text(plain_text(text)) == plain_text(text)


def test_a_box_around_several_holds_them_all() -> None:
    lines = place([["AB", "CD"], ["EF"]], 30)
    around = join_boxes([line.box for line in lines])
    for line in lines:
        for x, y in line.box:
            assert around[0][0] <= x <= around[2][0]
            assert around[0][1] <= y <= around[2][1]
    assert join_boxes([lines[0].box]) == lines[0].box
