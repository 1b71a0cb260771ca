"""Where one stands on the ladders: whatever is pressed, the next cutting is the right one."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.blade.climbing import Standing, follow_climb, name_deeper
from tests.strategies.blades import HERON, TEAL

plans = st.lists(st.integers(1, 4), min_size=1, max_size=5)
presses = st.lists(st.sampled_from(["no", "spoilt", "back"]), max_size=30)


@given(plans, presses)
def test_what_did_not_turn_is_counted_rung_by_rung(rungs, kinds):
    """Against a plain list of everything that still counts."""
    total, counted = sum(rungs), []
    for kind in kinds:
        if kind == "back":
            counted = counted[:-1]
        elif counted.count("no") < total:
            counted.append(kind)
    now = follow_climb(rungs, kinds)
    tried = counted.count("no")
    assert now.tried == tried
    flat = [(i, j) for i, count in enumerate(rungs) for j in range(count)]
    assert (now.ladder, now.rung) == (flat[tried] if tried < total else (len(rungs), 0))
    done = sum(1 for i in range(len(rungs)) if sum(rungs[: i + 1]) <= tried)
    assert now.wasted == done + counted.count("spoilt")
    assert now.blank == now.wasted + (tried < total)


@given(plans, presses)
def test_a_new_blank_is_uncut_and_every_other_carries_the_rung_before(rungs, kinds):
    now = follow_climb(rungs, kinds)
    assert now.new_blank or now.rung > 0
    assert follow_climb(rungs, [*kinds, "spoilt"]).new_blank


@given(plans, presses, st.sampled_from(["no", "spoilt"]))
def test_a_step_back_takes_back_exactly_one(rungs, kinds, more):
    before = follow_climb(rungs, kinds)
    if before.ladder < len(rungs):
        assert follow_climb(rungs, [*kinds, more, "back"]) == before


def test_a_spoilt_blank_begins_its_ladder_again_at_the_same_rung():
    now = follow_climb((3, 2), ["no", "spoilt"])
    assert now == Standing(ladder=0, rung=1, blank=2, new_blank=True, tried=1, wasted=1)
    assert replace(now, new_blank=False, rung=2, tried=2) == follow_climb((3, 2), ["no", "spoilt", "no"])


def test_the_deeper_cuts_are_named_as_the_blade_names_them():
    before, after = parse_bitting(HERON, "2 1 3 1 2 2 1 3"), parse_bitting(HERON, "2 1 3 2 2 2 1 4")
    assert name_deeper(HERON, before, after) == ("4", "8")
    assert len(name_deeper(HERON, None, after)) == 8
    one, other = " ".join("1212121212"), " ".join("1212121213")
    assert name_deeper(
        TEAL, parse_bitting(TEAL, f"{one} / {one}"), parse_bitting(TEAL, f"{one} / {other}")
    ) == ("B10",)
