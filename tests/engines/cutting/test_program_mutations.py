"""Two hundred programs that were right until one line was changed: none may pass.

Changes that would leave the same key without any harm are no mutants: a shifted point or a swapped axis
counts only if a second, plain reading of the program finds another outline, by more than is allowed.
"""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest

from bittern.core.errors import BitternError
from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.strokes import Floats
from tests.engines.cutting.carving import carve
from tests.engines.cutting.programs import check, get_pack, list_pairs, plan
from tests.engines.cutting.test_toolpath import draw_bittings

PAIRS = [
    (blade, cutter)
    for blade, cutter in list_pairs()
    if get_pack().blades[blade].kind == "edge" and ("wheel" in cutter or cutter == "endmill-20")
]
# A plain reading of a mill's program takes a second: two of them are enough where many are read.
READ = [pair for pair in PAIRS if "wheel" in pair[1] or pair[0] in ("heron-8", "reed-6")]
EACH = 40
LEAST_GOUGE_MM, LEAST_REST_MM = 0.012, 0.04
"""A gouge of 0.01 mm is allowed, and a rest of half the tolerance, at most 0.03 mm with the grid's error."""
MOST_DRAWS = 200

Made = tuple[str, BladeStandard, Bitting, Cutter]


@cache
def make(number: int, *, read: bool = False) -> Made:
    """Return a right program, and what it is for; ``read`` ones are quick to be read plainly."""
    pairs = READ if read else PAIRS
    blade, tool = pairs[number % len(pairs)]
    standard, cutter = get_pack().blades[blade], get_pack().tools[tool]
    bitting = draw_bittings(standard, 1, seed=number)[0]
    return plan(standard, bitting, cutter), standard, bitting, cutter


def is_caught(text: str, made: Made) -> bool:
    _, standard, bitting, cutter = made
    try:
        return not check(text, standard, bitting, cutter).good
    except BitternError:
        return True


def replace_line(text: str, number: int, *lines: str) -> str:
    rows = text.splitlines()
    return "\n".join([*rows[:number], *lines, *rows[number + 1 :]]) + "\n"


def find_lines(text: str, pattern: str) -> list[int]:
    return [number for number, line in enumerate(text.splitlines()) if re.search(pattern, line)]


def shift_word(line: str, letter: str, by_mm: float) -> str:
    return re.sub(rf"{letter}(-?[\d.]+)", lambda word: f"{letter}{float(word[1]) + by_mm:.3f}", line)


def leave(made: Made, text: str) -> Floats:
    """Return the outline that a plain reading finds."""
    _, standard, _, cutter = made
    top, x = get_edge_height_mm(standard), np.arange(0.02, standard.length_mm, 0.02)
    return np.clip(carve(text, cutter, x, top, standard.thickness_mm), -top, top)


@cache
def leave_right(number: int) -> Floats:
    made = make(number, read=True)
    return leave(made, made[0])


def draw_that_matters(seed: int, kind: str) -> str:
    """Return a mutant whose key is another one."""
    rng, made = np.random.default_rng(seed), make(seed, read=True)
    text, right = made[0], leave_right(seed)
    lines = text.splitlines()
    moves = find_lines(text, r"^G[123] .*[XY]" if kind == "shift" else r"^G1 X.* Y")
    # Most of what roughing does wrong the finishing pass, the last third, takes away.
    moves = [number for number in moves if number > len(lines) * 2 / 3 or rng.random() < 0.2]
    for _ in range(MOST_DRAWS):
        number = int(rng.choice(moves))
        if kind == "shift":
            letter = str(rng.choice([letter for letter in "XY" if letter in lines[number]]))
            line = shift_word(lines[number], letter, float(rng.choice([-1, 1]) * rng.uniform(0.05, 0.4)))
        else:
            line = lines[number].translate(str.maketrans("XY", "YX"))
        mutant = replace_line(text, number, line)
        left = leave(made, mutant)
        if (right - left).max() >= LEAST_GOUGE_MM or (left - right).max() >= LEAST_REST_MM:
            return mutant
    raise AssertionError("no change that matters was drawn")


@pytest.mark.parametrize("seed", range(EACH))
def test_a_shifted_point_is_caught(seed: int) -> None:
    assert is_caught(draw_that_matters(seed, "shift"), make(seed, read=True))


@pytest.mark.parametrize("seed", range(EACH))
def test_a_swapped_axis_is_caught(seed: int) -> None:
    assert is_caught(draw_that_matters(seed, "axis"), make(seed, read=True))


@pytest.mark.parametrize("seed", range(EACH))
def test_an_arc_the_wrong_way_round_is_caught(seed: int) -> None:
    mills = [number for number in range(len(PAIRS)) if "endmill" in PAIRS[number][1]]
    made = make(mills[seed % len(mills)])
    rng = np.random.default_rng(seed)
    number = int(rng.choice(find_lines(made[0], "^G[23]")))
    line = made[0].splitlines()[number]
    turned = line.replace("G2", "G3") if line.startswith("G2") else line.replace("G3", "G2")
    assert is_caught(replace_line(made[0], number, turned), made)


@pytest.mark.parametrize("seed", range(EACH))
def test_a_missing_retract_is_caught(seed: int) -> None:
    """The first one, or any between two cuts of one pass: what stands between them is metal."""
    made = make(seed)
    lines = made[0].splitlines()
    retracts = [
        number for number in find_lines(made[0], "^G0 Y[^ ]*$") if lines[number + 1].startswith("G0 X")
    ]
    assert len(retracts) >= 2
    number = int(np.random.default_rng(seed).choice(retracts))
    assert is_caught(replace_line(made[0], number), made)


@pytest.mark.parametrize("seed", range(EACH))
def test_a_changed_unit_is_caught(seed: int) -> None:
    made = make(seed)
    rng = np.random.default_rng(seed)
    if rng.random() < 0.5:
        assert is_caught(made[0].replace("G21", "G20"), made)
        return
    # Half way, before a cut.
    number = int(rng.choice(find_lines(made[0], "^G1")))
    assert is_caught(replace_line(made[0], number, "G20", made[0].splitlines()[number]), made)


def test_the_programs_are_right_before_they_are_changed() -> None:
    for number in range(len(PAIRS)):
        assert not is_caught(make(number)[0], make(number))
