"""Programs are read as RS-274 says, and everything that is not a plain path is refused with its line."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.core.errors import InputError
from bittern.engines.cutting.motion import Frame, Move
from bittern.formats.program_reader import read_program

HEAD = "(FRAME x=+X h=+Y n=+Z)\n(ORIGIN X0 Y0 Z0)\n(POINT end-centre)\n"
READY = HEAD + "G21 G90 G17\nS3000 M3 F120\nG0 X0 Y0 Z5\n"


def read(text: str) -> tuple[Move, ...]:
    return read_program(text, where="a.nc").moves


def end_of(text: str) -> tuple[float, float, float]:
    return read(text)[-1].end


def test_a_whole_program_is_read() -> None:
    motion = read_program(
        "%\nO0001\n" + READY + "N10 G1 Z-1 F60.5 ; down\nG0 Z5 M5\nM30\n%\nG9999", where="a"
    )
    assert motion.ended
    assert motion.frame == Frame((0, 1, 2), (1, 1, 1), (0, 0, 0), "end-centre")
    assert motion.moves == (
        Move(8, True, (0, 0, 5), (0, 0, 5), turning=True),
        Move(9, False, (0, 0, 5), (0, 0, -1), feed_mm_min=60.5, turning=True),
        Move(10, True, (0, 0, -1), (0, 0, 5)),
    )


@pytest.mark.parametrize(
    ("line", "end"),
    [
        ("G1X1.5Y-2", (1.5, -2, 5)),
        # RS-274/NGC, 3.3.1: "g0x +0. 12 34y 7" is "g0 x+0.1234 y7" (from memory).
        ("g0x +0. 12 34y 7", (0.1234, 7, 5)),
        ("G01 x.5 (a comment) Y+.25 ; more", (0.5, 0.25, 5)),
        ("G91 G1 X1\nX1 Y1\nG90 Z1", (2, 1, 1)),
        ("G20 G1 X1 Y.5", (25.4, 12.7, 5)),
        ("N5 G0 G90 G17 G21 X3 M8", (3, 0, 5)),
        ("/G1 X4", (4, 0, 5)),
        ("G4 P0.5\nG1 X1", (1, 0, 5)),
    ],
)
def test_words_are_read_as_the_standard_has_them(line: str, end: tuple[float, float, float]) -> None:
    assert end_of(READY + line) == pytest.approx(end)


def test_inches_scale_feeds_too() -> None:
    assert read(READY + "G20 F2 G1 X1")[-1].feed_mm_min == pytest.approx(50.8)


@pytest.mark.parametrize(
    ("line", "centre", "clockwise"),
    [
        ("G2 X2 Y0 I1 J0", (1, 0), True),
        ("G3 X1 Y1 J1", (0, 1), False),
        ("G90.1 G2 X2 Y0 I1 J0", (1, 0), True),
        ("G1 X1 Y1\nG90.1 G2 X3 Y1 I2 J1", (2, 1), True),
        ("G2 X1 Y1 R1", (1, 0), True),
        ("G3 X1 Y1 R1", (0, 1), False),
        ("G2 X1 Y1 R-1", (0, 1), True),
        ("G3 X1 Y1 R-1", (1, 0), False),
        ("G2 X2 Y0 R1", (1, 0), True),
        ("G2 I1", (1, 0), True),
    ],
)
def test_arcs_have_their_centre(line: str, centre: tuple[float, float], clockwise: bool) -> None:
    move = read(READY + line)[-1]
    assert move.centre == pytest.approx(centre)
    assert move.clockwise == clockwise


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0.1, 3), st.floats(0.2, 6.0), st.booleans())
def test_radius_and_centre_tell_the_same_arc(
    x: float, y: float, radius: float, turn: float, clockwise: bool
) -> None:
    angle = -turn if clockwise else turn
    start = (x + radius, y)
    end = (x + radius * math.cos(angle), y + radius * math.sin(angle))
    if abs(turn - math.pi) < 0.2:
        return
    signed = radius if turn < math.pi else -radius
    move = read(
        READY + f"G1 X{start[0]:.9f} Y{start[1]:.9f}\n"
        f"{'G2' if clockwise else 'G3'} X{end[0]:.9f} Y{end[1]:.9f} R{signed:.9f}"
    )[-1]
    assert move.centre == pytest.approx((x, y), abs=1e-5)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("G18 G2 X1 Z1 R1", "plane G18"),
        ("G2 X2 Y0.2 I1 J0", "radius"),
        ("G2 X2 Y0", "centre and radius"),
        ("G2 X4 Y0 R1", "radius of 1 mm for a chord"),
        ("G2 X0 Y0 R1", "ends where it begins"),
        ("G2 X2 I1 R1", "R and a centre"),
        # checks.md 8.12: what a published interpreter refuses.
        ("G20 G21", "two words of the group units"),
        ("G1 G2 X1", "two words of the group motion"),
        ("M3 M5", "two words of the group spindle"),
        ("G41 D1", "G41"),
        ("G43 H1", "G43"),
        ("G99", "G99"),
        ("M98 P1", "M98"),
        ("G1 X1 X2", "X twice"),
        ("G1 X", "'X'"),
        ("G1 A5", "A5"),
        ("G1 X#1", "#1"),
        ("G1 X[1+1]", "[1+1]"),
        ("G1 X1e3", "E3"),
        ("(open", "not closed"),
        ("(a (b))", "not closed"),
        ("a)", "closing bracket"),
        ("G1 X1 N5", "N5"),
        ("F0", "F0"),
        ("G80 X1", "without a motion"),
        ("G1 X1 I1", "words of an arc"),
        ("G1 X99999999", "within"),
        ("G1 X1 P2", "P word"),
    ],
)
def test_what_is_no_plain_path_is_refused_with_its_line(line: str, says: str) -> None:
    with pytest.raises(InputError, match=re.escape(says)) as caught:
        read(READY + line)
    assert "line 7" in caught.value.where


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no move"),
        ("G21 G90\nF1 G0 X0 Y0 Z0", "FRAME"),
        (HEAD.replace("(POINT end-centre)\n", "") + "G21 G0 X1", "POINT"),
        (HEAD + "G90 G0 X1", "no units"),
        (HEAD + "G21 X1", "without a motion"),
        (HEAD + "G21 G0 X0 Y0 Z0\nG1 X1", "without a feed"),
        (HEAD + "G21 G0 X0 Y0\nG1 X1 F5", "unknown Z"),
        (HEAD + "G21 G91 G0 X0 Y0", "incremental"),
        (HEAD + "G21 G0 X0 Y0", "no Z word"),
        (HEAD + "G21 G0 X0 Y0 Z0\n(FRAME x=+X h=+Y n=+Z)", "after the first move"),
        (HEAD + HEAD, "second FRAME"),
        ("(FRAME x=+X h=+X n=+Z)", "FRAME"),
        ("(POINT tip)", "POINT"),
        ("G21" + " " * 5_000_001, "at most"),
    ],
)
def test_what_a_program_lacks_is_said(text: str, says: str) -> None:
    with pytest.raises(InputError, match=re.escape(says)):
        read(text)


def test_a_wheel_needs_no_word_across_the_blade() -> None:
    text = HEAD.replace("end-centre", "flat-middle") + "G21 G0 X1\nY9\nF60 G1 Y8"
    assert [move.end for move in read(text)] == [(1, 9, 0), (1, 8, 0)]


@pytest.mark.parametrize(
    ("words", "turning", "spindle"),
    [
        ("", False, False),
        ("M3", True, True),
        ("S900 M4", True, True),
        ("S0 M3", False, True),
        ("M3\nM5", False, True),
    ],
)
def test_whether_the_spindle_turns_is_known(words: str, turning: bool, spindle: bool) -> None:
    motion = read_program(HEAD + f"G21 G0 X0 Y0 Z5\n{words}\nG1 X1 F9", where="a")
    assert (motion.moves[-1].turning, motion.spindle) == (turning, spindle)


def test_radii_may_differ_by_what_rounding_does() -> None:
    assert read(READY + "G2 X2.004 Y0 I1 J0")
    with pytest.raises(InputError):
        read(READY + "G2 X2.02 Y0 I1 J0")


def test_a_frame_turns_the_axes() -> None:
    text = "(frame x=-Y h=+Z n=-X)\n(ORIGIN X1 Y2 Z3.5)\n(point END-CENTRE)\nG21 G0 X0 Y0 Z0"
    frame = read_program(text, where="").frame
    assert frame == Frame((1, 2, 0), (-1, 1, -1), (1, 2, 3.5), "end-centre")
    assert frame.to_blade((0, 0, 0)) == (2, -3.5, 1)


_WORDS = st.sampled_from(
    ["G0", "G1", "G2", "G3", "X1", "Y-2.5", "Z0", "I1", "J", "R2", "F60", "M3", "S9", "M30", "%", "(", ")",
     "\n", ";", "/", "N1", "G91", "G20", "G90.1", HEAD, " ", "\0", "²", "٣"]
)  # fmt: skip


@given(st.one_of(st.text(max_size=200), st.lists(_WORDS, max_size=40).map("".join)))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        motion = read_program(text, where="x")
    except InputError as error:
        assert error.found
        assert error.expected
    else:
        assert motion.moves
