"""The bench's scripts in a folder where node takes them for modules."""

from __future__ import annotations

import shutil
from pathlib import Path

import bittern.bench

SCRIPTS = Path(bittern.bench.__file__).parent / "static" / "bench"


def find_node() -> str | None:
    """Return the program that runs the scripts outside a browser, or None."""
    return shutil.which("node")


def copy_scripts(folder: Path) -> Path:
    """Copy the runner's scripts into ``folder`` and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    for script in SCRIPTS.glob("runner*.js"):
        shutil.copy(script, folder)
    (folder / "package.json").write_text('{"type": "module"}\n')
    return folder
