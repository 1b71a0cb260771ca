"""The run sheet's map as SVG."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Step
from bittern.formats.sheetmap import render_map
from tests.strategies.sheets import any_sheets, make_sheet

SVG = "{http://www.w3.org/2000/svg}"
SHEET = make_sheet(
    Step(
        "look",
        "check",
        "See that the lamp is on.",
        then="which",
        fails=(Failure("look", 0.1, "lamp stays dark"),),
    ),
    Step("which", "choose", "How does it start?", options=(Option("turn", "wipe"), Option("push", "look"))),
    Step("wipe", "act", "Hold the button.", then="fine", no_return=True, window_s=30.0),
    Step("fine", "end", "Every key works.", outcome="good"),
)


def get_texts(svg: str) -> list[str]:
    return [element.text or "" for element in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_the_map_says_in_words_what_it_shows() -> None:
    texts = get_texts(render_map(SHEET, "wipe", {"look"}))
    assert texts.count("no way back") == 1
    assert [text for text in texts if "you are here" in text] == ["act, within 30 s — you are here"]
    assert [text for text in texts if "done" in text] == ["check, done"]
    for words in ("turn", "push", "lamp stays dark", "ends well", "Hold the button."):
        assert words in texts
    assert not [text for text in get_texts(render_map(SHEET)) if "you are here" in text or "done" in text]


def test_a_point_of_no_return_is_outlined_twice() -> None:
    def count_outlines(svg: str) -> int:
        return sum(rect.get("stroke") == "#1f1d1a" for rect in ElementTree.fromstring(svg).iter(f"{SVG}rect"))

    assert count_outlines(render_map(SHEET)) == len(SHEET.steps) + 1


def test_what_lies_behind_a_point_of_no_return_has_a_bar_and_is_said() -> None:
    svg = render_map(replace(SHEET, census="present-only"), "wipe", {"look"})
    root = ElementTree.fromstring(svg)
    bars = [rect for rect in root.iter(f"{SVG}rect") if rect.get("width") == "7"]
    # The one at the step behind it, and the one beside the words that explain it.
    assert len(bars) == 2
    assert "Behind a point of no return: keys may have stopped working." in get_texts(svg)
    assert "Behind a point of no return." in get_texts(render_map(SHEET))
    assert "fine (ends well, behind a point of no return)." in (root[1].text or "")
    assert "look (check, done)" in (root[1].text or "")
    # The way across is drawn heavier than any other.
    assert svg.count('stroke-width="3.6"') == 1
    plain = replace(SHEET, steps={**SHEET.steps, "wipe": replace(SHEET.steps["wipe"], no_return=False)})
    assert "ehind a point" not in render_map(plain)
    assert 'width="7"' not in render_map(plain)


def test_people_who_do_not_see_it_get_it_read() -> None:
    root = ElementTree.fromstring(render_map(SHEET, "wipe", {"look"}, name="run-7"))
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "run-7-title run-7-desc"
    words = {element.get("id"): element.text for element in root}
    assert words["run-7-title"] == "Map: Pair a key, heath family"
    description = words["run-7-desc"] or ""
    assert "wipe (act, within 30 s, no way back, you are here): to fine." in description
    assert "look (check, done): to which; lamp stays dark: to look." in description


def test_the_same_sheet_gives_the_same_bytes() -> None:
    assert render_map(SHEET, "look") == render_map(SHEET, "look")


@settings(deadline=None)
@given(any_sheets(), st.data())
def test_any_sheet_is_well_formed_svg_with_presentation_attributes_only(
    sheet: RunSheet, data: st.DataObject
) -> None:
    current = data.draw(st.none() | st.sampled_from(list(sheet.steps)))
    root = ElementTree.fromstring(render_map(sheet, current, set(sheet.steps)))
    allowed = {"svg", "title", "desc", "rect", "path", "polygon", "g", "text"}
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in allowed
        assert not [
            name for name in element.attrib if name == "style" or name.startswith("on") or "href" in name
        ]
    here = [
        text for text in (element.text or "" for element in root.iter(f"{SVG}text")) if "you are here" in text
    ]
    assert len(here) == (current is not None)


def test_hostile_text_stays_text() -> None:
    hostile = '<script>alert("1")</script>&\x01\x1b" onload="x'
    sheet = make_sheet(
        Step("a", "act", hostile, then="fine", fails=(Failure("fine", 0.1, hostile),)),
        Step("fine", "end", hostile, outcome="good"),
        title=hostile,
    )
    svg = render_map(sheet, name='m" onload="x')
    assert "<script" not in svg
    assert "\x01" not in svg
    root = ElementTree.fromstring(svg)
    assert not [name for element in root.iter() for name in element.attrib if name.startswith("on")]
