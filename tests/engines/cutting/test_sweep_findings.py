"""Everything that spoils a key, a cutter or a machine is found, with its line; what does not is not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bittern.engines.cutting.clamp import get_distance_mm
from bittern.engines.cutting.errors import SweepError
from bittern.engines.cutting.motion import Motion
from bittern.engines.cutting.sweep import SweepResult, sweep
from bittern.engines.cutting.target import get_target
from bittern.formats.program_reader import read_program
from tests.engines.cutting.programs import (
    ALL_ONES,
    END,
    MILL,
    MILL_HEAD,
    WHEEL,
    WHEEL_HEAD,
    check,
    list_kinds,
    plan,
)
from tests.strategies.blades import HERON

GOOD_WHEEL = plan(HERON, ALL_ONES, WHEEL)
GOOD_MILL = plan(HERON, ALL_ONES, MILL)


def find_line(text: str, words: str) -> int:
    """Return the number of the first line that begins with ``words``."""
    return next(n for n, line in enumerate(text.splitlines(), 1) if line.startswith(words))


def find(result: SweepResult, kind: str) -> list[tuple[int | None, bool]]:
    return [(finding.line, finding.spoils) for finding in result.findings if finding.kind == kind]


def test_the_planners_programs_spoil_nothing() -> None:
    assert check(GOOD_WHEEL).findings == ()
    result = check(GOOD_MILL, cutter=MILL)
    assert [(finding.kind, finding.spoils) for finding in result.findings] == [("corner", False)]
    assert result.good


@pytest.mark.parametrize(
    ("moves", "line"),
    [
        ("G0 X12 Y9 Z0\nG0 Y8\nG0 Y10\n", 7),
        ("G0 X12 Y9 Z0\nG1 Y8\nG0 X15\nG0 Y10\n", 8),
        # Down to 0.02 mm over the edge, and along it.
        ("G0 X12 Y9 Z0\nG0 Y8.42\nG0 Y10\n", 7),
        ("G0 X12 Y8.42 Z0\nG0 X16\nG0 Y10\n", 7),
    ],
)
def test_a_rapid_move_into_metal_is_found(moves: str, line: int) -> None:
    assert (line, True) in find(check(WHEEL_HEAD + moves + END), "rapid")


@pytest.mark.parametrize(
    "moves",
    [
        # Out of a cut straight up, and along a way that was cut before.
        "G0 X12 Y9 Z0\nG1 Y8\nG0 Y10\n",
        "G0 X12 Y9 Z0\nG1 Y8\nG0 Y8.2\nG0 Y10\n",
        "G0 X12 Y8.5 Z0\nG0 X16\nG0 Y10\n",
        "G0 X31 Y9.5 Z0\nG1 Y7\nG1 X27\nG1 X31\nG0 X40\nG0 Y12\n",
    ],
)
def test_a_rapid_move_through_air_is_not(moves: str) -> None:
    assert find(check(WHEEL_HEAD + moves + END), "rapid") == []


def test_a_rapid_move_in_a_slot_below_standing_metal_is_in_air() -> None:
    """A slot cut from the tip inward, its roof still standing, is left by the way it was cut."""
    moves = "G0 X30 Y4 Z5\nG1 Z-3\nG1 X20\n{}\nG0 Z5\n"
    inside = check(MILL_HEAD + moves.format("G0 X30") + END, cutter=replace(MILL, diameter_mm=1.0))
    # The slot's walls are nearer than the margin, but nothing is met.
    met = [finding for finding in inside.findings if "meets" in finding.text]
    assert met == []
    across = check(MILL_HEAD + moves.format("G0 Y6") + END, cutter=replace(MILL, diameter_mm=1.0))
    assert [finding.line for finding in across.findings if "meets" in finding.text] == [9]


def test_a_mill_lowered_into_metal_by_a_rapid_move_is_found() -> None:
    text = MILL_HEAD + "G0 X12 Y8.5 Z5\nG0 Z-1\nG0 Z5\n" + END
    assert find(check(text, cutter=MILL), "rapid") == [(7, True)]


def test_a_layer_not_yet_cut_is_metal_though_one_above_is_cut() -> None:
    cut = "G0 X10 Y9 Z5\nG1 Z{}\nG1 X20\nG0 Z5\nG0 X10\nG0 Z-1.5\nG0 Z5\n"
    shallow, deep = (check(MILL_HEAD + cut.format(n) + END, cutter=MILL) for n in ("-1", "-2"))
    assert find(shallow, "rapid") == [(11, True)]
    assert find(deep, "rapid") == []


def test_a_still_spindle_in_metal_is_found_with_its_line() -> None:
    still = GOOD_WHEEL.replace("M3 S", "S")
    assert not check(still).good
    # The first move into metal, after the plunge that ends on the edge.
    plunge = find_line(still, "G1")
    assert find(check(still), "spindle")[0] == (plunge + 1, True)
    half = len(GOOD_WHEEL.splitlines()) // 2
    line = next(n for n, text in enumerate(GOOD_WHEEL.splitlines()) if n > half and text.startswith("G0 X"))
    stopped = "\n".join([*GOOD_WHEEL.splitlines()[:line], "M5", *GOOD_WHEEL.splitlines()[line:]])
    found = find(check(stopped), "spindle")
    assert found
    assert min(number or 0 for number, _ in found) > line


def test_a_program_without_words_for_the_spindle_is_only_remarked_on() -> None:
    lines = [line for line in GOOD_WHEEL.splitlines() if not line.startswith(("M3", "M5"))]
    result = check("\n".join(lines))
    assert find(result, "spindle") == [(None, False)]
    assert result.good


def test_a_feed_move_without_a_feed_is_found() -> None:
    motion = read_program(GOOD_WHEEL, where="a")
    dull = Motion(motion.frame, tuple(replace(m, feed_mm_min=None) for m in motion.moves), ended=True)
    assert find(sweep(dull, HERON, ALL_ONES, WHEEL), "feed")[0][1]


def test_an_end_that_is_missing_is_remarked_on() -> None:
    result = check(GOOD_WHEEL.replace("M30\n", ""))
    assert find(result, "end") == [(None, False)]
    assert result.good


@pytest.mark.parametrize(("height", "clear"), [("8.9", True), ("8.85", False)])
def test_the_first_and_last_position_keep_half_a_millimetre(height: str, clear: bool) -> None:
    text = WHEEL_HEAD + f"G0 X12 Y{height} Z0\nG0 Y12\n" + END
    assert (find(check(text), "start") == []) == clear
    text = WHEEL_HEAD + f"G0 X12 Y12 Z0\nG0 Y{height}\n" + END
    assert (find(check(text), "end") == []) == clear


def test_the_cutter_is_lifted_before_anything_else() -> None:
    retract = find_line(GOOD_WHEEL, "G0 Y")
    assert find(check(GOOD_WHEEL), "start") == []
    without = "\n".join(line for n, line in enumerate(GOOD_WHEEL.splitlines(), 1) if n != retract)
    assert find(check(without), "start")[0] == (retract, True)
    mill = MILL_HEAD + "G0 Z5\nG0 X12 Y9.4\nG1 Z-3\nG0 Z5\n" + END
    assert find(check(mill, cutter=MILL), "start") == []
    along = mill.replace("G0 Z5\nG0 X12 Y9.4\n", "G0 X12\nG0 Y9.4\nG0 Z5\n", 1)
    assert find(check(along, cutter=MILL), "start") == [(6, True)]


def test_moves_into_the_bow_are_found_at_the_shoulders_side() -> None:
    into = WHEEL_HEAD + "G0 X0.6 Y9 Z0\nG1 Y8.2\nG0 Y10\n" + END
    assert find(check(into), "clamp") == [(7, True), (8, True)]
    beside = WHEEL_HEAD + "G0 X0.71 Y9 Z0\nG1 Y8.2\nG0 Y10\n" + END
    assert find(check(beside), "clamp") == []
    at_tip = WHEEL_HEAD + "G0 X27.8 Y9 Z0\nG1 Y8.2\nG0 Y10\n" + END
    assert find(check(at_tip), "clamp") == []
    turned = replace(HERON, datum="tip")
    assert find(check(at_tip, turned), "clamp") == [(7, True), (8, True)]
    assert find(check(into, turned), "clamp") == []


def test_a_mill_over_the_bow_is_not_in_it() -> None:
    over = MILL_HEAD + "G0 X-5 Y4 Z1\nG0 X-5 Y12\n" + END
    assert find(check(over, cutter=MILL), "clamp") == []
    inside = MILL_HEAD + "G0 X-5 Y12 Z1\nG0 Z-1\nG0 Y4\nG0 Y12\nG0 Z1\n" + END
    assert find(check(inside, cutter=MILL), "clamp") == [(8, True), (9, True)]


def test_the_wrong_kind_of_point_and_a_cutter_that_does_not_fit_are_told() -> None:
    result = check(GOOD_WHEEL, cutter=MILL)
    assert find(result, "point") == [(None, True)]
    wide = check(GOOD_WHEEL, cutter=replace(WHEEL, angle_deg=100.0))
    assert find(wide, "cutter") == [(None, False)]
    assert "gouge" in list_kinds(wide, spoils=True)


def test_a_loose_piece_is_remarked_on_and_one_that_hangs_on_spoils_the_key() -> None:
    """A mill of 1 mm goes round a piece 3 mm high; or stops short of the far side and leaves it hanging."""
    mill = replace(MILL, diameter_mm=1.0)
    round_ = "G0 X10 Y9.5 Z5\nG1 Z-3\nG1 Y5\nG1 X18\n{}G0 Z5\n"
    loose = check(MILL_HEAD + round_.format("G1 Y9.5\n") + END, cutter=mill)
    assert [finding.spoils for finding in loose.findings if finding.kind == "loose"] == [False]
    assert loose.left_mm[(loose.x_mm > 11) & (loose.x_mm < 17)] == pytest.approx(4.5)
    hanging = check(MILL_HEAD + round_.format("G1 Y7\n") + END, cutter=mill)
    assert "loose" not in list_kinds(hanging)
    assert hanging.left_mm[(hanging.x_mm > 11) & (hanging.x_mm < 17)] == pytest.approx(8.4)
    assert hanging.gouge_mm > 3


def test_distances_from_the_blank_are_plane_geometry() -> None:
    target = get_target(HERON, ALL_ONES, 0)
    assert get_distance_mm(WHEEL, (14.0, 9.4, 0.0), target) == pytest.approx(1.0)
    # Beside the tip: the flank of 45 degrees passes the corner (28, 8.4).
    assert get_distance_mm(WHEEL, (31.5, 7.4, 0.0), target) == pytest.approx(2 / 2**0.5)
    assert get_distance_mm(WHEEL, (14.0, 8.0, 0.0), target) == 0.0
    assert get_distance_mm(MILL, (30.0, 4.0, -1.0), target) == pytest.approx(1.0)
    assert get_distance_mm(MILL, (31.0, 12.4, 0.0), target) == pytest.approx(4.0)
    assert get_distance_mm(MILL, (14.0, 4.0, 0.7), target) == pytest.approx(0.7)
    assert get_distance_mm(MILL, (30.0, 4.0, 1.0), target) == pytest.approx(2**0.5)


@pytest.mark.parametrize(
    "moves",
    [
        # Circles of a hundred metres across the face, in chords; and too much cutting.
        "G0 X0 Y0 Z5\nG1 Z0\n" + "G2 I99000\n" * 3,
        "G0 X14 Y9 Z5\nG1 Z-3\n" + "G1 X28\nG1 X0\n" * 9000,
    ],
)
def test_what_would_take_minutes_is_refused(moves: str) -> None:
    text = (MILL_HEAD + moves).replace("h=+Y n=+Z", "h=+Z n=+Y" if "I99000" in moves else "h=+Y n=+Z")
    with pytest.raises(SweepError):
        check(text, cutter=MILL)
