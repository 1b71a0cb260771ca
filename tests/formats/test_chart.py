"""The blade chart: true to scale, readable, safe to inline."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon, box

from bittern.core.errors import InputError
from bittern.engines.blade.bitting import Bitting, format_bitting, parse_bitting
from bittern.engines.blade.errors import UnknownCutError
from bittern.engines.blade.outline import get_blade_polygon, get_outline
from bittern.formats.chart import render_chart
from bittern.formats.drawing import measure_text, place_centres, wrap_words
from tests.strategies.blades import HERON, RAIL, SNIPE, TEAL, cut_blades

SVG = "{http://www.w3.org/2000/svg}"
TEN = "2 1 3 4 2 2 1 3 4 4"
FAMILIES = [
    (HERON, "2 1 3 4 2 2 1 3"),
    (RAIL, TEN),
    (TEAL, f"{TEN} / 1 2 2 4 3 2 2 1 3 3"),
    (SNIPE, TEN),
]
each_family = pytest.mark.parametrize(
    ("standard", "text"), FAMILIES, ids=lambda value: getattr(value, "id", "")
)


def draw(standard, bitting: Bitting | str, **options: str) -> ET.Element:
    if isinstance(bitting, str):
        bitting = parse_bitting(standard, bitting)
    return ET.fromstring(render_chart(standard, bitting, **options))


def get_size(svg: ET.Element) -> tuple[float, float]:
    return tuple(float(value) for value in svg.get("viewBox").split()[2:])


def find_texts(svg: ET.Element) -> list[tuple[str, tuple[float, float, float, float]]]:
    """Return each text with the box it takes at most."""
    found = []
    for text in svg.iter(f"{SVG}text"):
        size, x, y = (float(text.get(key)) for key in ("font-size", "x", "y"))
        width = measure_text(text.text, size, bold=text.get("font-weight") == "bold")
        left = x - {"start": 0, "middle": width / 2, "end": width}[text.get("text-anchor")]
        found.append((text.text, (left, y - 0.75 * size, left + width, y + 0.2 * size)))
    return found


def trace_blade(svg: ET.Element) -> Polygon:
    path = svg.find(f"{SVG}path[@class='blade']").get("d")
    numbers = [float(value) for value in re.findall(r"-?\d+(?:\.\d+)?", path)]
    return Polygon(list(zip(numbers[::2], numbers[1::2], strict=True)))


@each_family
@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_a_millimetre_is_a_millimetre(standard, text, unit):
    svg = draw(standard, text, unit=unit)
    width, height = get_size(svg)
    assert svg.get("viewBox").startswith("0 0 ")
    assert (svg.get("width"), svg.get("height")) == (f"{width:g}mm", f"{height:g}mm")
    assert not [element for element in svg.iter() if element.get("transform")]
    parts = [
        [float(value) for value in re.findall(r"[\d.]+", path.get("d"))]
        for path in svg.iterfind(f"{SVG}path[@class='scale']")
    ]
    long = parts[-1][2] - parts[0][0]
    assert long == pytest.approx(20.0 if unit == "mm" else 25.4, abs=1e-3)


@given(cut_blades("edge"))
def test_the_drawn_blade_is_the_computed_one(blade):
    standard, bitting = blade
    drawn = trace_blade(draw(standard, bitting))
    flipped = Polygon([(x, -h) for x, h in get_blade_polygon(standard, bitting)])
    # Only the bow is drawn beside it, and the page's origin is elsewhere: fit the end that has no bow.
    at_left = standard.datum == "tip"
    dx = drawn.bounds[0] - flipped.bounds[0] if at_left else drawn.bounds[2] - flipped.bounds[2]
    middle = {"single": (flipped.bounds[3], drawn.bounds[3])}.get(
        standard.sides, (0.0, (drawn.bounds[1] + drawn.bounds[3]) / 2)
    )
    dy = middle[1] - middle[0]
    moved = Polygon([(x + dx, y + dy) for x, y in flipped.exterior.coords])
    part = drawn.intersection(box(moved.bounds[0], drawn.bounds[1] - 1, moved.bounds[2], drawn.bounds[3] + 1))
    assert part.symmetric_difference(moved).area < 0.01


def test_the_groove_is_drawn_as_wide_as_it_is_milled_along_the_computed_line():
    svg = draw(SNIPE, TEN)
    groove = svg.find(f"{SVG}polyline[@class='groove']")
    assert float(groove.get("stroke-width")) == SNIPE.groove_width_mm
    points = [tuple(map(float, pair.split(","))) for pair in groove.get("points").split()]
    x0, y0 = points[0]
    computed = get_outline(SNIPE, parse_bitting(SNIPE, TEN))
    moved = [(x + x0, y0 - (h - computed[0][1])) for x, h in computed]
    assert points == [pytest.approx(point, abs=1e-3) for point in moved]


@each_family
@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_texts_are_large_enough_inside_the_page_and_apart(standard, text, unit):
    svg = draw(standard, text, unit=unit, title="Spare key for the blue van that stands behind the mill " * 3)
    width, height = get_size(svg)
    texts = find_texts(svg)
    assert len(texts) > 30
    assert min(float(element.get("font-size")) for element in svg.iter(f"{SVG}text")) >= 2.6
    for content, (left, top, right, bottom) in texts:
        assert 0 <= left < right <= width, content
        assert 0 <= top < bottom <= height, content
    boxes = [(content, box(*corners)) for content, corners in texts]
    for number, (content, one) in enumerate(boxes):
        for other_content, other in boxes[number + 1 :]:
            assert not one.intersects(other), (content, other_content)


@each_family
def test_no_line_runs_through_a_text(standard, text):
    svg = draw(standard, text)
    lines = [
        LineString([tuple(map(float, pair.split(","))) for pair in line.get("points").split()])
        for line in svg.iterfind(f"{SVG}polyline")
    ]
    for content, corners in find_texts(svg):
        assert not [line for line in lines if box(*corners).intersects(line)], content


@given(cut_blades())
def test_texts_of_any_family_stay_apart_and_on_the_page(blade):
    svg = draw(*blade)
    width, height = get_size(svg)
    boxes = [box(*corners) for _, corners in find_texts(svg)]
    assert all(box(0, 0, width, height).contains(one) for one in boxes)
    assert not [
        1 for number, one in enumerate(boxes) for other in boxes[number + 1 :] if one.intersects(other)
    ]


@each_family
def test_every_cut_is_labelled_with_depth_height_and_place_and_said_in_words(standard, text):
    bitting = parse_bitting(standard, text)
    svg = draw(standard, bitting)
    contents = [content for content, _ in find_texts(svg)]
    labels = [label for label in text.split() if label != "/"]
    large = [element.text for element in svg.iter(f"{SVG}text") if element.get("font-size") == "4.4"]
    assert large == labels
    for x in standard.positions_mm:
        assert f"{x:.2f}" in contents
    described = svg.find(f"{SVG}desc").text
    assert described.count("Cut ") == len(labels)
    for edge, cuts in enumerate(bitting.edges):
        for number, cut in enumerate(cuts, 1):
            name = f"{'AB'[edge]}{number}" if len(bitting.edges) == 2 else str(number)
            assert (
                f"Cut {name} at {standard.positions_mm[number - 1]:.2f}: depth {standard.labels[cut]},"
                in described
            )
    assert format_bitting(standard, bitting) in svg.find(f"{SVG}title").text
    assert svg.get("role") == "img"


def test_heights_stand_in_the_unit_asked_for():
    inch = [content for content, _ in find_texts(draw(HERON, FAMILIES[0][1], unit="inch"))]
    assert {"0.315", "0.291", "0.268", "0.244", "0.118", "1.102", "0.331"} <= set(inch)
    track = [content for content, _ in find_texts(draw(SNIPE, TEN))]
    assert {"−1.50", "−0.50", "+0.50", "+1.50"} <= set(track)


@each_family
def test_the_drawing_can_be_inlined_under_a_strict_policy(standard, text):
    svg = draw(standard, text)
    allowed = {"svg", "title", "desc", "rect", "path", "polyline", "circle", "text"}
    for element in svg.iter():
        assert element.tag.removeprefix(SVG) in allowed
        assert not {
            name for name in element.attrib if name.startswith("on") or name in ("style", "href", "id")
        }
        assert not [value for value in element.attrib.values() if "url(" in value or "//" in value]


@given(st.text())
def test_any_title_is_escaped_and_the_document_stays_well_formed(title):
    svg = draw(HERON, FAMILIES[0][1], title=title)
    assert not [element for element in svg.iter() if "script" in element.tag]


def test_markup_in_titles_and_labels_is_text():
    hostile = replace(HERON, labels=("<b>", "&amp;", '"', "'"), title="</title><script>alert(1)</script>")
    bitting = Bitting(((0, 1, 2, 3, 0, 1, 2, 3),))
    text = render_chart(hostile, bitting)
    assert "<script" not in text
    assert "</title><script>alert(1)</script>: bitting" in ET.fromstring(text).find(f"{SVG}title").text


def test_another_unit_and_an_unknown_cut_are_refused():
    with pytest.raises(InputError, match="mm or inch"):
        draw(HERON, FAMILIES[0][1], unit="furlong")
    with pytest.raises(UnknownCutError):
        draw(HERON, "? 1 3 4 2 2 1 3")


widths_and_wishes = st.lists(
    st.tuples(
        st.integers(0, 400).map(lambda value: value / 10), st.integers(1, 90).map(lambda value: value / 10)
    ),
    min_size=1,
    max_size=12,
)


@given(widths_and_wishes)
def test_centres_keep_their_gap_and_move_no_further_than_needed(drawn):
    wishes = sorted(wish for wish, _ in drawn)
    widths = [width for _, width in drawn]
    centres = place_centres(wishes, widths, 1.0)
    needs = [(a + b) / 2 + 1.0 for a, b in pairwise(widths)]
    assert all(b - a >= need - 1e-9 for a, b, need in zip(centres, centres[1:], needs, strict=False))
    # Least squares: the moves of centres that touch one another balance.
    start = 0
    for end in range(1, len(centres) + 1):
        if end == len(centres) or centres[end] - centres[end - 1] > needs[end - 1] + 1e-6:
            moves = [
                centre - wish for centre, wish in zip(centres[start:end], wishes[start:end], strict=True)
            ]
            assert sum(moves) == pytest.approx(0, abs=1e-5)
            start = end


@given(st.text(), st.floats(10, 100))
def test_wrapped_lines_fit(text, width):
    lines = wrap_words(text.split(), width, 4.0, most=3)
    assert len(lines) <= 3
    assert all(measure_text(line, 4.0) <= width or len(line) <= 2 for line in lines)
