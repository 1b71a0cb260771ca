"""Fixtures of the contract's tests."""

from __future__ import annotations

import pytest

from tests.cli.contract.calls import Call, in_process


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    """Return a function that calls the command line inside this process."""
    return in_process(capsys)
