"""Speeds, feeds and times against printed examples and closed forms."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.duration import get_duration, get_move_time_s
from bittern.engines.cutting.feeds import (
    BLADE_MATERIALS,
    SPEEDS_M_MIN,
    choose_depths,
    choose_feeds,
    get_feed_mm_min,
    get_speed_rpm,
)
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.steps import Step

WHEEL = Cutter("wheel-90", "wheel", 60.0, 40, "hss", flat_mm=1.0, angle_deg=90.0)
MILL = Cutter("mill-2", "endmill", 2.0, 2, "carbide")
FAST = Machine(slowest_rpm=1.0, fastest_rpm=1e6, feed_mm_min=1e6)
FOOT_M = 0.3048


def test_the_spindle_speed_is_that_of_the_printed_example():
    # phantom.eu, cutting data: 25 m/min at 12 mm gives 663 1/min (printed with 3.14 as 663.5).
    assert get_speed_rpm(25.0, 12.0) == pytest.approx(663, abs=1)


@pytest.mark.parametrize(("tooth", "teeth", "feed"), [(0.065, 2, 86), (0.065, 3, 129), (0.06, 4, 159)])
def test_the_feed_is_that_of_the_printed_examples(tooth, teeth, feed):
    # The same page, at 663 1/min.
    assert get_feed_mm_min(tooth, teeth, 663) == pytest.approx(feed, abs=0.6)


def test_the_feed_of_a_milling_cutter_of_many_teeth_is_that_of_the_printed_example():
    # Niagara milling handbook (1973): .004 in a tooth x 32 teeth = .128 in a turn; at 88 turns 11.26 in/min.
    assert get_feed_mm_min(0.004, 32, 1) == pytest.approx(0.128)
    assert get_feed_mm_min(0.004, 32, 88) == pytest.approx(11.26, abs=0.01)


def test_brass_is_cut_no_slower_than_with_carbon_steel_and_no_faster_than_printed():
    # Machine Shop Work, Table IV (chestofbooks.com): soft brass with carbon-steel cutters 120 feet a minute.
    assert SPEEDS_M_MIN["hss", "brass"] >= 120 * FOOT_M
    # docslib 5103932: milling brass with high-speed steel 150 to 450 feet a minute, carbide up to twice.
    assert 150 * FOOT_M <= SPEEDS_M_MIN["hss", "brass"] <= 450 * FOOT_M
    assert SPEEDS_M_MIN["carbide", "brass"] <= 2 * SPEEDS_M_MIN["hss", "brass"]


@pytest.mark.parametrize("cutter", [WHEEL, MILL])
def test_harder_metal_is_cut_slower_and_in_thinner_passes(cutter):
    chosen = [choose_feeds(cutter, material, FAST) for material in BLADE_MATERIALS]
    feeds = [one.rough_mm_min for one in chosen]
    passes = [choose_depths(cutter, material).pass_mm for material in BLADE_MATERIALS]
    assert feeds == sorted(feeds, reverse=True)
    assert passes == sorted(passes, reverse=True)
    assert len(set(feeds)) == len(set(passes)) == 3


def test_the_feed_follows_from_the_speed_that_the_program_says():
    chosen = choose_feeds(WHEEL, "brass", FAST)
    assert chosen.speed_rpm == 318
    assert chosen.rough_mm_min == pytest.approx(0.01 * 40 * 318)
    assert chosen.plunge_mm_min < chosen.finish_mm_min < chosen.rough_mm_min
    assert chosen.remarks == ()


def test_what_a_person_chose_is_kept_within_the_machine_s_limits():
    chosen = choose_feeds(MILL, "steel", FAST, speed_rpm=5000, feed_mm_min=77)
    assert (chosen.speed_rpm, chosen.rough_mm_min) == (5000, 77)
    assert choose_depths(MILL, "steel", pass_mm=0.33).pass_mm == 0.33
    slow = Machine(fastest_rpm=4000, feed_mm_min=60)
    chosen = choose_feeds(MILL, "steel", slow, speed_rpm=5000, feed_mm_min=77)
    assert (chosen.speed_rpm, chosen.rough_mm_min) == (4000, 60)
    assert len(chosen.remarks) == 2
    assert choose_feeds(WHEEL, "steel", Machine(slowest_rpm=500)).speed_rpm == 500


@given(st.floats(0.001, 1e3), st.floats(0.01, 100), st.floats(1, 1e4))
def test_the_time_of_a_move_is_the_integral_of_its_speed(length, speed, acceleration):
    needed = get_move_time_s(length, speed, acceleration)
    # The distance covered in that time by speeding up, running and slowing down.
    rise = min(needed / 2, speed / acceleration)
    covered = acceleration * rise**2 + speed * max(0.0, needed - 2 * rise)
    assert covered == pytest.approx(length, rel=1e-6)
    assert needed >= length / speed


def test_smooth_joints_are_run_through_and_corners_are_not():
    feeds = choose_feeds(MILL, "brass", FAST, feed_mm_min=600)
    machine = Machine(acceleration_mm_s2=100.0, rapid_mm_min=6000.0)
    start = Step("rapid", 0.0, 0.0, 0.0)
    rough = [Step("rough", 10.0, 0.0, 0.0), Step("rough", 11.0, 1.0, 0.0, (10.0, 1.0), clockwise=False)]
    smooth = get_duration([start, *rough, Step("rough", 11.0, 9.0, 0.0)], feeds, machine)
    assert smooth.length_mm == pytest.approx(10 + math.pi / 2 + 8)
    assert smooth.time_s == pytest.approx(get_move_time_s(smooth.length_mm, 10.0, 100.0))
    assert smooth.cutting_s == smooth.time_s
    corner = get_duration(
        [start, Step("rough", 10.0, 0.0, 0.0), Step("rough", 10.0, 8.0, 0.0)], feeds, machine
    )
    assert corner.time_s == pytest.approx(sum(get_move_time_s(s, 10.0, 100.0) for s in (10, 8)))
    mixed = get_duration([start, *rough[:1], Step("rapid", 20.0, 0.0, 0.0)], feeds, machine)
    assert mixed.time_s == pytest.approx(get_move_time_s(10, 10, 100) + get_move_time_s(10, 100, 100))
    assert (mixed.cutting_mm, mixed.length_mm) == (10, 20)
