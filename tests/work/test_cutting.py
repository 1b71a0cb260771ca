"""Programs planned, read back and swept: every demo blade, and any sound one."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.errors import CutterError
from bittern.engines.cutting.machine import Machine
from bittern.work.cutting import (
    Wish,
    list_fitting,
    list_spoiling,
    list_warnings,
    plan_program,
    prove_program,
)
from tests.engines.cutting.test_toolpath import draw_bittings, get_pack, list_pairs
from tests.strategies.blades import HERON, cut_blades

MACHINE = Machine()


@pytest.mark.parametrize(("blade", "tool"), list_pairs("edge") + list_pairs("track"))
def test_every_demo_blade_is_right_to_a_fifth_of_its_tolerance(blade, tool):
    standard, cutter = get_pack().blades[blade], get_pack().tools[tool]
    for number, bitting in enumerate(draw_bittings(standard, 2, seed=31)):
        edge = number if standard.sides == "split" else 0
        wish = Wish(edge=edge, climb=number == 0, material=("brass", "steel")[number])
        planned = plan_program(standard, bitting, cutter, MACHINE, wish)
        swept = prove_program(planned.text, standard, bitting, cutter, edge=edge)
        assert swept.root_error_mm <= standard.tolerance_mm / 5
        assert swept.gouge_mm <= 0.005
        # What the plan leaves in corners, and what the sweep finds left, agree but for the sweep's own grid.
        assert swept.worst_error_mm <= swept.unreachable_mm + 0.006
        assert list_spoiling(swept) == []
        assert swept.good


@settings(max_examples=40, deadline=None)
@given(cut_blades("edge"), st.data())
def test_no_sound_blade_is_gouged_and_only_the_bow_keeps_metal(blade, data):
    standard, bitting = blade
    edge = data.draw(st.integers(0, len(bitting.edges) - 1))
    share = data.draw(st.floats(0.3, 1))
    if data.draw(st.booleans()):
        angle = standard.angle_deg * data.draw(st.floats(0.5, 1))
        cutter = Cutter("drawn", "wheel", 100.0, 40, "hss", standard.flat_mm * share, angle)
    else:
        widest = standard.flat_mm / math.tan(math.radians(90 - standard.angle_deg / 2) / 2)
        cutter = Cutter("drawn", "endmill", max(0.3, widest * share), 2, "carbide")
    wish = Wish(
        edge=edge, climb=data.draw(st.booleans()), pass_mm=data.draw(st.none() | st.floats(0.05, 3.0))
    )
    machine = Machine(arcs=data.draw(st.booleans()))
    if not list_fitting([cutter], standard):
        with pytest.raises(CutterError):
            plan_program(standard, bitting, cutter, machine, wish)
        return
    text = plan_program(standard, bitting, cutter, machine, wish).text
    swept = prove_program(text, standard, bitting, cutter, edge=edge)
    assert swept.gouge_mm <= 0.005
    spoilt = {finding.kind for finding in swept.findings if finding.spoils}
    # Metal that was to be gone and is kept may stand in the way of the move back; such a plan is refused.
    assert spoilt <= {"root", "uncut", "rapid"}
    mouth = standard.flat_mm / 2 + (get_edge_height_mm(standard) - min(standard.depths_mm)) * math.tan(
        math.radians(standard.angle_deg) / 2
    )
    room = min(x if standard.datum == "shoulder" else standard.length_mm - x for x in standard.positions_mm)
    # Only a cut whose mouth or mill comes as far as the shoulder may keep metal: there stands the bow.
    reach = max(mouth, cutter.diameter_mm / 2 if cutter.kind == "endmill" else 0.0)
    assert spoilt == set() or room <= reach + 0.1


def test_a_program_that_leaves_a_root_high_is_told_and_why():
    wheel = get_pack().tools["wheel-90"]
    cut, wanted = (parse_bitting(HERON, text) for text in ("1 2 1 3 4 2 2 1", "2 2 1 3 4 2 2 1"))
    text = plan_program(HERON, cut, wheel, MACHINE, Wish()).text
    swept = prove_program(text, HERON, wanted, wheel)
    assert swept.root_error_mm == pytest.approx(0.6)
    (reason, *_) = list_spoiling(swept)
    assert "0.6" in reason


def test_what_a_mill_leaves_in_the_corners_is_said_once():
    mill = get_pack().tools["endmill-20"]
    bitting = parse_bitting(HERON, "4 2 1 3 4 2 2 1")
    planned = plan_program(HERON, bitting, mill, MACHINE, Wish())
    swept = prove_program(planned.text, HERON, bitting, mill)
    assert any(finding.kind == "corner" for finding in swept.findings)
    assert len([warning for warning in list_warnings(planned, swept) if "0.090" in warning]) == 1


def test_the_cutter_s_minutes_are_those_at_a_cutting_feed():
    wheel = get_pack().tools["wheel-90"]
    bitting = parse_bitting(HERON, "4 2 1 3 4 2 2 1")
    quick, slow = (
        plan_program(HERON, bitting, wheel, MACHINE, Wish(feed_mm_min=feed)).duration for feed in (120, 60)
    )
    assert quick.cutting_mm == slow.cutting_mm < quick.length_mm
    # Half the feed: twice the minutes, but for speeding up and slowing down.
    assert slow.cutting_s == pytest.approx(2 * quick.cutting_s, rel=0.02)
    assert slow.time_s - slow.cutting_s == pytest.approx(quick.time_s - quick.cutting_s)
