"""The page of formats: its examples are read by the readers, and it names every column, key and word."""

from __future__ import annotations

import re

import pytest

from tests.architecture.places import ROOT

PAGE = (ROOT / "docs" / "reference" / "formats.md").read_text(encoding="utf-8")


def read_example(heading: str, language: str) -> str:
    """Return the first code block below a heading of the page."""
    below = PAGE.split(f"\n## {heading}\n", 1)[1].split("\n## ", 1)[0]
    found = re.search(rf"^```{language}\n(.*?)^```$", below, re.MULTILINE | re.DOTALL)
    assert found is not None
    return found[1]


def test_the_blade_standard_of_the_page_is_sound() -> None:
    from bittern.engines.blade.soundness import find_standard_faults
    from bittern.formats.blades import parse_blade

    standard = parse_blade(read_example("A blade standard", "toml"), "heron-8.toml")
    assert find_standard_faults(standard) == []
    assert standard.depths_mm == (8.0, 7.4, 6.8, 6.2)


def test_the_cutter_of_the_page_has_no_fault() -> None:
    from bittern.engines.cutting.fitting import find_cutter_faults
    from bittern.formats.tools import parse_tool

    assert find_cutter_faults(parse_tool(read_example("A cutter", "toml"), "wheel-90.toml")) == []


def test_the_run_sheet_of_the_page_has_no_fault() -> None:
    from bittern.engines.pairing.check import find_sheet_faults
    from bittern.formats.runsheets import parse_runsheet

    sheet = parse_runsheet(read_example("A run sheet", "toml"), "marsh-example.toml")
    assert find_sheet_faults(sheet) == []
    assert {step.kind for step in sheet.steps.values()} == {"act", "end"}


def test_the_observations_of_the_page_are_read() -> None:
    from bittern.engines.key.evidence import KINDS
    from bittern.formats.observations import parse_observations

    case = parse_observations(read_example("Observations", "json"))
    assert {one.kind for one in case.observations} == set(KINDS)


def list_words() -> dict[str, tuple[str, ...]]:
    """Return the words that the readers accept, by what they are for."""
    from bittern.engines.cutting.cutter import CUTTER_KINDS, MATERIALS
    from bittern.engines.key.catalogue import ARTICLE_KINDS, STARTS
    from bittern.engines.key.evidence import HOWS, KINDS
    from bittern.engines.pairing.sheet import CENSUSES, OUTCOMES, SIGNAL_KINDS, STEP_KINDS
    from bittern.formats.packs import ARTICLES, BLADES, FITMENTS, HEAD, HEAD_KEYS, NUMBERS, RUNSHEETS, TOOLS

    return {
        "pack": tuple(HEAD_KEYS),
        "files": (f"`{HEAD}`", f"`{ARTICLES}`", f"`{FITMENTS}`", f"`{NUMBERS}`"),
        "folders": (f"`{BLADES}/ID.toml`", f"`{TOOLS}/ID.toml`", f"`{RUNSHEETS}/ID.toml`"),
        "article kinds": tuple(ARTICLE_KINDS),
        "starts": tuple(STARTS),
        "hows": tuple(HOWS),
        "kinds": tuple(KINDS),
        "cutters": tuple(CUTTER_KINDS),
        "materials": tuple(MATERIALS),
        "steps": tuple(STEP_KINDS),
        "signals": tuple(SIGNAL_KINDS),
        "outcomes": tuple(OUTCOMES),
        "censuses": tuple(CENSUSES),
    }


@pytest.mark.parametrize("name", sorted(list_words()))
def test_every_word_that_a_reader_accepts_is_on_the_page(name: str) -> None:
    words = list_words()[name]
    assert words
    assert [word for word in words if not re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", PAGE)] == []


def test_the_columns_of_the_tables_are_those_of_the_readers() -> None:
    from bittern.formats.caliper import COLUMNS
    from bittern.formats.pack_tables import ARTICLE_COLUMNS, FITMENT_COLUMNS, NUMBER_COLUMNS

    for columns in (ARTICLE_COLUMNS, FITMENT_COLUMNS, NUMBER_COLUMNS, COLUMNS):
        assert f"`{','.join(columns)}`" in PAGE
