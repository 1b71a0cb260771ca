"""Links in the documentation lead somewhere: files, headings, pictures; nothing is fetched."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.docs.page import ROOT

PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")])
# Taken by `make shots`; a page may show them before they are committed.
LEGS = ("request", "vehicle", "key", "promise", "blade", "pairing", "proof", "handover")
SHOTS = {
    f"docs/pictures/{device}-{name}.png"
    for device in ("desktop", "phone")
    for name in (*LEGS, "today", "no-return", "pairing-end", "log")
}
LINK = re.compile(r"!?\[[^\]]*\]\(\s*<?([^)\s>]+)>?[^)]*\)")
CODE = re.compile(r"^(```|~~~).*?^\1|`[^`\n]+`", re.MULTILINE | re.DOTALL)
HEADING = re.compile(r"^#+ +(.*?) *#*$", re.MULTILINE)


def find_links(text: str) -> list[str]:
    """Return the targets of all links and pictures outside code."""
    return LINK.findall(CODE.sub("", text))


def list_anchors(text: str) -> set[str]:
    """Return the anchors of a page's headings, as the usual renderers make them."""
    bare = re.sub(r"^(```|~~~).*?^\1", "", text, flags=re.MULTILINE | re.DOTALL)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in HEADING.findall(bare)}


def find_faults(page: Path, text: str) -> Iterator[str]:
    """Yield a line for each relative link of ``page`` that leads nowhere."""
    for link in find_links(text):
        if re.match(r"[a-z]+:", link):
            continue
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        if not target.is_relative_to(ROOT):
            yield f"{link}: outside the repository"
        elif not target.exists():
            if target.relative_to(ROOT).as_posix() not in SHOTS:
                yield f"{link}: no such file"
        elif anchor and anchor not in list_anchors(text if target == page else target.read_text("utf-8")):
            yield f"{link}: no such heading"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_relative_link_leads_somewhere(page: Path) -> None:
    assert list(find_faults(page, page.read_text(encoding="utf-8"))) == []


def test_links_are_found_at_all() -> None:
    assert sum(len(find_links(page.read_text(encoding="utf-8"))) for page in PAGES) > 50


def test_every_picture_that_the_tutorial_shows_is_taken_by_the_browser_tests() -> None:
    taken = set()
    for file in (ROOT / "tests" / "browser").glob("test_*.py"):
        taken |= set(re.findall(r"\b(?:see|take)\(\w[\w.]*, \"([a-z-]+)\"\)", file.read_text("utf-8")))
    shown = {
        re.sub(r".*/(?:desktop|phone)-|\.png", "", link)
        for link in find_links((ROOT / "docs/tutorial/first-job.md").read_text("utf-8"))
        if link.endswith(".png")
    }
    assert len(shown) >= 9
    assert shown - taken == set()


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("[a](nowhere.md)", "no such file"),
        ("![a](docs/pictures/desktop-nothing.png)", "no such file"),
        ("[a](README.md#no-such-part)", "no such heading"),
        ("[a](../elsewhere.md)", "outside"),
        ("[a](#nothing-here)", "no such heading"),
    ],
)
def test_a_link_that_leads_nowhere_is_found(text: str, fault: str) -> None:
    assert [fault in found for found in find_faults(ROOT / "README.md", text)] == [True]


@pytest.mark.parametrize(
    "text",
    [
        "[a](README.md)",
        "[a](CONTRIBUTING.md#set-up)",
        "# A part: of it\n[a](#a-part-of-it)",
        "![a](docs/pictures/phone-pairing.png)",
        "`[a](nowhere.md)`",
        "```\n[a](nowhere.md)\n```",
        "[a](https://example.org/x)",
        "[a](mailto:security@bittern.example)",
    ],
)
def test_a_good_link_is_left_alone(text: str) -> None:
    assert list(find_faults(ROOT / "README.md", text)) == []


PLACEHOLDER = re.compile(r"^[A-Z]{3,}$", re.MULTILINE)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_no_page_waits_for_its_text(page: Path) -> None:
    assert PLACEHOLDER.findall(CODE.sub("", page.read_text(encoding="utf-8"))) == []


def test_a_placeholder_is_seen() -> None:
    assert PLACEHOLDER.findall("A table follows.\n\nRESULTS\n\nIt HOLDS.") == ["RESULTS"]
