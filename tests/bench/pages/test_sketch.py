"""Small drawings of blades: to one scale, with bows on one side, drawn once a pack."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from bittern.bench.pages.sketch import draw_blade, draw_blades
from bittern.demo import PACK_DIR
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.packs import read_pack

PACK = read_pack(PACK_DIR)


def read_points(svg: str, name: str) -> list[tuple[float, float]]:
    """Return the points of the element of this class."""
    root = ElementTree.fromstring(svg)
    shape = next(one for one in root if one.get("class") == name)
    return [tuple(map(float, pair.split(","))) for pair in shape.attrib["points"].split()]  # type: ignore[misc]


@pytest.mark.parametrize("blade", PACK.blades.values(), ids=lambda one: one.id)
def test_a_blade_is_drawn_in_its_own_measure_right_of_its_bow(blade: BladeStandard) -> None:
    xs, ys = zip(*read_points(draw_blade(blade), "blade-steel"), strict=True)
    assert (min(xs), max(xs)) == pytest.approx((0.0, blade.length_mm), abs=0.01)
    assert (min(ys), max(ys)) == pytest.approx((0.0, blade.width_mm), abs=0.01)
    # An edge blade shows its cuts, a track blade its groove.
    if blade.kind == "edge":
        assert len(xs) > 4 + 2 * len(blade.positions_mm)
    else:
        assert len(read_points(draw_blade(blade), "blade-groove")) > len(blade.positions_mm)


def test_all_are_drawn_to_one_scale() -> None:
    scales = set()
    for svg in draw_blades(PACK).values():
        root = ElementTree.fromstring(svg)
        scales.add(round(float(root.attrib["width"]) / float(root.attrib["viewBox"].split()[2]), 1))
    assert len(scales) == 1


def test_from_the_tip_the_cuts_are_turned_so_that_the_bow_stays_left() -> None:
    blade = PACK.blades["heron-8"]
    one = read_points(draw_blade(blade), "blade-steel")
    other = replace(blade, datum="tip" if blade.datum == "shoulder" else "shoulder")
    turned = read_points(draw_blade(other), "blade-steel")
    assert sorted(round(blade.length_mm - x, 1) for x, _ in one) == sorted(round(x, 1) for x, _ in turned)
    assert one != turned


def test_a_pack_is_drawn_once() -> None:
    assert draw_blades(PACK) is draw_blades(PACK)
    other = read_pack(PACK_DIR)
    assert draw_blades(other) is not draw_blades(PACK)


def test_a_drawing_carries_no_style_of_its_own() -> None:
    for svg in draw_blades(PACK).values():
        assert "style=" not in svg
