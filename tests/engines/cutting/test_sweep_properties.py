"""What must hold for every program: how it is written does not matter, metal never grows, nothing crashes."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.core.errors import BitternError
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.motion import Frame, Motion, Move
from bittern.engines.cutting.strokes import list_strokes
from bittern.engines.cutting.sweep import sweep
from bittern.formats.program_reader import read_program
from tests.engines.cutting.programs import ALL_ONES, MILL, WHEEL, get_pack, take
from tests.engines.cutting.test_sweep_references import motions
from tests.engines.cutting.test_toolpath import draw_bittings
from tests.strategies.blades import HERON

CUTTERS = st.sampled_from([MILL, WHEEL, Cutter("thin", "endmill", 0.6, 2, "hss")])
X = np.linspace(0, 28, 1401)


def reverse(motion: Motion) -> Motion:
    moves = [
        replace(move, start=move.end, end=move.start, clockwise=not move.clockwise)
        for move in reversed(motion.moves)
    ]
    return replace(motion, moves=tuple(moves))


def split(motion: Motion, share: float) -> Motion:
    """Return each straight move as two."""
    moves: list[Move] = []
    for move in motion.moves:
        if move.centre is not None:
            moves.append(move)
            continue
        x, y, z = (a + (b - a) * share for a, b in zip(move.start, move.end, strict=True))
        moves += [replace(move, end=(x, y, z)), replace(move, start=(x, y, z))]
    return replace(motion, moves=tuple(moves))


@settings(max_examples=60, deadline=None)
@given(motions(), CUTTERS, st.floats(0.05, 0.95))
def test_ways_back_and_ways_in_two_parts_leave_the_same(motion: Motion, cutter: Cutter, share: float) -> None:
    left = take(motion, cutter).get_left_mm(X)
    for other in (reverse(motion), split(motion, share)):
        # On the rim of a disc, as steep as a wall, rounding along x shows along h.
        difference = np.sort(np.abs(take(other, cutter).get_left_mm(X) - left))
        assert difference[-5] < 1e-6
        assert difference[-1] < 1e-2


@settings(max_examples=60, deadline=None)
@given(motions(), motions(), CUTTERS)
def test_more_moves_never_leave_more(motion: Motion, more: Motion, cutter: Cutter) -> None:
    one = take(motion, cutter).get_left_mm(X)
    both = take(replace(motion, moves=motion.moves + more.moves), cutter).get_left_mm(X)
    assert (both <= one).all()
    assert np.array_equal(both, np.minimum(one, take(more, cutter).get_left_mm(X)))


@settings(max_examples=60, deadline=None)
@given(motions(), CUTTERS, st.integers(-20, 20), st.integers(-20, 20))
def test_where_the_key_lies_in_the_machine_does_not_matter(
    motion: Motion, cutter: Cutter, aside: int, up: int
) -> None:
    def shift(place: tuple[float, ...]) -> tuple[float, ...]:
        return (place[0] + aside, place[1] + up, *place[2:])

    moves = tuple(
        replace(
            move,
            start=shift(move.start),
            end=shift(move.end),
            centre=None if move.centre is None else shift(move.centre),
        )
        for move in motion.moves
    )
    frame = replace(motion.frame, origin=(float(aside), float(up), 0.0))
    left = take(motion, cutter).get_left_mm(X)
    moved = take(replace(motion, frame=frame, moves=moves), cutter).get_left_mm(X)
    assert np.sort(np.abs(moved - left))[-5] < 1e-6


def test_a_key_upside_down_in_the_machine_is_swept_the_same() -> None:
    """x to the left and h downward: a half turn about n, which keeps the sense of arcs."""
    moves = (
        Move(1, False, (3.0, 9.0, -3.0), (9.0, 9.0, -3.0), feed_mm_min=9, turning=True),
        Move(2, False, (9.0, 9.0, -3.0), (11.0, 7.0, -3.0), (11.0, 9.0), False, 9, turning=True),
    )
    motion = Motion(Frame((0, 1, 2), (1, 1, 1), (0.0, 0.0, 0.0), "end-centre"), moves, ended=True)
    turned = tuple(
        replace(
            move,
            start=(-move.start[0], -move.start[1], -3.0),
            end=(-move.end[0], -move.end[1], -3.0),
            centre=None if move.centre is None else (-move.centre[0], -move.centre[1]),
        )
        for move in moves
    )
    other = Motion(replace(motion.frame, signs=(-1, -1, 1)), turned, ended=True)
    assert take(other, MILL).get_left_mm(X) == pytest.approx(take(motion, MILL).get_left_mm(X))
    assert len(list_strokes(other)) == len(list_strokes(motion))


WORDS = st.sampled_from(
    [
        "G0",
        "G1",
        "G2",
        "G3",
        "X",
        "Y",
        "Z",
        "I",
        "J",
        "R",
        "F80",
        "M3",
        "M5",
        "S0",
        "G91",
        "G90",
        "G20",
        "G21",
    ]
)
LINES = st.lists(
    st.one_of(
        st.builds(lambda word, value: f"{word}{value:.2f}", st.sampled_from("XYZIJR"), st.floats(-40, 40)),
        WORDS,
    ),
    min_size=1,
    max_size=5,
).map(" ".join)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(LINES, max_size=20),
    st.sampled_from(["x=+X h=+Y n=+Z", "x=-Y h=+Z n=-X", "x=+X h=+Z n=-Y"]),
    st.sampled_from(["heron-8", "fell-9", "eddy-6", "weir-8"]),
    st.sampled_from(["wheel-84", "endmill-10", "endmill-20"]),
)
def test_every_program_is_swept_or_refused(
    lines: list[str], frame: str, blade_id: str, cutter_id: str
) -> None:
    head = f"(FRAME {frame})\n(ORIGIN X0 Y0 Z0)\n(POINT end-centre)\nG21 G90 F100\nG0 X0 Y0 Z5\n"
    kept: list[str] = []
    for line in lines:
        try:
            read_program(head + "\n".join([*kept, line]), where="a")
            kept.append(line)
        except BitternError:
            continue
    standard, cutter = get_pack().blades[blade_id], get_pack().tools[cutter_id]
    motion = read_program(head + "\n".join(kept), where="a")
    try:
        result = sweep(motion, standard, draw_bittings(standard, 1, seed=1)[0], cutter)
    except BitternError as error:
        assert error.found
        return
    assert json.dumps(result.as_dict(), allow_nan=False)
    assert 0 <= result.root_error_mm <= standard.width_mm
    assert result.worst_error_mm >= max(result.gouge_mm, result.uncut_mm) - 1e-9
    assert result.within == (result.root_error_mm <= standard.tolerance_mm / 2 and result.gouge_mm <= 0.01)


def test_an_untouched_blank_is_off_by_its_deepest_cut() -> None:
    text = "(FRAME x=+X h=+Y n=+Z)\n(ORIGIN X0 Y0 Z0)\n(POINT end-centre)\nG21 G0 X0 Y20 Z5\nM30"
    result = sweep(read_program(text, where="a"), HERON, ALL_ONES, MILL)
    assert result.root_error_mm == pytest.approx(1.0)
    assert result.worst_error_mm == pytest.approx(1.0)
    assert result.gouge_mm == 0
