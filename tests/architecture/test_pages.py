"""What a strict Content-Security-Policy forbids stands in no template; nothing is loaded from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.architecture.places import SOURCE, name_of

INLINE = {
    "a script in the page": r"<script\b(?![^>]*\bsrc=)[^>]*>",
    "a style in the page": r"<style\b",
    "a style on an element": r"<[a-z][^>]*\sstyle\s*=",
    "an event handler on an element": r"<[a-z][^>]*\son[a-z]+\s*=",
    "a script address": r"(?i)=\s*[\"']?\s*javascript:",
    "an expression that needs eval": r"\shx-on\b|\shx-(?:vals|headers)\s*=\s*[\"']js:",
    "something loaded from elsewhere": r"<(?:script|link|img|iframe|source|video|audio|use)\b[^>]*"
    r"\s(?:src|href|srcset)\s*=\s*[\"']?(?:https?:)?//",
}
ELSEWHERE = {
    "a style sheet or picture from elsewhere": r"(?:@import\s+|url\(\s*)[\"']?(?:https?:)?//",
}
COMMENTS = re.compile(r"\{#.*?#\}|\{% comment.*?endcomment %\}|<!--.*?-->", re.DOTALL)


def find_faults(text: str, patterns: dict[str, str]) -> Iterator[str]:
    """Yield a line for each place where one of ``patterns`` stands in ``text``, comments aside."""
    bare = COMMENTS.sub(lambda match: "\n" * match.group(0).count("\n"), text)
    for why, pattern in patterns.items():
        for match in re.finditer(pattern, bare):
            yield f"line {bare.count(chr(10), 0, match.start()) + 1}: {why}"


def find_templates() -> list[Path]:
    """Return every template of the bench."""
    return [
        path for path in SOURCE.rglob("*") if path.suffix in (".html", ".svg") and "templates" in path.parts
    ]


def test_templates_hold_no_inline_script_or_style_and_load_nothing_from_elsewhere() -> None:
    templates = find_templates()
    assert templates, "no templates found: this test looks in the wrong place"
    faults = [
        f"{name_of(path)}: {fault}" for path in templates for fault in find_faults(path.read_text(), INLINE)
    ]
    assert faults == []


def test_style_sheets_load_nothing_from_elsewhere() -> None:
    sheets = [path for path in SOURCE.rglob("*.css") if "static" in path.parts]
    assert sheets, "no style sheets found: this test looks in the wrong place"
    faults = [
        f"{name_of(path)}: {fault}" for path in sheets for fault in find_faults(path.read_text(), ELSEWHERE)
    ]
    assert faults == []


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>",
        '<script type="module">',
        "<style>a{}</style>",
        '<p class="a" style="color:red">',
        '<button\n onclick="x()">',
        '<a href="javascript:x()">',
        '<button hx-on:click="x()">',
        "<div hx-vals='js:{a: 1}'>",
        '<script defer src="https://example.org/a.js"></script>',
        '<link rel="stylesheet" href="//example.org/a.css">',
    ],
)
def test_a_forbidden_construct_is_found(text: str) -> None:
    assert list(find_faults(text, INLINE))


@pytest.mark.parametrize(
    "text",
    [
        "<script src=\"{% static 'bench/page.js' %}\" defer></script>",
        "{# <style> is not allowed #}",
        '<form method="post" hx-post="{% url \'x\' %}" hx-vals=\'{"a": 1}\'>',
        '<a href="https://example.org/">a link is not a load</a>',
        '<p data-one="1" class="on style">on = off</p>',
    ],
)
def test_what_the_policy_allows_is_left_alone(text: str) -> None:
    assert list(find_faults(text, INLINE)) == []
