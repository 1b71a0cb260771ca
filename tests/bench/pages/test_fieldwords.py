"""What is wrong with an entry is said in the words of its form."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import bittern.bench
from bittern.bench.pages.fieldwords import list_sentences, name_entry, shorten_sentence
from bittern.core.errors import Fault
from bittern.work.errors import FieldsError

TEMPLATES = Path(bittern.bench.__file__).parent / "templates"
LABELLED = re.compile(r'act="([a-z-]+)" name="([a-z_]+)"[^%]*?label="([^"|]+)"')


def test_values_of_a_choice_are_not_shown_to_people() -> None:
    error = FieldsError([Fault("want", "nothing", "one of: spare, replacement, all-lost")])
    assert list_sentences(error) == {"want": "Found nothing; expected one of those below."}


def test_each_fault_of_a_field_has_a_line_and_the_list_above_only_the_first() -> None:
    error = FieldsError([Fault("bitting", str(n), f"{n + 1}") for n in range(3)])
    sentence = list_sentences(error)["bitting"]
    assert sentence.split("\n") == ["Found 0; expected 1.", "Found 1; expected 2.", "Found 2; expected 3."]
    assert shorten_sentence(sentence) == "Found 0; expected 1. And 2 more, beside the field."
    assert shorten_sentence("Found 0; expected 1.") == "Found 0; expected 1."


PAGES = [file.read_text(encoding="utf-8") for file in TEMPLATES.rglob("*.html")]
LABELS = sorted({found for page in PAGES for found in LABELLED.findall(page)})


@pytest.mark.parametrize(("act", "name", "label"), LABELS)
def test_the_list_of_mistakes_names_a_field_like_its_label(act: str, name: str, label: str) -> None:
    # A word of the label at least: the list is short, the label may be a question.
    words = set(re.findall(r"[a-z']+", label.lower())) - {"the", "a", "is", "it", "of", "what", "you", "does"}
    named = set(re.findall(r"[a-z']+", name_entry(act, name).lower()))
    assert named & words or named == {"the", "tick"}, (act, name, label)
