"""Where the files of the project are, for the tests that read them."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "bittern"
SCRIPTS = ROOT / "scripts"
FOLDERS = ("src", "tests", "scripts", "bench", "docs", "requirements", ".ci")
TEXT = {
    ".py", ".md", ".toml", ".in", ".txt", ".html", ".css", ".js", ".svg", ".typ", ".csv", ".json", ".nc",
    ".cfg", ".sh", "",
}  # fmt: skip


def find_python(*folders: str) -> Iterator[Path]:
    """Yield the Python files under ``folders`` of the project, in order."""
    for folder in folders:
        yield from sorted((ROOT / folder).rglob("*.py"))


def find_texts() -> Iterator[Path]:
    """Yield every text file of the project that people read or machines run, in order."""
    yield from (path for path in sorted(ROOT.iterdir()) if path.is_file() and path.suffix in TEXT)
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).rglob("*")):
            built = any(part == "__pycache__" or part.endswith(".egg-info") for part in path.parts)
            if path.is_file() and not built and path.suffix in TEXT:
                yield path


def name_of(path: Path) -> str:
    """Return ``path`` relative to the project, for messages and allow-lists."""
    return path.relative_to(ROOT).as_posix()


def load_script(name: str) -> ModuleType:
    """Import ``scripts/NAME.py`` with its folder in the path, as Python does when it is run."""
    if str(SCRIPTS) not in sys.path:
        sys.path.append(str(SCRIPTS))
    full = f"bittern_scripts_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, SCRIPTS / f"{name}.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[full] = module
        spec.loader.exec_module(module)
    return sys.modules[full]
