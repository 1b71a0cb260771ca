"""The reference says what the code says: every command, error code, setting and package is documented."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import re
from collections import Counter
from pathlib import Path

import pytest

import bittern
from bittern.core.errors import BitternError
from tests.architecture.places import ROOT, find_python, load_script, name_of

REFERENCE = ROOT / "docs" / "reference"
HINT = "run: .venv/bin/python scripts/make_reference.py"


@pytest.mark.parametrize("name", sorted(load_script("make_reference").PAGES))
def test_the_committed_page_is_what_the_code_says(name: str) -> None:
    written = (REFERENCE / name).read_text(encoding="utf-8")
    assert written == load_script("make_reference").PAGES[name](), HINT


def test_every_command_is_documented() -> None:
    from bittern.cli.main import GROUPS, SINGLES

    page = (REFERENCE / "commands.md").read_text(encoding="utf-8")
    assert [name for name in (*GROUPS, *SINGLES) if f"\n## bittern {name}\n" not in page] == []


def test_every_error_of_every_module_is_documented() -> None:
    for module in pkgutil.walk_packages(bittern.__path__, "bittern."):
        if module.name != "bittern.__main__":
            importlib.import_module(module.name)
    waiting, kinds = [BitternError], []
    while waiting:
        kind = waiting.pop()
        waiting += kind.__subclasses__()
        if kind.__module__.startswith("bittern."):
            kinds.append(kind)
    page = (REFERENCE / "errors.md").read_text(encoding="utf-8")
    missing = [
        f"{kind.__module__}.{kind.__name__}"
        for kind in kinds
        if f"| `{kind.code}` | {kind.meaning} |" not in page
    ]
    assert missing == [], "errors live in their package's errors.py; " + HINT


def test_every_error_has_its_own_code_and_meaning() -> None:
    kinds = load_script("make_reference").find_errors()
    assert [code for code, count in Counter(kind.code for kind in kinds).items() if count > 1] == []
    lacking = [
        kind.__name__
        for kind in kinds
        if not {"code", "meaning"} <= set(vars(kind)) or not kind.meaning.endswith(".")
    ]
    assert lacking == []


def test_every_environment_variable_that_is_read_is_documented() -> None:
    from bittern.bench.options import OPTIONS

    pattern = re.compile(r"""(?:environ(?:\.get)?|getenv|pop|read_\w+)[\[(]\s*["'](BITTERN_[A-Z_]+)""")
    texts = [path.read_text() for path in find_python("src")]
    found = {name for text in texts for name in pattern.findall(text)}
    documented = {option.name for option in OPTIONS}
    assert len(found) > 5
    assert found - documented == set()
    read = {option.name for option in OPTIONS if sum(text.count(f'"{option.name}"') for text in texts) > 1}
    assert documented - read == set(), "documented, and read nowhere"


def test_errors_are_swallowed_nowhere() -> None:
    faults = []
    for path in find_python("src", "scripts"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ExceptHandler) and (
                node.type is None or _names(node.type) & {"Exception"}
            ):
                raises = any(isinstance(inner, ast.Raise) for inner in ast.walk(node))
                if not raises:
                    faults.append(f"{name_of(path)}: line {node.lineno}")
    assert faults == []


def _names(node: ast.expr) -> set[str]:
    return {inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)}


def test_the_list_of_licences_is_what_the_packages_state() -> None:
    script = load_script("make_licences")
    page = (REFERENCE / "licences.md").read_text(encoding="utf-8")
    assert page == script.write_page(), "run: .venv/bin/python scripts/make_licences.py"


def test_every_locked_package_is_in_the_list_of_licences() -> None:
    script = load_script("make_licences")
    page = (REFERENCE / "licences.md").read_text(encoding="utf-8")
    locked = script.read_lock()
    assert len(locked) > 20
    assert [name for name, version, _ in locked if f"| {name} | {version} |" not in page] == []


def test_htmx_is_the_version_named_in_the_list_of_licences() -> None:
    import django_htmx

    shipped = Path(django_htmx.__file__).parent / "static" / "django_htmx" / "htmx-2.js"
    version = re.search(r"version: '([0-9.]+)'", shipped.read_text())
    assert version is not None
    assert f"htmx {version[1]}," in load_script("make_licences").INSIDE["django-htmx"]
