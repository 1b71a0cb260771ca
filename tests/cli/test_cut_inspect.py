"""``bittern cut inspect``: a good key, a wrong one, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bittern.engines.blade.bitting import parse_bitting
from tests.cli.contract.calls import Call, chance, hold, in_process, nullable
from tests.simulated import EDGE_BLADES, make_key, render_scan

HERON = EDGE_BLADES["heron-8"]
BITTING = "2 1 3 4 2 2 1 3"
SHAPE = {
    "verdict": str,
    "cuts": [
        {
            "position_mm": float,
            "target_mm": float,
            "measured_mm": nullable(float),
            "sd_mm": nullable(float),
            "p_conform": nullable(chance),
        }
    ],
    "limit_mm": float,
    "risk": float,
    "findings": [str],
    "scale_from": str,
}


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return in_process(capsys)


@pytest.fixture(scope="module")
def scan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a scan of a key cut exactly, but for a twentieth of the tolerance."""
    key = make_key(HERON, parse_bitting(HERON, BITTING), 0.0, np.random.default_rng(3), tolerance_share=0.05)
    path = tmp_path_factory.mktemp("scan") / "new.png"
    path.write_bytes(render_scan(key, 600, np.random.default_rng(4)).png)
    return path


def test_a_good_key_does_not_fail(call: Call, scan: Path) -> None:
    answer = call(
        "cut", "inspect", scan, "--standard", "heron-8", "--bitting", BITTING, "--dpi", 600, "--json"
    )
    assert answer.code == 0
    hold(answer.data, SHAPE)
    assert answer.data["verdict"] in ("pass", "undecided")
    for cut in answer.data["cuts"]:
        assert cut["measured_mm"] == pytest.approx(cut["target_mm"], abs=4 * cut["sd_mm"])


def test_a_wrong_cut_is_a_no_with_its_name(call: Call, scan: Path) -> None:
    wrong = "2 1 3 4 2 2 2 3"
    answer = call("cut", "inspect", scan, "--standard", "heron-8", "--bitting", wrong, "--dpi", 600)
    assert answer.code == 1
    assert answer.out.splitlines()[1].startswith("Verdict: fail")
    assert "cut 7 is 0." in answer.out
    assert "mm too shallow" in answer.out


@pytest.mark.parametrize("risk", ["0", "0.6", "nan"])
def test_a_risk_that_is_none_is_refused(call: Call, scan: Path, risk: str) -> None:
    answer = call(
        "cut", "inspect", scan, "--standard", "heron-8", "--bitting", BITTING, "--dpi", 600, "--risk", risk
    )
    assert answer.code == 2
    assert "0.0001 to 0.5" in answer.err
