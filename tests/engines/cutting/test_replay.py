"""The film of a program: it ends as the sweep does, loses metal only, and its changes rebuild each moment."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.replay import Replay, record_replay
from bittern.formats.program_reader import read_program
from tests.engines.cutting.programs import END, MILL, MILL_HEAD, check, get_pack, plan
from tests.engines.cutting.test_toolpath import draw_bittings
from tests.strategies.blades import HERON

FILMS = [("heron-8", "endmill-20"), ("heron-8", "wheel-84"), ("fell-9", "wheel-84"), ("eddy-6", "endmill-15")]


def film(blade_id: str, cutter_id: str, moments: int = 120) -> tuple[Replay, str, BladeStandard, Any, Cutter]:
    standard, cutter = get_pack().blades[blade_id], get_pack().tools[cutter_id]
    bitting = draw_bittings(standard, 1, seed=21)[0]
    text = plan(standard, bitting, cutter)
    replay = record_replay(read_program(text, where="a"), standard, bitting, cutter, moments=moments)
    return replay, text, standard, bitting, cutter


@pytest.mark.parametrize(("blade_id", "cutter_id"), FILMS)
def test_a_film_ends_as_the_sweep_does(blade_id: str, cutter_id: str) -> None:
    replay, text, standard, bitting, cutter = film(blade_id, cutter_id)
    result = check(text, standard, bitting, cutter)
    last = replay.moments[-1]
    there = np.isin(replay.x_mm.round(9), result.x_mm)
    assert there.sum() > 100
    at = np.searchsorted(result.x_mm, replay.x_mm[there].round(9))
    if not replay.track:
        assert np.abs(last.low_mm[there] - result.left_mm[at]).max() < 1e-9
        return
    assert result.walls_mm is not None
    for ours, theirs in zip((last.low_mm, last.high_mm), result.walls_mm, strict=True):
        cut = np.isfinite(theirs[at])
        assert np.abs(ours[there][cut] - theirs[at][cut]).max() < 1e-9
        assert np.isnan(ours[there][~cut]).all()


@pytest.mark.parametrize(("blade_id", "cutter_id"), FILMS)
def test_metal_only_goes_and_the_tool_moves_on(blade_id: str, cutter_id: str) -> None:
    replay = film(blade_id, cutter_id)[0]
    assert len(replay.moments) == 121
    assert replay.moments[0].time_s == 0
    steps = np.diff([moment.time_s for moment in replay.moments])
    assert steps == pytest.approx(replay.duration_s / 120)
    lines = [moment.line for moment in replay.moments]
    assert lines == sorted(lines)
    for before, after in zip(replay.moments, replay.moments[1:], strict=False):
        if replay.track:
            width = np.nan_to_num(before.high_mm - before.low_mm)
            assert (np.nan_to_num(after.high_mm - after.low_mm) >= width - 1e-12).all()
        else:
            assert (after.low_mm <= before.low_mm).all()
            assert (after.part_mm <= after.low_mm).all()


@pytest.mark.parametrize(("blade_id", "cutter_id"), FILMS)
def test_the_changes_rebuild_every_moment(blade_id: str, cutter_id: str) -> None:
    replay = film(blade_id, cutter_id)[0]
    data = json.loads(json.dumps(replay.as_dict(), allow_nan=False))
    state = {key: list(data[key]) for key in ("low", "high", "part")}
    assert len(data["x"]) == len(data["ideal"]) == len(state["low"])
    for told, moment in zip(data["moments"], replay.moments, strict=True):
        for key, first, values in told["changes"]:
            state[key][first : first + len(values)] = values
        for key, wanted in (("low", moment.low_mm), ("high", moment.high_mm), ("part", moment.part_mm)):
            shown = np.array([np.nan if value is None else value for value in state[key]])
            np.testing.assert_allclose(shown, wanted, atol=0.00051)
        assert told["tool"] == pytest.approx(moment.tool_mm, abs=0.00051)


def test_time_is_way_by_feed() -> None:
    text = MILL_HEAD.replace("F100", "F60") + "G0 X5 Y12 Z5\nG1 X15\nG2 X17 Y10 I0 J-2\nG0 Y12\n" + END
    replay = record_replay(read_program(text, where="a"), HERON, draw_bittings(HERON, 1, seed=1)[0], MILL)
    assert replay.duration_s == pytest.approx(10 + np.pi + 2 / 50)
    assert replay.get_moment(5.0).tool_mm[0] == pytest.approx(10, abs=0.06)
    assert replay.get_moment(-1) is replay.moments[0]
    assert replay.get_moment(1e9) is replay.moments[-1]
    assert replay.moments[-1].rapid


def test_a_moment_knows_the_depth_that_is_only_part() -> None:
    text = MILL_HEAD + "G0 X12 Y9 Z5\nG1 Z-1\nG1 X14\nG0 Z5\n" + END
    replay = record_replay(read_program(text, where="a"), HERON, draw_bittings(HERON, 1, seed=1)[0], MILL)
    last = replay.moments[-1]
    at = int(np.argmin(abs(replay.x_mm - 13)))
    assert last.low_mm[at] == 8.4
    assert last.part_mm[at] == pytest.approx(8.0)


def test_the_number_of_moments_has_bounds() -> None:
    motion = read_program(plan(HERON, draw_bittings(HERON, 1, seed=1)[0], MILL), where="a")
    for asked, got in ((0, 2), (5, 5), (10**9, 2000)):
        replay = record_replay(motion, HERON, draw_bittings(HERON, 1, seed=1)[0], MILL, moments=asked)
        assert len(replay.moments) == got + 1


def test_a_mill_above_the_face_takes_nothing_in_the_film() -> None:
    text = MILL_HEAD + "G0 X5 Y7 Z5\nG1 Z1\nG1 X20\nG0 Z5\n" + END
    replay = record_replay(read_program(text, where="a"), HERON, draw_bittings(HERON, 1, seed=1)[0], MILL)
    assert (replay.moments[-1].part_mm == 8.4).all()
