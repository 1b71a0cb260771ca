"""The page's commands do what the page says, from a fresh folder to the signed handover."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.docs.page import (
    EXAMPLES,
    ROOT,
    Block,
    read_blocks,
    read_files,
    run_blocks,
    write_page,
)

NAME = "docs/how-to/carry-a-job-on-the-command-line.md"
PAGE = (ROOT / NAME).read_text(encoding="utf-8")
HINT = f"run: .venv/bin/python -m tests.docs.page {NAME}, and read the difference"


def test_the_example_files_are_those_that_the_page_shows() -> None:
    shown = read_files(PAGE)
    assert len(shown) > 5
    assert {name: (EXAMPLES / name).read_text(encoding="utf-8") for name in shown} == shown, HINT


def test_every_example_file_is_used_by_the_page() -> None:
    assert [file.name for file in sorted(EXAMPLES.iterdir()) if file.name not in PAGE] == []


def test_a_block_without_output_and_one_with_it_are_told_apart() -> None:
    page = "```sh\na\n```\n\nText.\n\n```sh\nb\n```\n\n```text\nB\n```\n"
    assert read_blocks(page) == [Block("a\n", None), Block("b\n", "B\n")]


def test_a_page_written_anew_with_what_it_says_stays_the_same() -> None:
    results = [(block.output or "", 0) for block in read_blocks(PAGE)]
    assert write_page(PAGE, results) == PAGE


@pytest.mark.slow
def test_the_commands_carry_the_job_to_the_signed_handover(tmp_path: Path) -> None:
    blocks = read_blocks(PAGE)
    results = run_blocks(blocks, tmp_path)
    assert write_page(PAGE, results) == PAGE, HINT
    refused = [last_line(output).startswith("bittern: ") for output, _ in results]
    assert [code for _, code in results] == [2 if no else 0 for no in refused]
    assert sum(refused) < len(refused) / 2
    shown = next(output for output, _ in results if "Job 1 (closed)" in output)
    states = re.findall(r"(?m)^\w+ +(settled|open|later|not needed)\b", shown)
    assert states == ["settled"] * 8
    assert (tmp_path / "first-job" / "handover.pdf").read_bytes().startswith(b"%PDF-")


def test_the_run_sheet_of_the_page_is_mended_by_what_it_says(tmp_path: Path) -> None:
    name = "docs/how-to/write-a-run-sheet.md"
    page = (ROOT / name).read_text(encoding="utf-8")
    results = run_blocks(read_blocks(page), tmp_path)
    assert write_page(page, results) == page, HINT.replace(NAME, name)
    assert [code for _, code in results] == [1, 0]


def last_line(output: str) -> str:
    """Return the last line of what a block printed."""
    return output.splitlines()[-1] if output.strip() else ""
