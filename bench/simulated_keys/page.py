"""A study's page in the documentation, whose tables are written anew by the study."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

BEGIN, END = "<!-- tables of the study: begin -->", "<!-- tables of the study: end -->"


def put_tables(page: Path, lines: Sequence[str]) -> None:
    """Put the lines between their marks in the page."""
    text = page.read_text(encoding="utf-8")
    before, after = text.split(BEGIN)[0], text.split(END)[1]
    body = "\n".join(lines)
    page.write_text(f"{before}{BEGIN}\n\n{body}\n\n{END}{after}", encoding="utf-8")
