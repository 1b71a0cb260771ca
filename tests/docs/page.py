"""A page of the how-to's whose commands are run: its blocks of commands, and what each is said to print.

A block of ``sh`` is what a reader types; a block of ``text`` right after it is what that prints. A comment
``<!-- file NAME -->`` stands before the content of an example file. All commands of a page run in one shell,
one block after the other, as a reader would. When what they print has changed for a good reason::

    .venv/bin/python -m tests.docs.page docs/how-to/NAME.md

writes the page anew; read the difference before you commit it.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "docs" / "how-to" / "examples"
PASSWORD = "slow-marsh-lantern"
MARK = "-- end of block, exit code"
BLOCK = re.compile(r"```sh\n(?P<commands>.*?)```\n(?:\n```text\n(?P<output>.*?)```\n)?", re.DOTALL)
FILE = re.compile(r"(<!-- file (?P<name>\S+) -->\n)(?:\n```json\n(?P<content>.*?)```\n)?", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Block:
    """One block: what is typed, and what the page says of it (None: nothing)."""

    commands: str
    output: str | None


def read_blocks(page: str) -> list[Block]:
    """Return the blocks of commands in order."""
    return [Block(match["commands"], match["output"]) for match in BLOCK.finditer(page)]


def read_files(page: str) -> dict[str, str]:
    """Return the example files as the page shows them."""
    return {match["name"]: match["content"] or "" for match in FILE.finditer(page)}


def run_blocks(blocks: list[Block], folder: Path) -> list[tuple[str, int]]:
    """Run all blocks in one shell, in a copy of the examples; return what each printed and its exit code."""
    home = folder / "first-job"
    shutil.copytree(EXAMPLES, home)
    script = "".join(f'{block.commands}echo "{MARK} $?"\n' for block in blocks)
    environment = {key: value for key, value in os.environ.items() if not key.startswith("BITTERN_")}
    environment["PATH"] = f"{Path(sys.executable).parent}{os.pathsep}{environment['PATH']}"
    done = subprocess.run(
        ["bash", "-c", script],
        cwd=home,
        env=environment,
        # What the reader types where the page says that a password is asked for.
        input=PASSWORD + "\n",
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=True,
    )
    *parts, rest = re.split(rf"(?m)^{re.escape(MARK)} (\d+)\n", done.stdout)
    assert rest == ""
    return [(output, int(code)) for output, code in zip(parts[::2], parts[1::2], strict=True)]


def write_page(page: str, results: list[tuple[str, int]]) -> str:
    """Return the page with what its commands printed, and its example files as they are."""
    printed = iter(results)

    def renew(match: re.Match[str]) -> str:
        output, _ = next(printed)
        said = "" if match["output"] is None else f"\n```text\n{output}```\n"
        return f"```sh\n{match['commands']}```\n{said}"

    page = FILE.sub(lambda match: f"{match[1]}\n```json\n{(EXAMPLES / match['name']).read_text()}```\n", page)
    return BLOCK.sub(renew, page)


def main() -> None:
    """Write the pages named anew."""
    for name in sys.argv[1:]:
        path = Path(name)
        page = path.read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as folder:
            results = run_blocks(read_blocks(page), Path(folder))
        path.write_text(write_page(page, results), encoding="utf-8")


if __name__ == "__main__":
    main()
