"""The order of the house: who may import whom, and what an engine may not touch."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.architecture.places import ROOT, SOURCE, find_python, name_of


def run_contracts(folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the import contracts on the sources under ``folder``."""
    return subprocess.run(
        [sys.executable, "-c", _RUN, "--no-cache"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


# The sources of the folder go before the installed ones, so that a changed copy is what is looked at.
_RUN = """
import sys
sys.path.insert(0, "src")
from importlinter.cli import lint_imports_command
lint_imports_command()
"""


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """Return a copy of the sources with their contracts, to be broken."""
    ignore = shutil.ignore_patterns("__pycache__", "*.egg-info")
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=ignore)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_import_contracts_hold() -> None:
    done = run_contracts(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("core/lowest.py", "import bittern.work.facts", "The house"),
        ("engines/blade/sideways.py", "import bittern.engines.key.catalogue", "Engines stand alone"),
        ("work/web.py", "import django", "Django lives in the bench only"),
    ],
)
def test_a_broken_contract_is_found(copied: Path, module: str, line: str, contract: str) -> None:
    (copied / "src" / "bittern" / module).write_text(line + "\n")
    done = run_contracts(copied)
    assert done.returncode == 1, done.stdout + done.stderr
    broken = re.findall(r"^(.*) BROKEN\b", done.stdout, re.MULTILINE)
    assert [name.startswith(contract) for name in broken] == [True], done.stdout


# Files, clock, environment, network, other programs, and the random state that all share.
NOT_IN_ENGINES = {
    "os", "io", "pathlib", "shutil", "tempfile", "glob", "time", "random", "secrets", "socket", "ssl", "http",
    "urllib", "subprocess", "threading", "asyncio", "multiprocessing", "sqlite3", "logging", "django",
    "typer", "psycopg", "bittern.formats", "bittern.work", "bittern.bench", "bittern.cli",
}  # fmt: skip
NOT_CALLED_IN_ENGINES = {
    "open", "input", "print", "datetime.now", "datetime.utcnow", "datetime.today", "date.today",
    "np.random.seed", "np.random.rand", "np.random.normal", "np.random.random", "np.random.choice",
    "np.load", "np.loadtxt",
}  # fmt: skip


def find_impure(text: str) -> Iterator[str]:
    """Yield what a module's text imports or calls that a pure engine has no business with."""
    for node in ast.walk(ast.parse(text)):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        for name in names:
            parts = name.split(".")
            if {".".join(parts[: count + 1]) for count in range(len(parts))} & NOT_IN_ENGINES:
                yield f"line {node.lineno}: imports {name}"
        if isinstance(node, ast.Call) and ast.unparse(node.func) in NOT_CALLED_IN_ENGINES:
            yield f"line {node.lineno}: calls {ast.unparse(node.func)}"


def test_engines_and_core_touch_no_file_clock_or_shared_random_state() -> None:
    faults = [
        f"{name_of(path)}: {fault}"
        for path in find_python("src/bittern/core", "src/bittern/engines")
        for fault in find_impure(path.read_text())
    ]
    assert faults == []


@pytest.mark.parametrize(
    "text",
    [
        "import os.path",
        "from time import monotonic",
        "def f():\n    import random",
        "open('x')",
        "from datetime import datetime\ndatetime.now()",
        "from bittern.work import facts",
        "import numpy as np\nnp.random.rand(3)",
    ],
)
def test_an_impure_engine_is_found(text: str) -> None:
    assert list(find_impure(text))


def test_a_seeded_generator_is_allowed_in_an_engine() -> None:
    assert list(find_impure("import numpy as np\nnp.random.default_rng(7).normal()")) == []


def test_there_are_sources_to_look_at() -> None:
    assert {path.name for path in SOURCE.iterdir()} >= {"core", "engines", "formats", "work", "cli", "bench"}
