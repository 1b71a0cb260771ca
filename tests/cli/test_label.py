"""``bittern label read``: one JSON object, words for a person, one line for what is no picture."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.cli.contract.calls import Call, chance, hold, in_process, nullable, outside
from tests.label_images import Camera, draw_code, draw_print, make_vin, photograph, save

VIN = make_vin(np.random.default_rng(17))
BOX = [(int, int)]
READ = {
    "vins": [
        {
            "vin": str,
            "valid": bool,
            "from": str,
            "confidence": nullable(chance),
            "box": BOX,
            "changed": [str],
            "suggestions": [{"vin": str, "probability": chance, "changes": [str]}],
        }
    ],
    "fcc_ids": [
        {
            "text": str,
            "from": str,
            "confidence": nullable(chance),
            "box": BOX,
            "changed": [str],
            "alternatives": [str],
        }
    ],
    "barcodes": [{"symbology": str, "text": str, "box": BOX}],
    "texts": [str],
    "lines": [{"text": str, "confidence": chance, "box": BOX}],
}


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return in_process(capsys)


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a photo with a bar code over print."""
    code, printed = draw_code(VIN, "QRCode", 5), draw_print(["FCC ID: 9ZZQM-QMR523K"], 26)
    width = max(code.shape[1], printed.shape[1])
    rows = [np.pad(one, ((0, 0), (0, width - one.shape[1]), (0, 0)), mode="edge") for one in (code, printed)]
    path = tmp_path_factory.mktemp("photo") / "label.jpg"
    path.write_bytes(save(photograph(np.vstack(rows), Camera(turn_deg=5), np.random.default_rng(2)), "JPEG"))
    return path


def test_the_answer_has_its_shape_and_what_stands_on_the_label(call: Call, photo: Path) -> None:
    answer = call("label", "read", photo, "--json")
    assert (answer.code, answer.err) == (0, "")
    hold(answer.data, READ)
    assert [(one["vin"], one["valid"], one["from"]) for one in answer.data["vins"]] == [(VIN, True, "QR")]
    assert [(one["text"], one["from"]) for one in answer.data["fcc_ids"]] == [("9ZZQM-QMR523K", "text")]
    words = call("label", "read", photo)
    assert f"Vehicle number: {VIN}  valid, from QR" in words.out
    assert "Compare with the label before using any of it." in words.out


def test_a_picture_of_nothing_is_a_no_with_advice(call: Call, tmp_path: Path) -> None:
    path = tmp_path / "wall.png"
    path.write_bytes(save(np.full((200, 300, 3), 190, np.uint8)))
    answer = call("label", "read", path, "--json")
    assert answer.code == 1
    assert {answer.data[key] == [] for key in ("vins", "fcc_ids", "barcodes", "texts")} == {True}
    assert "Go closer" in call("label", "read", path).out


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "an empty file"),
        (b"\0\0\0\x18ftypheic" + bytes(50), "HEIC"),
        (b"\x89PNG\r\n\x1a\n" + bytes(50), "damaged"),
        (b"text", "no picture of a known kind"),
    ],
)
def test_what_is_no_picture_is_one_line_and_exit_2(
    content: bytes, found: str, call: Call, tmp_path: Path
) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(content)
    assert found in call("label", "read", path, "--json").refuse()


def test_a_missing_file_and_a_folder_are_refused(call: Call, tmp_path: Path) -> None:
    assert "no such file" in call("label", "read", tmp_path / "none.png").refuse()
    assert "not a plain file" in call("label", "read", tmp_path).refuse()


@pytest.mark.slow
def test_a_process_of_its_own_is_quiet_and_needs_no_network(photo: Path, tmp_path: Path) -> None:
    # An address that nothing answers at: any download would fail, and would be heard on standard error.
    nowhere = dict.fromkeys(("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY"), "http://127.0.0.1:9")
    home = {"HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "cache"), "CI": ""}
    answer = outside("label", "read", photo, "--json", environment={**nowhere, **home})
    assert (answer.code, answer.err) == (0, "")
    assert answer.data["vins"][0]["vin"] == VIN
    # The runtime of the models would keep an identifier of the machine there, and report under it.
    assert list(tmp_path.iterdir()) == []
