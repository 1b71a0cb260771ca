"""Programs as text: their order, their words, and the same path on any machine."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.cutting.errors import TravelError
from bittern.engines.cutting.feeds import choose_depths, choose_feeds
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.motion import Frame
from bittern.engines.cutting.steps import Step
from bittern.engines.cutting.toolpath import Toolpath, plan_path
from bittern.formats.packs import read_pack
from bittern.formats.program_writer import write_program
from tests.engines.cutting.carving import carve, list_places
from tests.formats.test_machines import FRAMES
from tests.strategies.blades import HERON

PACK = read_pack(PACK_DIR)
WHEEL, MILL = PACK.tools["wheel-90"], PACK.tools["endmill-15"]
BITTING = parse_bitting(HERON, "4 2 1 3 4 2 2 1")
PLAIN = Machine()
WORD = re.compile(r"[A-Z][-+]?\d+(?:\.\d+)?")


def get_path(cutter=MILL) -> Toolpath:
    return plan_path(HERON, BITTING, cutter, choose_depths(cutter, "brass"))


def write(cutter=MILL, machine=PLAIN, **more) -> str:
    return write_program(get_path(cutter), machine, choose_feeds(cutter, "brass", machine), **more)


@pytest.mark.parametrize("cutter", [WHEEL, MILL])
def test_the_frame_stands_before_the_first_move_and_the_end_at_the_end(cutter):
    lines = write(cutter, job="J-1027").splitlines()
    point = "flat-middle" if cutter.kind == "wheel" else "end-centre"
    first = next(number for number, line in enumerate(lines) if line.startswith("G0"))
    assert lines[:first] == [
        "(JOB J-1027)",
        "(FRAME x=+X h=+Y n=+Z)",
        "(ORIGIN X0.000 Y0.000 Z0.000)",
        f"(POINT {point})",
        "G21 G90 G17",
    ]
    # Away from the metal before anything else: the wheel upward, the mill off the face.
    assert re.fullmatch(r"G0 Y\S+" if cutter.kind == "wheel" else r"G0 Z5\.000", lines[first])
    spindle = next(number for number, line in enumerate(lines) if "M3" in line)
    assert lines[spindle].endswith(f"S{choose_feeds(cutter, 'brass', PLAIN).speed_rpm:.0f}")
    cutting = next(number for number, line in enumerate(lines) if re.match(r"G[123] ", line))
    assert spindle < cutting
    assert "F" in lines[cutting]
    assert lines[-2:] == ["M5", "M30"]


@pytest.mark.parametrize("cutter", [WHEEL, MILL])
def test_every_line_is_a_comment_or_words_with_one_of_a_kind(cutter):
    machine = replace(PLAIN, percent=True, coolant=True, line_numbers=True)
    lines = write(cutter, machine).splitlines()
    assert (lines[0], lines[-1]) == ("%", "%")
    numbers = []
    for line in lines[1:-1]:
        number, rest = line.split(" ", 1)
        numbers.append(int(number.removeprefix("N")))
        if not rest.startswith("("):
            words = rest.split(" ")
            assert all(WORD.fullmatch(word) for word in words)
            letters = [word[0] for word in words if word[0] not in "GM"]
            assert len(set(letters)) == len(letters)
    assert numbers == sorted(set(numbers))
    text = "\n".join(lines)
    assert text.index("M8") < text.index("G1 ") < text.index("M9") < text.index("M5")
    assert "M8" not in write(cutter)


def test_a_length_has_as_many_decimals_as_the_machine_wants_and_no_negative_zero():
    for decimals in (3, 4, 6):
        text = write(machine=replace(PLAIN, decimals=decimals))
        lengths = re.findall(r"(?<=[XYZIJ])-?\d+\.\d+", text)
        assert {len(length.split(".")[1]) for length in lengths} == {decimals}
        assert not [length for length in lengths if length.startswith("-") and float(length) == 0]


@pytest.mark.parametrize("cutter", [WHEEL, MILL])
def test_the_bitting_and_the_depths_are_not_written_as_such(cutter):
    head = [line for line in write(cutter, job="17").splitlines() if "(" in line]
    assert len(head) == 4
    assert not any(re.search(r"4 2 1 3|bitting|depth", line, re.IGNORECASE) for line in head)


def test_a_comment_cannot_break_out_of_its_brackets():
    text = write(job="1) G0 Z-50 (", remarks=["ein\nG0 Z-50", "Schlüssel; 100 %"])
    lines = text.splitlines()
    assert lines[:3] == ["(JOB 1_ G0 Z-50 _)", "(ein_G0 Z-50)", "(Schl_ssel_ 100 _)"]


@pytest.mark.parametrize("cutter", [WHEEL, MILL])
@pytest.mark.parametrize("frame", [f for f in FRAMES if f[0] != (0, 1, 2) or f[1] != (1, 1, 1)])
def test_any_frame_gives_the_same_way_on_the_blade(cutter, frame):
    axes, signs = frame
    machine = replace(PLAIN, axes=axes, signs=signs, origin_mm=(100.0, -20.0, 7.5))
    if cutter is MILL and (axes[2], signs[2]) != (2, 1):
        with pytest.raises(TravelError, match="n along"):
            write(cutter, machine)
        return
    text = write(cutter, machine)
    names = [f"{n}={'+' if s > 0 else '-'}{'XYZ'[a]}" for n, a, s in zip("xhn", axes, signs, strict=True)]
    assert f"(FRAME {' '.join(names)})" in text
    assert "(ORIGIN X100.000 Y-20.000 Z7.500)" in text
    there = Frame(axes, signs, machine.origin_mm, "")
    moves = [np.array([there.to_blade(tuple(place)) for place in places]) for _, places in list_places(text)]
    plain = [places for _, places in list_places(write(cutter))]
    assert len(moves) == len(plain)
    for one, other in zip(moves[2:], plain[2:], strict=True):
        assert one == pytest.approx(other, abs=1e-6)


def test_without_arcs_a_little_metal_is_left_and_none_taken():
    x = np.linspace(0, 28, 1200)
    lined = write(machine=replace(PLAIN, arcs=False))
    assert not re.search(r"G[23] ", lined)
    left, exact = (carve(text, MILL, x, 8.4, 2.2) for text in (lined, write()))
    assert (left - exact).min() > -0.0005
    assert 0.0002 < (left - exact).max() < 0.0021


@given(st.floats(0, 7), st.floats(0.0001, 3), st.floats(0.05, 40), st.booleans(), st.integers(3, 5))
def test_an_arc_keeps_its_radius_within_what_interpreters_allow(start, turn, radius, clockwise, decimals):
    centre = (3.21987, -4.44444)
    ends = [start, start - turn if clockwise else start + turn]
    (x0, h0), (x1, h1) = (
        (centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)) for angle in ends
    )
    steps = (Step("rapid", x0, h0, -1.0), Step("finish", x1, h1, -1.0, centre, clockwise))
    path = Toolpath(steps, "end-centre", "n")
    text = write_program(path, replace(PLAIN, decimals=decimals), choose_feeds(MILL, "brass", PLAIN))
    arc = re.search(r"^G[23] X(\S+) Y(\S+) I(\S+) J(\S+)", text, re.MULTILINE)
    if arc is None:
        # Then its chord is as good: the arc stands less than half a last digit over it.
        assert radius * (1 - math.cos(turn / 2)) <= 0.5 * 10**-decimals + 1e-12
        return
    begin = np.array([round(x0, decimals), round(h0, decimals)])
    x, h, i, j = (float(word) for word in arc.groups())
    first, last = math.hypot(i, j), math.dist((x, h), np.add(begin, (i, j)))
    # LinuxCNC, G2 and G3: an error above 0.005 mm and 0.1 %.
    assert abs(first - last) < 0.005
    assert arc[0].startswith("G2" if clockwise else "G3")
    places = list_places(text)[-1][1][:, :2]
    assert abs(np.hypot(*(places - centre).T) - radius).max() < 2 * 10**-decimals


def test_travel_is_checked_on_every_axis_and_at_the_top_of_arcs():
    xs, ys, zs = (
        np.concatenate([places[:, axis] for _, places in list_places(write())[1:]]) for axis in range(3)
    )
    reach = [(np.nanmin(values), np.nanmax(values)) for values in (xs, ys, zs)]
    roomy = tuple((low - 0.001, high + 0.001) for low, high in reach)
    assert write(machine=replace(PLAIN, travel_mm=roomy)) == write()
    for axis, name in enumerate("XYZ"):
        for short in (0, 1):
            limits = list(roomy)
            limits[axis] = (roomy[axis][0] + 0.1 * (1 - short), roomy[axis][1] - 0.1 * short)
            with pytest.raises(TravelError, match=f"found {name} from"):
                write(machine=replace(PLAIN, travel_mm=tuple(limits)))
    arc = (Step("rapid", -1.0, 0.0, 0.0), Step("finish", 1.0, 0.0, 0.0, (0.0, 0.0), clockwise=True))
    with pytest.raises(TravelError, match=r"Y from 0\.000 to 1\.000"):
        write_program(
            Toolpath(arc, "end-centre", "n"),
            replace(PLAIN, travel_mm=(None, (-0.5, 0.5), None)),
            choose_feeds(MILL, "brass", PLAIN),
        )
