"""Keys laid nearly square to the pixels: columns of pixels and places along the axis fall in step."""

from __future__ import annotations

import numpy as np
import pytest

from bittern.engines.blade.bitting import format_bitting
from bittern.work.blade_picture import read_blade_picture
from tests.simulated import EDGE_BLADES, draw_bitting, make_key, render_scan


@pytest.mark.parametrize("turn_deg", [0.0, 0.006, -0.02, 90.0])
@pytest.mark.parametrize("dpi", [254, 381, 500])
def test_a_key_square_to_the_pixels_is_read_at_any_resolution(turn_deg: float, dpi: float) -> None:
    reed = EDGE_BLADES["reed-6"]
    rng = np.random.default_rng(12)
    key = make_key(reed, draw_bitting(reed, rng), 0.1, rng)
    scan = render_scan(key, dpi, rng, turn_deg=turn_deg)
    found = read_blade_picture(scan.png, [reed], dpi=dpi).measurement
    assert found.bitting == format_bitting(reed, key.bitting)
    assert found.probability > 0.98
