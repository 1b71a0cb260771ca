"""The drawing of a rung: well-formed, every label there, what goes away under what stays."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from shapely.geometry import Polygon

from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.blade.climbing import name_deeper
from bittern.engines.blade.outline import get_blade_polygon
from bittern.formats.ladder_drawing import draw_rung
from tests.strategies.blades import HERON, RAIL, TEAL

SVG = "{http://www.w3.org/2000/svg}"
TEN = ("2 1 3 2 2 1 3 2 2 1", "2 1 3 3 2 1 3 2 2 2")
CASES = [
    (HERON, "2 1 3 2 2 2 1 3", "2 1 3 3 2 2 1 4"),
    (RAIL, *TEN),
    (TEAL, f"{TEN[0]} / {TEN[0]}", f"{TEN[0]} / {TEN[1]}"),
]


def draw(standard, before, after):
    bitting = parse_bitting(standard, after)
    was = parse_bitting(standard, before) if before else None
    return ET.fromstring(draw_rung(standard, bitting, was, name_deeper(standard, was, bitting)))


def find_shape(tree, name):
    path = next(one for one in tree.iter(f"{SVG}path") if one.get("class") == name)
    numbers = [float(one) for one in re.findall(r"-?[\d.]+", path.get("d"))]
    return Polygon(list(zip(numbers[::2], numbers[1::2], strict=True)))


@pytest.mark.parametrize(("standard", "before", "after"), CASES)
def test_the_cuts_that_go_deeper_are_bold_and_the_others_are_not(standard, before, after):
    tree = draw(standard, before, after)
    labels = [(one.text, one.get("font-weight") == "bold") for one in tree.iter(f"{SVG}text")]
    pairs = zip(before.replace(" / ", " ").split(), after.replace(" / ", " ").split(), strict=True)
    assert labels == [(label, was != label) for was, label in pairs]


@pytest.mark.parametrize(("standard", "before", "after"), CASES)
def test_what_stays_is_the_blade_and_lies_within_what_was(standard, before, after):
    tree = draw(standard, before, after)
    stays, was = find_shape(tree, "blade"), find_shape(tree, "cut-away")
    exact = Polygon(get_blade_polygon(standard, parse_bitting(standard, after)))
    assert stays.area == pytest.approx(exact.area, abs=0.01)
    assert stays.difference(was).area < 0.01
    assert was.difference(stays).area > 0.1


def test_a_new_blank_loses_all_that_is_cut():
    tree = draw(HERON, "", "2 1 3 3 2 2 1 4")
    assert find_shape(tree, "cut-away").area == pytest.approx(HERON.length_mm * HERON.width_mm, abs=0.01)
    assert "every cut is made" in tree.find(f"{SVG}title").text


def test_words_of_a_pack_are_escaped():
    odd = replace(HERON, labels=("<b>", "&", '"', "4"))
    after = parse_bitting(odd, '& <b> " 4 & & <b> "')
    tree = ET.fromstring(draw_rung(odd, after, None, ()))
    assert {one.text for one in tree.iter(f"{SVG}text")} == {"<b>", "&", '"', "4"}


@pytest.mark.parametrize("datum", ["shoulder", "tip"])
def test_the_bow_is_always_on_the_left(datum):
    standard = replace(HERON, datum=datum)
    tree = draw(standard, "", "2 1 3 3 2 2 1 4")
    bow, blade = find_shape(tree, "bow"), find_shape(tree, "blade")
    assert bow.bounds[2] == pytest.approx(blade.bounds[0], abs=0.01)
