"""Files under 400 lines, functions under 50 beside their docstring: longer needs a reason written here."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.architecture.places import ROOT, find_python, name_of

FILE_LINES = 400
FUNCTION_LINES = 50
FOLDERS = ("src", "scripts", "bench", "tests")
# Path, or path::function -> the reason why it may be longer.
LONGER: dict[str, str] = {}


def measure(path: Path) -> Iterator[tuple[str, int, int]]:
    """Yield the name, length and limit of the file and of each function in it."""
    text = path.read_text()
    yield name_of(path), text.count("\n"), FILE_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield f"{name_of(path)}::{node.name}", count_lines(node), FUNCTION_LINES


def count_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return a function's length without its docstring: explaining more never makes it too long."""
    first = node.body[0]
    explained = 0
    if (
        isinstance(first, ast.Expr)
        and isinstance(first.value, ast.Constant)
        and isinstance(first.value.value, str)
    ):
        explained = (first.end_lineno or first.lineno) - first.lineno + 1
    return (node.end_lineno or node.lineno) - node.lineno + 1 - explained


def find_long() -> dict[str, int]:
    """Return every file and function that reaches its limit, with its length."""
    return {
        name: length
        for path in find_python(*FOLDERS)
        for name, length, limit in measure(path)
        if length >= limit
    }


def test_nothing_is_too_long_without_a_reason() -> None:
    too_long = {name: length for name, length in find_long().items() if name not in LONGER}
    assert too_long == {}


def test_no_reason_outlives_what_it_excused() -> None:
    assert set(LONGER) <= set(find_long())


@pytest.mark.parametrize(("body", "length"), [(1, 2), (60, 61)])
def test_a_function_is_measured_without_its_docstring(body: int, length: int) -> None:
    text = 'def f():\n    """One.\n\n    Two.\n    """\n' + "    x = 1\n" * body
    node = ast.parse(text).body[0]
    assert isinstance(node, ast.FunctionDef)
    assert count_lines(node) == length


def test_the_measure_sees_the_project() -> None:
    assert len(list(find_python(*FOLDERS))) > 20
    assert (ROOT / "tests" / "architecture" / "test_sizes.py") in set(find_python("tests"))
