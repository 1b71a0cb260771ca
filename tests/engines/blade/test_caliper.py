"""From caliper readings to a bitting that shows its doubt."""

from __future__ import annotations

import json
import math
import random
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.blade.bitting import Bitting, find_violations, format_bitting, parse_bitting
from bittern.engines.blade.caliper import TOLERANCES, Reading, decode_readings
from bittern.engines.blade.errors import ReadingError
from tests.strategies.blades import HERON, RAIL, SNIPE, TEAL, cut_blades

WRITTEN = "2 1 3 4 2 2 1 3"


def read_exactly(standard, bitting: Bitting, sd_mm: float = 0.02) -> list[Reading]:
    cuts = [cut for edge in bitting.edges for cut in edge]
    return [Reading(number, standard.depths_mm[cut], sd_mm) for number, cut in enumerate(cuts)]


def read_heron(**heights: float) -> list[Reading]:
    """Readings of the heron key with some of its cuts, named c1 to c8, otherwise."""
    readings = read_exactly(HERON, parse_bitting(HERON, WRITTEN))
    for name, height in heights.items():
        number = int(name[1:]) - 1
        readings[number] = Reading(number, height, 0.02)
    return readings


@pytest.mark.parametrize(
    ("standard", "text"),
    [
        (HERON, WRITTEN),
        (RAIL, "2 1 3 4 2 2 1 3 4 4"),
        (TEAL, "2 1 3 4 2 2 1 3 4 4 / 1 2 2 4 3 2 2 1 3 3"),
        (SNIPE, "2 1 3 4 2 2 1 3 4 4"),
    ],
    ids=lambda value: getattr(value, "id", ""),
)
def test_good_readings_give_the_bitting_surely_and_without_problems(standard, text):
    measured = decode_readings(standard, read_exactly(standard, parse_bitting(standard, text)))
    assert (measured.bitting, measured.allowed, measured.problems) == (text, True, ())
    assert measured.probability > 0.99
    assert all(cut.distance_mm == 0 and cut.probability > 0.999 for cut in measured.cuts)


@given(cut_blades(), st.randoms(use_true_random=False))
def test_the_bitting_is_found_in_any_order_of_rows_through_small_noise(blade, rng: random.Random):
    standard, bitting = blade
    sd = standard.tolerance_mm / 4
    readings = [
        Reading(reading.cut, reading.height_mm + rng.uniform(-sd, sd), sd)
        for reading in read_exactly(standard, bitting)
    ]
    rng.shuffle(readings)
    measured = decode_readings(standard, readings)
    assert measured.bitting == format_bitting(standard, bitting)
    assert measured.problems == ()


def test_probabilities_are_those_of_a_normal_error_with_the_factorys_tolerance_in_it():
    height, sd = 7.16, 0.15
    (cut,) = [cut for cut in decode_readings(HERON, [Reading(0, height, sd)]).cuts if cut.name == "1"]
    spread = math.hypot(sd, HERON.tolerance_mm / 2)
    plain = [math.exp(-(((height - depth) / spread) ** 2) / 2) for depth in HERON.depths_mm]
    for label, weight in zip(HERON.labels, plain, strict=True):
        assert cut.by_label[label] == pytest.approx(weight / sum(plain), abs=2e-3)


@given(st.floats(5.9, 8.3), st.floats(0.001, 0.5))
def test_labels_share_a_certainty_of_one_and_the_nearest_has_most(height, sd):
    (cut, *_) = decode_readings(HERON, [Reading(0, height, sd)]).cuts
    assert math.fsum(cut.by_label.values()) == pytest.approx(1)
    nearest = min(zip(HERON.depths_mm, HERON.labels, strict=True), key=lambda pair: abs(pair[0] - height))
    assert cut.label == nearest[1]
    assert cut.probability == max(cut.by_label.values()) == cut.by_label[cut.label]
    assert cut.distance_mm == abs(nearest[0] - height)


@given(st.integers(0, 2), st.floats(0.2501, 0.7499), st.floats(0.001, 0.3))
def test_a_reading_between_two_depths_is_never_hidden_however_sure_the_caliper(gap, share, sd):
    upper, lower = HERON.depths_mm[gap : gap + 2]
    readings = read_heron()
    readings[4] = Reading(4, upper + share * (lower - upper), sd)
    (problem,) = decode_readings(HERON, readings).problems[:1]
    assert problem.startswith("cut 5 reads")
    assert f"depth {HERON.labels[gap]} (" in problem
    assert f"depth {HERON.labels[gap + 1]} (" in problem
    assert problem.endswith("measure it again")


def test_a_reading_in_the_middle_is_as_unsure_as_a_coin_or_worse():
    measured = decode_readings(HERON, read_heron(c3=7.1))
    assert measured.cuts[2].probability <= 0.5 + 1e-9
    assert measured.probability <= 0.5
    assert [cut.probability > 0.99 for cut in measured.cuts].count(False) == 1


@pytest.mark.parametrize("height", [8.2, 5.95])
def test_a_reading_beyond_the_last_depth_is_reported(height):
    (problem,) = decode_readings(HERON, read_heron(c2=height)).problems[:1]
    assert "cut 2" in problem
    assert "beyond depth" in problem


@pytest.mark.parametrize(
    ("height", "reason"), [(9.0, "uncut"), (-1.0, "no blade"), (0.0, "no blade"), (1e300, "uncut")]
)
def test_a_height_no_blade_can_have_leaves_the_cut_unknown(height, reason):
    measured = decode_readings(HERON, read_heron(c4=height))
    assert measured.bitting == "2 1 3 ? 2 2 1 3"
    assert measured.probability < 0.3
    assert reason in measured.problems[0]
    assert "cut 4" in measured.problems[0]


def test_a_caliper_laid_across_both_edges_is_recognised():
    measured = decode_readings(RAIL, [Reading(0, 2 * 3.9, 0.02)])
    assert "sum of both heights" in measured.problems[0]


def test_an_offset_outside_the_face_is_no_reading_of_a_track():
    assert decode_readings(SNIPE, [Reading(0, -4.9, 0.02)]).cuts[0].label == "?"
    assert decode_readings(SNIPE, [Reading(0, -1.5, 0.02)]).cuts[0].label == "1"


def test_a_cut_without_a_reading_is_unknown_and_never_sure():
    readings = [reading for reading in read_heron() if reading.cut not in (1, 6)]
    measured = decode_readings(HERON, readings)
    assert measured.bitting == "2 ? 3 4 2 2 ? 3"
    assert measured.problems == ("cut 2 was not measured", "cut 7 was not measured")
    assert measured.probability == pytest.approx(1 / 16, rel=0.01)
    assert (measured.cuts[1].depth_mm, measured.cuts[1].sd_mm) == (None, None)
    assert all("?" in bitting for bitting, _, _ in measured.runners_up)


def test_no_readings_at_all_is_an_unknown_bitting():
    measured = decode_readings(TEAL, [])
    assert measured.bitting == " / ".join([" ".join("?" * 10)] * 2)
    assert [problem.split()[1] for problem in measured.problems] == [
        f"{edge}{number}" for edge in "AB" for number in range(1, 11)
    ]


def test_a_bitting_the_rules_forbid_is_shown_and_not_allowed():
    measured = decode_readings(HERON, read_exactly(HERON, parse_bitting(HERON, "1 4 1 1 1 1 3 3")))
    assert measured.bitting == "1 4 1 1 1 1 3 3"
    assert not measured.allowed
    assert ["macs" in problem or "max_run" in problem for problem in measured.problems] == [True] * 3


def test_many_slight_doubts_name_the_weakest_cut():
    readings = [Reading(reading.cut, reading.height_mm + 0.1, 0.165) for reading in read_heron()]
    readings[5] = Reading(5, HERON.depths_mm[1] - 0.11, 0.165)
    measured = decode_readings(HERON, readings)
    assert all(cut.probability > TOLERANCES.bar for cut in measured.cuts)
    assert measured.probability < TOLERANCES.bar
    (problem,) = measured.problems
    assert "measure cut 6 again" in problem


@given(st.lists(st.floats(6.0, 8.2), min_size=4, max_size=4), st.floats(0.05, 0.4))
def test_runners_up_are_the_next_best_of_all_bittings(heights, sd):
    four = replace(HERON, positions_mm=HERON.positions_mm[:4])
    measured = decode_readings(four, [Reading(cut, height, sd) for cut, height in enumerate(heights)])
    chances = {
        " ".join(labels): math.prod(
            cut.by_label[label] for cut, label in zip(measured.cuts, labels, strict=True)
        )
        for labels in product(four.labels, repeat=4)
    }
    best = sorted(chances.values(), reverse=True)[:6]
    shown = [(measured.bitting, measured.probability)]
    shown += [(bitting, probability) for bitting, probability, _ in measured.runners_up]
    assert [probability for _, probability in shown] == pytest.approx(best)
    assert [chances[bitting] for bitting, _ in shown] == pytest.approx(best)
    assert len({bitting for bitting, _ in shown}) == 6
    for bitting, _, allowed in measured.runners_up:
        assert allowed == (not find_violations(four, parse_bitting(four, bitting)))


@pytest.mark.parametrize(
    "readings",
    [
        [Reading(0, 7.4, 0.02), Reading(0, 7.4, 0.02)],
        [Reading(8, 7.4, 0.02)],
        [Reading(-1, 7.4, 0.02)],
        [Reading(0, math.nan, 0.02)],
        [Reading(0, math.inf, 0.02)],
        [Reading(0, 7.4, 0.0)],
        [Reading(0, 7.4, -0.02)],
        [Reading(0, 7.4, math.nan)],
        [Reading(0, 7.4, math.inf)],
    ],
)
def test_a_reading_that_is_none_is_refused(readings):
    with pytest.raises(ReadingError):
        decode_readings(HERON, readings)


def test_the_result_has_the_fixed_keys_and_is_plain_json():
    data = decode_readings(HERON, read_heron()[:-1]).as_dict()
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert {"standard", "bitting", "probability", "cuts", "runners_up", "allowed", "problems"} <= set(data)
    assert {"label", "probability", "depth_mm", "sd_mm", "by_label"} <= set(data["cuts"][0])
    assert {"bitting", "probability"} <= set(data["runners_up"][0])
