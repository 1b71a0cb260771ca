"""Pictures of where to look: well-formed, inside their frame, the same as file and on the page."""

from __future__ import annotations

import io
import re
from xml.etree import ElementTree

import pytest
from PIL import Image

from bittern.formats.drawing import BRASS, INK
from bittern.formats.where_to_look import (
    HEIGHT_MM,
    PICTURES,
    PNG_PPI,
    WIDTH_MM,
    draw_where,
    render_where,
)

SVG = "{http://www.w3.org/2000/svg}"
# White around the picture on its PNG, as where_to_look.typ has it.
MARGIN_MM, SHEET_MM = 3.0, 96.0
CAPTION = "How many buttons has your remote?"


def open_png(kind: str, caption: str = CAPTION) -> Image.Image:
    return Image.open(io.BytesIO(render_where(kind, caption))).convert("RGB")


def near(pixel: object, ink: str, tolerance: int = 40) -> bool:
    wanted = tuple(int(ink[place : place + 2], 16) for place in (1, 3, 5))
    assert isinstance(pixel, tuple)
    return all(abs(a - b) <= tolerance for a, b in zip(pixel, wanted, strict=True))


def find_ink(image: Image.Image, x_mm: float, y_mm: float, ink: str, reach_mm: float = 0.5) -> bool:
    """Tell whether ``ink`` is seen within reach of a place of the drawing."""
    scale = image.width / SHEET_MM
    centre_x, centre_y = (MARGIN_MM + x_mm) * scale, (MARGIN_MM + y_mm) * scale
    reach = round(reach_mm * scale)
    return any(
        near(image.getpixel((round(centre_x) + dx, round(centre_y) + dy)), ink)
        for dx in range(-reach, reach + 1)
        for dy in range(-reach, reach + 1)
    )


def count_ink_below(image: Image.Image) -> int:
    """Return how many pixels under the drawing have the colour of ink."""
    top = round((MARGIN_MM + HEIGHT_MM) * image.width / SHEET_MM)
    below = image.crop((0, top, image.width, image.height))
    return sum(near(below.getpixel((x, y)), INK) for x in range(below.width) for y in range(below.height))


@pytest.mark.parametrize("kind", PICTURES)
def test_the_drawing_is_well_formed_says_what_it_shows_and_carries_no_style_or_script(kind: str) -> None:
    svg = draw_where(kind)
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    assert root.findtext(f"{SVG}title") == PICTURES[kind].title
    assert root.findtext(f"{SVG}desc") == PICTURES[kind].words
    assert not re.search(r"<script|<style|style=|href|\son[a-z]+=|\sid=", svg)


@pytest.mark.parametrize("kind", PICTURES)
def test_every_line_stays_inside_the_frame(kind: str) -> None:
    root = ElementTree.fromstring(draw_where(kind))
    for line in root.iter(f"{SVG}polyline"):
        for point in str(line.get("points")).split():
            x, y = map(float, point.split(","))
            assert 0 < x < WIDTH_MM
            assert 0 < y < HEIGHT_MM
    for text in root.iter(f"{SVG}text"):
        # A letter of any usual face is narrower than two thirds of its size.
        half = len(text.text or "") * float(str(text.get("font-size"))) * 0.66 / 2
        x, y = float(str(text.get("x"))), float(str(text.get("y")))
        left = x if text.get("text-anchor") == "start" else x - half
        assert left > 0
        assert left + 2 * half < WIDTH_MM
        assert 0 < y < HEIGHT_MM


@pytest.mark.parametrize("kind", PICTURES)
def test_the_file_has_the_frame_to_scale_with_the_question_under_it(kind: str) -> None:
    image = open_png(kind)
    assert abs(image.width - SHEET_MM / 25.4 * PNG_PPI) <= 1
    # The caption stands under the drawing: ink, and none where there is no caption.
    assert count_ink_below(image) > 1000
    assert count_ink_below(open_png(kind, "")) == 0


@pytest.mark.parametrize("kind", PICTURES)
def test_the_file_shows_the_lines_of_the_drawing_where_they_are(kind: str) -> None:
    image, root = open_png(kind), ElementTree.fromstring(draw_where(kind))
    drawn = 0
    # Nothing covers a brass line: what points somewhere is drawn last.
    for line in root.iter(f"{SVG}polyline"):
        if line.get("stroke") == BRASS:
            for point in str(line.get("points")).split():
                x, y = map(float, point.split(","))
                drawn += 1
                assert find_ink(image, x, y, BRASS), (kind, point)
    for text in root.iter(f"{SVG}text"):
        drawn += 1
        x, y = float(str(text.get("x"))), float(str(text.get("y")))
        size = float(str(text.get("font-size")))
        shift = size if text.get("text-anchor") == "start" else 0.0
        ink = str(text.get("fill"))
        # Letters are drawn, not dropped for want of a font.
        assert find_ink(image, x + shift, y - size / 3, ink, size / 2), (kind, text.text)
    assert drawn > 2


def test_the_same_words_give_the_same_bytes_and_others_do_not() -> None:
    first = render_where("start", CAPTION)
    render_where.cache_clear()
    assert render_where("start", CAPTION) == first
    assert render_where("start", CAPTION + " Really?") != first


def test_the_five_buttons_that_are_counted_have_the_numbers_one_to_five() -> None:
    root = ElementTree.fromstring(draw_where("button_count"))
    numbers = [text.text for text in root.iter(f"{SVG}text") if text.get("fill") == BRASS]
    assert numbers == ["1", "2", "3", "4", "5"]
    assert "five in all" in PICTURES["button_count"].words
    # And as many places to write a name, where they are named.
    named = ElementTree.fromstring(draw_where("buttons"))
    assert len(list(named.iter(f"{SVG}circle"))) == 5
