"""Bar codes at every angle, blurred, unevenly lit, noisy, in perspective; and what is none."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from bittern.formats.label_codes import TILTS_DEG, BarCode, read_codes
from tests.label_images import Camera, draw_code, draw_print, make_vin, photograph, vary

NAMES = {"Code39": "Code 39", "Code128": "Code 128", "DataMatrix": "Data Matrix", "QRCode": "QR"}
HAND_HELD = Camera(blur_px=0.9, light=0.5, noise=4, perspective=0.02)


def read(kind: str, camera: Camera, seed: int) -> tuple[str, tuple[BarCode, ...]]:
    rng = np.random.default_rng(seed)
    vin = make_vin(rng)
    scale = 3 if kind.startswith("Code") else 6
    return vin, read_codes(photograph(draw_code(vin, kind, scale), camera, rng))


@pytest.mark.parametrize("kind", NAMES)
def test_a_code_is_read_at_every_angle(kind: str) -> None:
    for seed, angle in enumerate(range(0, 360, 24)):
        vin, found = read(kind, Camera(turn_deg=angle), seed)
        assert [(code.symbology, code.text) for code in found] == [(NAMES[kind], vin)], angle


@pytest.mark.parametrize(("kind", "least"), [("Code39", 10), ("DataMatrix", 12), ("QRCode", 12)])
def test_most_are_read_from_the_hand_and_none_wrongly(kind: str, least: int) -> None:
    right = 0
    for seed, angle in enumerate(range(5, 360, 30)):
        vin, found = read(kind, vary(HAND_HELD, turn_deg=angle), 100 + seed)
        right += [code.text for code in found] == [vin]
        assert all(code.text == vin for code in found), angle
    assert right >= least, f"{right} of 12"


def test_a_tilt_between_the_turns_is_never_more_than_the_reader_bears() -> None:
    # 15 degrees were measured; every angle has to lie that near to one of the turns or a quarter turn of it.
    turns = [tilt + quarter for tilt in TILTS_DEG for quarter in range(-360, 361, 90)]
    assert max(min(abs(angle - turn) for turn in turns) for angle in np.arange(0, 360, 0.5)) <= 7.5


@pytest.mark.parametrize("angle", [0, 17, 45, 90, 200])
def test_the_box_stands_on_the_code(angle: int) -> None:
    rng = np.random.default_rng(5)
    label = draw_code("BITTERN", "DataMatrix", 6)
    picture = photograph(label, Camera(turn_deg=angle), rng)
    (code,) = read_codes(picture)
    middle = np.array(code.box).mean(axis=0)
    assert np.abs(middle - np.array(picture.shape[1::-1]) / 2).max() < 8
    sides = np.linalg.norm(np.diff(np.array([*code.box, code.box[0]]), axis=0), axis=1)
    assert sides == pytest.approx([label.shape[0] - 60] * 4, rel=0.2)


def test_two_codes_on_one_label_are_both_read() -> None:
    striped, square = draw_code("1ZZAAAAH0HA123456", "Code39", 3), draw_code("LOT 7", "QRCode", 6)
    width = striped.shape[1]
    square = np.pad(square, ((0, 0), (0, width - square.shape[1]), (0, 0)), constant_values=255)
    found = read_codes(np.vstack([striped, square]), enough=lambda codes: len(codes) > 1)
    assert {(code.symbology, code.text) for code in found} == {
        ("Code 39", "1ZZAAAAH0HA123456"),
        ("QR", "LOT 7"),
    }


def test_the_search_stops_when_it_is_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    from bittern.formats import label_codes

    tried: list[int] = []
    original = label_codes._read

    def count(*words: Any) -> Any:
        tried.append(1)
        return original(*words)

    monkeypatch.setattr(label_codes, "_read", count)
    picture = draw_code("BITTERN", "QRCode", 6)
    read_codes(picture)
    assert len(tried) == 1
    tried.clear()
    read_codes(picture, enough=lambda codes: False)
    assert len(tried) > len(TILTS_DEG)


def test_a_few_stripes_are_no_code_39() -> None:
    assert read_codes(draw_code("6..Z", "Code39", 3)) == ()
    (code,) = read_codes(draw_code("6..ZAB", "Code39", 3))
    assert code.text == "6..ZAB"


def test_print_and_noise_are_no_codes() -> None:
    rng = np.random.default_rng(9)
    noise = rng.integers(0, 256, (300, 400, 3)).astype(np.uint8)
    for picture in (noise, draw_print(["FCC ID: 9ZZQM-QMR523K", "IIII1111 IIII"]), np.zeros_like(noise)):
        assert read_codes(picture) == ()


def test_a_text_that_would_steer_a_terminal_is_made_plain() -> None:
    (code,) = read_codes(draw_code("A\x1b[31mB\n\u202eC", "QRCode", 6))
    assert code.text == "A [31mB  C"
