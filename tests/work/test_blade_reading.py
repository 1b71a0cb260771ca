"""A reading of the old key within a job, with the engines themselves: kept, weighed anew, turned over."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.silhouette import turn_over
from bittern.formats.images import decode_picture
from bittern.work.blade_outline import find_disagreements
from bittern.work.blade_reading import ReadingOrder, list_doubts, read_old_key, weigh_anew
from bittern.work.blade_record import SCAN, BladeReading, mark_reading, read_reading, write_reading
from bittern.work.errors import SealBrokenError
from tests.key_pictures import scan_key, soil
from tests.work.conftest import TECH, Bench

HERON, ALDER = "2 1 3 4 2 2 1 3", "B C D C B A B C / A B B C D C B A"


def read(bench: Bench, blade: str, png: bytes) -> BladeReading:
    order = ReadingOrder(bench.desk.pack.blades[blade], SCAN, None, keep=False)
    return read_old_key(order, png, TECH, bench.desk)


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    return {}


@pytest.fixture
def heron(bench: Bench, made: dict[str, Any]) -> BladeReading:
    """Return a reading of a scan that the engines made, once for all tests."""
    if "heron" not in made:
        scan = scan_key(bench.desk.pack.blades["heron-8"], HERON, seed=5, turned_over=False)
        made["heron"] = read(bench, "heron-8", scan.png)
    found: BladeReading = made["heron"]
    return found


def flatten(value: object) -> Any:
    """Return a value that can be compared: arrays as lists, nothing as nothing."""
    if isinstance(value, np.ndarray):
        return np.nan_to_num(value, nan=-1e9).tolist()
    if hasattr(value, "__dataclass_fields__"):
        return {name: flatten(getattr(value, name)) for name in value.__dataclass_fields__}
    if isinstance(value, tuple):
        return [flatten(one) for one in value]
    if isinstance(value, float) and np.isnan(value):
        return -1e9
    return value


def test_a_scan_is_read_with_the_resolution_that_its_file_states(heron: BladeReading) -> None:
    assert heron.measurement.bitting == HERON
    assert heron.scale_from == "600 dpi from the file"
    assert list_doubts(heron.measurement) == ()


def test_a_kept_reading_comes_back_as_it_was(heron: BladeReading) -> None:
    full = replace(heron, heights=(Reading(3, 6.2, 0.03),), stages=heron.stages[1:])
    text = write_reading(full)
    assert flatten(read_reading(text, "job 1")) == flatten(full)
    assert mark_reading(text) == mark_reading(write_reading(read_reading(text, "job 1")))
    assert mark_reading(text) != mark_reading(write_reading(heron))


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"kind": "Camera"}', '{"kind": "nobody"}', "not json"])
def test_what_another_version_kept_is_said_so(text: str) -> None:
    with pytest.raises(SealBrokenError, match="throw it away and read the picture again"):
        read_reading(text, "job 1")


def test_the_picture_that_is_kept_shows_the_blade_alone(heron: BladeReading) -> None:
    height, width = decode_picture(heron.picture).shape[:2]
    assert (width, height) == heron.picture_size
    # Every measured point lies in it, and the tip is at its right.
    known = np.isfinite(heron.silhouette.upper_mm) & (heron.silhouette.s_mm < 27)
    points = np.vstack([heron.silhouette.s_mm, heron.silhouette.upper_mm, np.ones(len(known))])[:, known]
    columns, rows = heron.picture_frame @ points
    assert columns.min() >= 0
    assert columns.max() < width
    assert (rows.min() >= 0, rows.max() < height) == (True, True)
    assert columns[0] > 0.9 * width


def test_dirt_in_a_cut_is_doubted_and_the_caliper_settles_it(bench: Bench) -> None:
    standard = bench.desk.pack.blades["heron-8"]
    scan = scan_key(standard, HERON, seed=5, turned_over=False)
    in_doubt = 0
    for width_mm in (1.5, 1.6, 1.65, 1.7, 1.75):
        before = read(bench, "heron-8", soil(scan, 3, width_mm))
        if not before.measurement.cuts[3].doubt:
            continue
        in_doubt += 1
        after = weigh_anew(before, standard, [Reading(3, 6.19, 0.03)], swapped=False)
        assert after.measurement.bitting == HERON
        assert list_doubts(after.measurement) == ()
    assert in_doubt


def test_a_caliper_that_says_otherwise_is_never_passed_over(bench: Bench, heron: BladeReading) -> None:
    standard = bench.desk.pack.blades["heron-8"]
    after = weigh_anew(heron, standard, [Reading(3, 7.9, 0.03)], swapped=False)
    assert list_doubts(after.measurement), "7.9 mm where the picture shows 6.2"
    scan = scan_key(standard, HERON, seed=5, turned_over=False)
    filled = read(bench, "heron-8", soil(scan, 3, 3.0))
    after = weigh_anew(filled, standard, [Reading(3, 6.19, 0.03)], swapped=False)
    assert after.measurement.bitting == HERON or list_doubts(after.measurement)


@pytest.mark.parametrize(
    ("height_mm", "apart"),
    [(6.2, False), (5.75, False), (6.36, False), (6.41, True), (5.3, True)],
)
def test_wear_lowers_a_root_and_never_raises_it(
    height_mm: float, apart: bool, bench: Bench, heron: BladeReading
) -> None:
    standard = bench.desk.pack.blades["heron-8"]
    said = find_disagreements(standard, heron.measurement, [Reading(3, height_mm, 0.03)])
    assert bool(said) == apart
    assert all(f"at cut 4 the caliper reads {height_mm:.2f} mm" in one for one in said)


def test_turned_over_the_edges_of_a_split_blade_change_places(bench: Bench) -> None:
    standard = bench.desk.pack.blades["alder-8"]
    scan = scan_key(standard, ALDER, seed=4, turned_over=False)
    before = read(bench, "alder-8", scan.png)
    a, b = ALDER.split(" / ")
    after = weigh_anew(before, standard, [], swapped=True)
    assert {before.measurement.bitting, after.measurement.bitting} == {f"{a} / {b}", f"{b} / {a}"}
    back = weigh_anew(after, standard, [], swapped=False)
    assert back.measurement.bitting == before.measurement.bitting


def test_turning_over_twice_is_not_turning(heron: BladeReading) -> None:
    assert flatten(turn_over(turn_over(heron.silhouette))) == flatten(heron.silhouette)


def test_a_bitting_below_the_bar_needs_a_reason_even_without_a_problem(heron: BladeReading) -> None:
    found: Measurement = replace(heron.measurement, probability=0.97)
    assert list_doubts(found) == ("the whole bitting is sure to 0.970 only",)


def test_each_step_of_the_outline_lies_on_the_key(heron: BladeReading) -> None:
    import shapely

    titles = [stage.title for stage in heron.stages]
    assert titles[0] == "The key told from the ground"
    assert len(titles) == 5
    body, coarse, axis, edges, planes = (stage.lines for stage in heron.stages)
    per_mm = 600 / 25.4
    key = shapely.Polygon(max(body, key=len))
    rim = key.exterior
    blade = heron.silhouette.s_mm < 24
    for edge in edges:
        seen = edge[blade & np.isfinite(edge[:, 1])]
        away = shapely.distance(rim, shapely.points(seen))
        assert np.median(away) < 0.15 * per_mm
    for line in (coarse[0], axis[0]):
        inside = key.intersection(shapely.LineString(line))
        assert inside.length > 20 * per_mm, "the axis runs through the blade"
    tip = shapely.LineString(planes[0])
    assert tip.distance(key) < 0.15 * per_mm
    assert tip.intersection(key).length < 3 * per_mm, "the tip's plane touches the key, it does not cut it"
