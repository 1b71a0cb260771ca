"""The cutting list."""

from __future__ import annotations

import pytest
from hypothesis import given

from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.blade.errors import UnknownCutError
from bittern.engines.blade.outline import get_height_mm
from bittern.engines.blade.worklist import cutting_list
from tests.strategies.blades import HERON, RAIL, SNIPE, TEAL, cut_blades


def test_the_list_has_every_number_a_person_sets_on_the_machine():
    rows = cutting_list(HERON, parse_bitting(HERON, "2 1 3 4 2 2 1 3"))
    assert [row.number for row in rows] == list(range(1, 9))
    assert [row.label for row in rows] == ["2", "1", "3", "4", "2", "2", "1", "3"]
    third = rows[2].as_dict()
    assert third == {
        "number": 3,
        "edge": "cut",
        "position_mm": 9.0,
        "label": "3",
        "height_mm": 6.8,
        "depth_of_cut_mm": pytest.approx(1.6),
    }


def test_each_kind_of_blade_names_its_edges():
    ten = "2 1 3 4 2 2 1 3 4 4"
    assert {row.edge for row in cutting_list(RAIL, parse_bitting(RAIL, ten))} == {"both"}
    split = cutting_list(TEAL, parse_bitting(TEAL, f"{ten} / {ten}"))
    assert [row.edge for row in split] == ["A"] * 10 + ["B"] * 10
    track = cutting_list(SNIPE, parse_bitting(SNIPE, ten))
    assert {(row.edge, row.depth_of_cut_mm) for row in track} == {("face", 0.8)}


@given(cut_blades("edge"))
def test_heights_are_the_outlines_and_make_up_the_uncut_edge_with_the_depth_of_cut(blade):
    standard, bitting = blade
    whole = standard.width_mm if standard.sides == "single" else standard.width_mm / 2
    for row in cutting_list(standard, bitting):
        edge = 1 if row.edge == "B" else 0
        assert row.height_mm == pytest.approx(get_height_mm(standard, bitting, row.position_mm, edge=edge))
        assert row.height_mm + row.depth_of_cut_mm == pytest.approx(whole)


def test_an_unknown_cut_cannot_be_listed():
    with pytest.raises(UnknownCutError, match="cut 2"):
        cutting_list(HERON, parse_bitting(HERON, "2 ? 3 4 2 2 1 3"))
