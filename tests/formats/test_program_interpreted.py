"""Programs run by an independent interpreter, LinuxCNC's rs274, where it is installed."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from bittern.engines.cutting.machine import Machine
from bittern.formats.program_reader import read_program
from bittern.work.cutting import Wish, plan_program
from tests.engines.cutting.test_toolpath import draw_bittings, get_pack, list_pairs

INTERPRETER = shutil.which("rs274")
NUMBER = r"(-?[\d.]+)"
STRAIGHT = re.compile(rf"STRAIGHT_(TRAVERSE|FEED)\({NUMBER}, {NUMBER}, {NUMBER}")
ARC = re.compile(rf"ARC_FEED\({NUMBER}, {NUMBER}, {NUMBER}, {NUMBER}, {NUMBER}, {NUMBER}")
TURNED = Machine(axes=(1, 0, 2), signs=(1, -1, 1), origin_mm=(10.0, 5.0, -3.0), decimals=4, coolant=True)
LINED = Machine(arcs=False, percent=True, line_numbers=True)


@pytest.mark.skipif(INTERPRETER is None, reason="rs274 of LinuxCNC is not installed")
@pytest.mark.parametrize(("blade", "tool"), list_pairs("edge") + list_pairs("track"))
@pytest.mark.parametrize("machine", [Machine(), TURNED, LINED], ids=["plain", "turned", "lined"])
def test_an_interpreter_makes_the_moves_that_the_reader_reads(blade, tool, machine, tmp_path):
    standard, cutter = get_pack().blades[blade], get_pack().tools[tool]
    (bitting,) = draw_bittings(standard, 1, seed=21)
    if cutter.kind == "wheel":
        machine = replace(machine, axes=(2, 1, 0), signs=(-1, 1, 1)) if machine is TURNED else machine
    text = plan_program(standard, bitting, cutter, machine, Wish(climb=machine is not LINED)).text
    (tmp_path / "key.nc").write_text(text)
    (tmp_path / "tool.tbl").write_text("T1 P1 D2.0\n")
    made = run(tmp_path / "key.nc", tmp_path / "tool.tbl")
    read = read_program(text, where="key.nc")
    assert read.ended
    # The interpreter starts at zero; the reader knows no place before the program gave one.
    assert len(made) >= len(read.moves) >= 10
    for (kind, end, about), move in zip(made[-len(read.moves) :], read.moves, strict=True):
        assert kind == ("TRAVERSE" if move.rapid else "FEED" if move.centre is None else "ARC")
        assert end == pytest.approx(move.end, abs=1e-4)
        if move.centre is not None:
            assert about == pytest.approx((*move.centre, -1 if move.clockwise else 1), abs=1e-4)


def run(program: Path, tools: Path) -> list[tuple[str, tuple[float, ...], tuple[float, ...]]]:
    """Return what the interpreter does: kind, end, and an arc's centre with its sense."""
    assert INTERPRETER is not None
    done = subprocess.run(
        [INTERPRETER, "-t", tools, "-g", program], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    moves = []
    for line in done.stdout.splitlines():
        if straight := STRAIGHT.search(line):
            moves.append((straight[1], tuple(float(value) for value in straight.groups()[1:]), ()))
        elif arc := ARC.search(line):
            x, y, i, j, sense, z = (float(value) for value in arc.groups())
            moves.append(("ARC", (x, y, z), (i, j, sense)))
    return moves
