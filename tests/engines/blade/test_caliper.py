"""From caliper readings to a bitting that shows its doubt."""

from __future__ import annotations

import json
import math
import random
from dataclasses import replace
from itertools import pairwise, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.blade.bitting import Bitting, format_bitting, parse_bitting
from bittern.engines.blade.caliper import TOLERANCES, Reading, decode_readings
from bittern.engines.blade.errors import ReadingError
from bittern.engines.blade.heights import AMOUNTS, LOWS, POWERS, ZEROS
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


@settings(deadline=None)
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
    # With few cuts, all deep, nothing shows how much the key is worn: that alone may be in doubt.
    assert all("measure it again" in one or "sure to" in one for one in measured.problems)


@given(st.floats(5.9, 8.3), st.floats(0.001, 0.5))
def test_labels_share_a_certainty_of_one_and_the_best_is_taken(height, sd):
    (cut, *_) = decode_readings(HERON, [Reading(0, height, sd)]).cuts
    assert math.fsum(cut.by_label.values()) == pytest.approx(1)
    assert cut.probability == max(cut.by_label.values()) == cut.by_label[cut.label]
    assert cut.distance_mm == min(abs(depth - height) for depth in HERON.depths_mm)


@pytest.mark.parametrize("amount", [0.2, 0.35, 0.5])
def test_a_worn_key_gives_the_bitting_the_factory_cut_not_the_nearest_depths(amount):
    """Loss in proportion to height, a tenth at the deepest root: what a pocket does (common practice)."""
    spread = HERON.depths_mm[0] - HERON.depths_mm[-1]
    readings = [
        Reading(
            one.cut,
            one.height_mm
            - amount * 0.6 * (0.1 + 0.9 * (one.height_mm - HERON.depths_mm[-1]) / spread)
            - 0.12,
            0.02,
        )
        for one in read_heron()
    ]
    measured = decode_readings(HERON, readings)
    nearest = [
        min(range(4), key=lambda number: abs(HERON.depths_mm[number] - one.height_mm)) for one in readings
    ]
    assert measured.bitting == WRITTEN
    assert measured.wear_mm == pytest.approx(
        sum(one.height_mm - low.height_mm for one, low in zip(read_heron(), readings, strict=True)) / 8,
        abs=0.05,
    )
    if amount > 0.3:
        assert [HERON.labels[number] for number in nearest] != WRITTEN.split()


def test_neighbours_bound_a_cut_that_was_not_measured():
    """Heron's largest step is 2: between two cuts of depth 4 there is no depth 1."""
    readings = [one for one in read_exactly(HERON, parse_bitting(HERON, "4 4 4 3 2 2 1 3")) if one.cut != 1]
    cut = decode_readings(HERON, readings).cuts[1]
    assert cut.label == "?"
    assert cut.by_label["1"] < 0.001 < cut.by_label["2"]


@given(st.integers(0, 2), st.floats(0.3, 0.7), st.floats(0.001, 0.3))
def test_a_reading_between_two_depths_is_never_hidden_however_sure_the_caliper(gap, share, sd):
    upper, lower = HERON.depths_mm[gap : gap + 2]
    readings = read_heron()
    readings[4] = Reading(4, upper + share * (lower - upper), sd)
    (problem,) = decode_readings(HERON, readings).problems[:1]
    assert problem.startswith("cut 5 reads")
    assert f"depth {HERON.labels[gap]} (" in problem
    assert f"depth {HERON.labels[gap + 1]} (" in problem
    assert problem.endswith("measure it again")


def test_a_reading_in_the_middle_is_nearly_as_unsure_as_a_coin():
    measured = decode_readings(HERON, read_heron(c3=7.1))
    assert measured.cuts[2].probability <= 0.6
    assert measured.probability <= 0.6
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
    assert measured.probability < 0.2
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
    readings = [Reading(reading.cut, reading.height_mm, 0.105) for reading in read_heron()]
    readings[5] = Reading(5, HERON.depths_mm[1] - 0.05, 0.105)
    measured = decode_readings(HERON, readings)
    assert all(cut.probability > TOLERANCES.bar for cut in measured.cuts)
    assert measured.probability < TOLERANCES.bar
    (problem,) = measured.problems
    assert "measure cut" in problem
    weakest = min(measured.cuts, key=lambda cut: cut.probability)
    assert f"cut {weakest.name} again" in problem


@settings(deadline=None, max_examples=20)
@given(st.lists(st.floats(6.0, 8.2), min_size=3, max_size=3), st.floats(0.05, 0.4))
def test_bittings_and_their_chances_are_those_of_summing_over_every_bitting_and_all_nuisances(heights, sd):
    """Beside the lattice: every bitting written out, by plain sums over the same grid."""
    three = replace(HERON, positions_mm=HERON.positions_mm[:3], macs=1)
    readings = [Reading(cut, height, sd) for cut, height in enumerate(heights)]
    chances: dict[str, float] = dict.fromkeys((" ".join(p) for p in product(three.labels, repeat=3)), 0.0)
    for weight, worn, variance, off in list_points(three, sd):
        for numbers in product(range(4), repeat=3):
            like = weight
            for height, number in zip(heights, numbers, strict=True):
                z2 = (height - worn[number] - off) ** 2 / variance[number]
                like *= (1 + z2 / 6) ** -3.5 / math.sqrt(variance[number])
                over = max(0.0, (three.depths_mm[number] - worn[number]) / 0.6 - 0.85) / 0.03
                like *= math.exp(-(over**2) / 2)
            steps = sum(abs(a - b) > 1 for a, b in pairwise(numbers))
            chances[" ".join(three.labels[number] for number in numbers)] += like * math.exp(-4.6 * steps)
    total = sum(chances.values())
    measured = decode_readings(three, readings)
    shown = [(measured.bitting, measured.probability)]
    shown += [(bitting, probability) for bitting, probability, _ in measured.runners_up]
    for bitting, probability in shown:
        assert probability == pytest.approx(chances[bitting] / total, rel=1e-3, abs=1e-6)
    best = sorted(chances.values(), reverse=True)[0]
    assert chances[measured.bitting] == pytest.approx(best)


def list_points(standard, sd):
    """Yield weight, worn heights, variances and zero error of each point of the grid, by plain arithmetic."""
    depths = standard.depths_mm
    for index, amount in enumerate(AMOUNTS):
        before, after = AMOUNTS[max(index - 1, 0)], AMOUNTS[min(index + 1, len(AMOUNTS) - 1)]
        span = (after - before) / (1 if index in (0, len(AMOUNTS) - 1) else 2)
        for (low, p_low), (power, p_power), (zero, p_zero) in product(LOWS, POWERS, ZEROS):
            lost = [0.6 * amount * (low + (1 - low) * ((d - depths[-1]) / 1.8) ** power) for d in depths]
            weight = span * p_low * p_power * p_zero * math.exp(-((amount / 0.6) ** 2) / 2)
            variance = [sd**2 + (standard.tolerance_mm / 2) ** 2 + (0.1 * one) ** 2 for one in lost]
            yield weight, [d - one for d, one in zip(depths, lost, strict=True)], variance, zero * 0.015


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
