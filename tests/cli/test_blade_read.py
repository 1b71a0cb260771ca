"""``bittern blade read``: a scan and a photo to the bitting; what shows no key gives one line and none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bittern.engines.blade.bitting import format_bitting
from tests.cli.contract.calls import Call, chance, hold, in_process, nullable
from tests.simulated import EDGE_BLADES, SimulatedKey, draw_bitting, make_key, render_photo, render_scan

HERON = EDGE_BLADES["heron-8"]
CUT = {
    "cut": str,
    "label": str,
    "probability": chance,
    "depth_mm": nullable(float),
    "sd_mm": nullable(float),
    "distance_mm": nullable(float),
    "by_label": dict.fromkeys(HERON.labels, chance),
}
READ = {
    "standard": str,
    "bitting": str,
    "probability": chance,
    "cuts": [CUT],
    "runners_up": [{"bitting": str, "probability": chance, "allowed": bool}],
    "allowed": bool,
    "problems": [str],
    "p_none": chance,
    "by_standard": dict,
    "wear_mm": nullable(float),
    "wear_sd_mm": nullable(float),
    "assumed": [str],
    "scale_from": str,
    "pixels_per_mm": float,
    "card_residual_mm": nullable(float),
    "residual_mm": nullable(float),
}


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return in_process(capsys)


@pytest.fixture(scope="module")
def key() -> SimulatedKey:
    rng = np.random.default_rng(6)
    return make_key(HERON, draw_bitting(HERON, rng), 0.2, rng)


@pytest.fixture(scope="module")
def scan(key: SimulatedKey, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("scan") / "key.png"
    path.write_bytes(render_scan(key, 600, np.random.default_rng(1)).png)
    return path


def test_a_scan_gives_the_bitting_in_the_fixed_shape(call: Call, scan: Path, key: SimulatedKey) -> None:
    answer = call("blade", "read", scan, "--standard", "heron-8", "--dpi", 600, "--json")
    assert answer.code == 0
    hold(answer.data, READ)
    assert answer.data["bitting"] == format_bitting(HERON, key.bitting)
    assert answer.data["probability"] > 0.98
    assert answer.data["problems"] == []
    assert answer.data["scale_from"] == "600 dpi"


def test_standards_compete_with_any(call: Call, scan: Path) -> None:
    answer = call("blade", "read", scan, "--standard", "any", "--dpi", 600, "--json")
    assert answer.code == 0
    assert answer.data["standard"] == "heron-8"
    assert len(answer.data["by_standard"]) > 1


def test_words_for_a_person(call: Call, scan: Path, key: SimulatedKey) -> None:
    answer = call("blade", "read", scan, "--standard", "heron-8", "--dpi", 600)
    assert answer.code == 0
    assert answer.out.startswith("Scale: 600 dpi.")
    assert format_bitting(HERON, key.bitting) in answer.out
    assert "Worn by" in answer.out


def test_a_photo_on_the_card_needs_no_dpi(call: Call, key: SimulatedKey, tmp_path: Path) -> None:
    photo = tmp_path / "key.jpg"
    photo.write_bytes(render_photo(key, np.random.default_rng(5)).jpeg)
    answer = call("blade", "read", photo, "--standard", "heron-8", "--json")
    assert answer.code == 0
    hold(answer.data, READ)
    assert answer.data["bitting"] == format_bitting(HERON, key.bitting)
    assert answer.data["scale_from"] == "the measuring card"


def test_without_dpi_a_picture_needs_the_card(call: Call, scan: Path) -> None:
    answer = call("blade", "read", scan, "--standard", "heron-8")
    assert answer.code == 2
    assert "card" in answer.err
    assert answer.err.count("\n") == 1


@pytest.mark.parametrize("dpi", ["49", "2401", "nan", "0", "-600"])
def test_a_resolution_no_scanner_has_is_refused(call: Call, scan: Path, dpi: str) -> None:
    answer = call("blade", "read", scan, "--standard", "heron-8", f"--dpi={dpi}")
    assert answer.code == 2
    assert "50 to 2400 dpi" in answer.err


def test_the_wrong_dpi_is_told_from_the_blades_size(call: Call, scan: Path) -> None:
    answer = call("blade", "read", scan, "--standard", "heron-8", "--dpi", 300)
    assert answer.code == 2
    assert "check the standard and the scale" in answer.err


def test_a_track_blade_is_refused_with_the_way_to_read_it(call: Call, scan: Path) -> None:
    answer = call("blade", "read", scan, "--standard", "eddy-6", "--dpi", 600)
    assert answer.code == 2
    assert "offsets" in answer.err
