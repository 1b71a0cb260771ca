"""Calling the program as its users do, and holding what it prints to a shape."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from bittern.cli.main import main

FILES = Path(__file__).parents[2] / "files" / "contract"
PACK = FILES / "pack"
BITTING = "2 1 3 4 2 2 1 3"
CLASSIC = "1M8GDM9AXKP042788"

Call = Callable[..., "Answer"]


@dataclass(frozen=True, slots=True)
class Answer:
    """What one call gave."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> dict[str, Any]:
        """Return standard output as the one strict JSON object that it must be."""
        assert self.out.endswith("\n")
        assert self.out.count("\n") == 1
        data = json.loads(self.out, parse_constant=_refuse)
        assert isinstance(data, dict)
        return data

    def refuse(self) -> str:
        """Return the one line on standard error of a call that was refused."""
        assert (self.code, self.out) == (2, "")
        assert self.err.startswith("bittern: ")
        assert self.err.endswith("\n")
        assert self.err.count("\n") == 1
        assert "Traceback" not in self.err
        return self.err


def _refuse(constant: str) -> object:
    raise AssertionError(f"{constant} is no JSON")


def in_process(capsys: pytest.CaptureFixture[str]) -> Call:
    """Return a function that calls the command line inside this process."""

    def call(*words: object) -> Answer:
        code = main([str(word) for word in words])
        return Answer(code, *capsys.readouterr())

    return call


def start(
    *words: object, environment: dict[str, str] | None = None, **options: Any
) -> subprocess.CompletedProcess[bytes]:
    """Run the program in a process of its own; ``options`` go to :func:`subprocess.run`."""
    # A path of the file system may be bytes that are no text.
    line = [sys.executable, "-m", "bittern", *(w if isinstance(w, bytes) else str(w) for w in words)]
    options = {"stdin": subprocess.DEVNULL, "timeout": 60} | options
    if not {"stdout", "stderr"} & set(options):
        options["capture_output"] = True
    if "input" in options:
        del options["stdin"]
    return subprocess.run(line, check=False, env=os.environ | (environment or {}), **options)


def outside(*words: object, **options: Any) -> Answer:
    """Run the program in a process of its own and return its answer."""
    done = start(*words, **options)
    return Answer(done.returncode, done.stdout.decode(), done.stderr.decode())


def nullable(shape: object) -> Callable[[object, str], None]:
    """Return a shape that also lets null pass."""

    def check(value: object, where: str) -> None:
        if value is not None:
            hold(value, shape, where)

    return check


def chance(value: object, where: str) -> None:
    """Shape of a probability."""
    hold(value, float, where)
    assert isinstance(value, int | float)
    assert 0 <= value <= 1, where


def hold(value: object, shape: object, where: str = "") -> None:
    """Assert that ``value`` has ``shape``: a type, a list of one, keys that must be there, a check."""
    if isinstance(shape, dict):
        assert isinstance(value, dict), where
        assert set(shape) <= set(value), f"{where}: {sorted(set(shape) - set(value))} missing"
        for key, inner in shape.items():
            hold(value[key], inner, f"{where}.{key}")
    elif isinstance(shape, list):
        assert isinstance(value, list), where
        for number, item in enumerate(value):
            hold(item, shape[0], f"{where}[{number}]")
    elif isinstance(shape, tuple):
        assert isinstance(value, list), where
        assert len(value) == len(shape), where
        for number, (item, inner) in enumerate(zip(value, shape, strict=True)):
            hold(item, inner, f"{where}[{number}]")
    elif isinstance(shape, type):
        kinds = (int, float) if shape is float else shape
        assert isinstance(value, kinds), f"{where}: {value!r} is no {shape.__name__}"
        assert (shape is bool) == isinstance(value, bool), f"{where}: {value!r} is no {shape.__name__}"
    else:
        assert callable(shape)
        shape(value, where)


FAULT = {"file": str, "where": str, "found": str, "expected": str}
CHECKED = {
    "vin": str,
    "valid": bool,
    "wmi": nullable(str),
    "check_digit": {"given": nullable(str), "expected": nullable(str), "required": bool},
    "model_years": [int],
    "problems": [str],
}
SUGGESTED = {"suggestions": [{"vin": str, "probability": chance, "changes": [str]}]}
DECODED = {
    "vin": str,
    "make": nullable(str),
    "model": nullable(str),
    "model_year": nullable(int),
    "attributes": {},
    "source": nullable(str),
}
IDENTIFIED = {
    "candidates": [{"article": str, "probability": chance, "because": [str]}],
    "outside_pack": chance,
    "settled": bool,
    "order": nullable(str),
    "ask": [{"question": str, "expected_saving": float, "cost": float}],
}
CONTOUR = {"points_mm": [(float, float)]}
MEASURED = {
    "standard": str,
    "bitting": str,
    "probability": chance,
    "cuts": [
        {
            "label": str,
            "probability": chance,
            "depth_mm": nullable(float),
            "sd_mm": nullable(float),
            "by_label": {},
        }
    ],
    "runners_up": [{"bitting": str, "probability": chance}],
    "allowed": bool,
    "problems": [str],
}
SHEET = {
    "ok": bool,
    "faults": [FAULT],
    "p_good": nullable(chance),
    "p_unchanged": nullable(chance),
    "p_stranded": nullable(chance),
    "time_s": {"mean": nullable(float), "p50": nullable(float), "p90": nullable(float)},
    "points_of_no_return": [str],
    "census": nullable(str),
}
PACKED = {"ok": bool, "faults": [FAULT]}
