"""The command line answers at once: what is heavy is imported only by the command that needs it."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = {
    "numpy",
    "django",
    "ultravin",
    "typst",
    "cryptography",
    "pydantic",
    "scipy",
    "sqlite3",
    "psycopg",
    "rich",
}
PROBE = """
import io, json, sys
from bittern.cli.main import main
out, sys.stdout = sys.stdout, io.StringIO()
code = main(sys.argv[1:])
print(json.dumps([code, sorted({name.split(".")[0] for name in sys.modules})]), file=out)
"""


@pytest.mark.parametrize("words", [["--help"], []], ids=["help", "nothing"])
def test_the_first_answer_imports_nothing_heavy(words: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *words], capture_output=True, text=True, check=True, timeout=60
    )
    code, modules = json.loads(done.stdout)
    assert code == (0 if words else 2)
    assert "typer" in modules
    assert HEAVY & set(modules) == set()
