"""The bittings that are left: against every bitting tried by the rules themselves."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.blade import remaining as subject
from bittern.engines.blade.bitting import Bitting, Cuts, find_violations
from bittern.engines.blade.remaining import (
    count_remaining,
    enumerate_remaining,
    rank_unknown_cuts,
    to_bitting,
)
from bittern.engines.blade.standard import BladeStandard
from tests.strategies.blades import standards


@st.composite
def known_cuts(draw: st.DrawFn) -> tuple[BladeStandard, Bitting]:
    """Return a standard and a bitting of it with so many unknown cuts that all can be tried."""
    standard = draw(standards(kind="edge"))
    depths, places = len(standard.labels), len(standard.positions_mm)
    edges = 2 if standard.sides == "split" else 1
    cuts = [draw(st.integers(0, depths - 1)) for _ in range(edges * places)]
    most = 4 if depths <= 6 else 3
    free = draw(st.sets(st.integers(0, len(cuts) - 1), max_size=most))
    row = [None if i in free else cut for i, cut in enumerate(cuts)]
    return standard, Bitting(tuple(tuple(row[e * places : (e + 1) * places]) for e in range(edges)))


def try_all(standard: BladeStandard, known: Bitting) -> list[Bitting]:
    """Return what is left, each bitting judged by the rules as one that was read."""
    flat: Cuts = tuple(cut for cuts in known.edges for cut in cuts)
    options = [range(len(standard.labels)) if cut is None else (cut,) for cut in flat]
    rows = (to_bitting(standard, row) for row in product(*options))
    return [bitting for bitting in rows if not find_violations(standard, bitting)]


@settings(max_examples=60, deadline=None)
@given(known_cuts())
def test_exactly_what_the_rules_allow_is_left(case):
    standard, known = case
    expected = try_all(standard, known)
    found = enumerate_remaining(standard, known)
    assert found is not None
    assert [to_bitting(standard, row) for row in found] == expected
    assert count_remaining(standard, known) == len(expected)


@settings(max_examples=40, deadline=None)
@given(known_cuts())
def test_what_a_further_cut_would_leave_is_the_mean_over_what_it_can_be(case):
    standard, known = case
    left = try_all(standard, known)
    places = len(standard.positions_mm)
    for one in rank_unknown_cuts(standard, known):
        edge, number = ("AB".index(one.cut[0]), one.cut[1:]) if one.cut[0] in "AB" else (0, one.cut)
        assert known.edges[edge][int(number) - 1] is None
        depths = [bitting.edges[edge][int(number) - 1] for bitting in left]
        expected = np.mean([depths.count(depth) for depth in depths])
        assert one.expected_remaining == pytest.approx(expected)
        assert int(number) <= places
    helps = [one.expected_remaining for one in rank_unknown_cuts(standard, known)]
    assert helps == sorted(helps)


@settings(max_examples=20, deadline=None)
@given(known_cuts())
def test_too_many_are_counted_and_not_written_out(case):
    standard, known = case
    kept = subject.MOST_ENUMERATED
    subject.MOST_ENUMERATED = 3
    try:
        found, count = enumerate_remaining(standard, known), count_remaining(standard, known)
        assert (found is None) == (count > 3) or found is None
        assert found is None or len(found) == count
    finally:
        subject.MOST_ENUMERATED = kept
