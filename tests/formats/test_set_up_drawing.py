"""The set-up drawing: bow and clamp on the side of the bow, datum and axes named."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import Bitting
from bittern.engines.cutting.machine import Machine
from bittern.formats.packs import read_pack
from bittern.formats.set_up_drawing import draw_set_up

PACK = read_pack(PACK_DIR)


def make_bitting(standard):
    count = len(standard.positions_mm)
    return Bitting(((0,) * count,) * (2 if standard.sides == "split" else 1))


def read_left(svg: str, name: str) -> float:
    path = re.search(rf'<path class="{name}" d="([^"]+)"', svg)
    assert path
    return min(float(x) for x, _ in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path[1]))


@pytest.mark.parametrize("name", sorted(PACK.blades))
def test_the_clamp_stands_on_the_side_of_the_bow(name):
    standard = PACK.blades[name]
    svg = draw_set_up(standard, make_bitting(standard), PACK.tools["endmill-20"], Machine())
    assert ElementTree.fromstring(svg).tag.endswith("svg")
    assert f"x = 0, the {standard.datum}" in svg
    on_the_left = read_left(svg, "clamp") < read_left(svg, "blank")
    assert on_the_left == (standard.datum == "shoulder")


def test_the_machine_names_its_own_axes():
    standard = PACK.blades["heron-8"]
    machine = replace(Machine(), axes=(1, 2, 0), signs=(-1, 1, 1))
    svg = draw_set_up(standard, make_bitting(standard), PACK.tools["wheel-84"], machine)
    assert ">-Y<" in svg
    assert ">+Z<" in svg


def test_the_other_edge_of_a_split_blade_is_drawn_turned_over():
    standard = next(one for one in PACK.blades.values() if one.sides == "split")
    count = len(standard.positions_mm)
    bitting = Bitting(((0,) * count, (1,) * count))
    sides = [
        draw_set_up(standard, bitting, PACK.tools["endmill-20"], Machine(), edge=edge) for edge in (0, 1)
    ]
    assert sides[0] != sides[1]
    assert ["edge A up" in one for one in sides] == [True, False]
    assert "edge B up" in sides[1]


@pytest.mark.parametrize("name", sorted(PACK.blades))
def test_nothing_is_drawn_outside_the_page(name):
    standard = PACK.blades[name]
    svg = draw_set_up(standard, make_bitting(standard), PACK.tools["endmill-20"], Machine())
    width = float(re.search(r'viewBox="0 0 ([\d.]+) ', svg)[1])
    for x, size, anchor, words in re.findall(
        r'<text x="(-?[\d.]+)"[^>]*font-size="([\d.]+)" text-anchor="(\w+)"[^>]*>([^<]*)<', svg
    ):
        half = 0.32 * float(size) * len(words)
        middle = float(x) + (half if anchor == "start" else 0.0)
        assert middle - half >= 0, words
        assert middle + half <= width, words
