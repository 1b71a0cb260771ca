"""The simulated keys of the benchmarks, for tests that read them."""

from __future__ import annotations

import sys
from pathlib import Path

BENCH = Path(__file__).resolve().parent.parent / "bench"
if str(BENCH) not in sys.path:
    sys.path.insert(0, str(BENCH))

from simulated_keys.key import SimulatedKey, make_key  # noqa: E402
from simulated_keys.photo import render_photo  # noqa: E402
from simulated_keys.scan import render_scan  # noqa: E402
from simulated_keys.sight import make_silhouette  # noqa: E402
from simulated_keys.standards import draw_bitting, draw_standard, list_demo_standards  # noqa: E402

__all__ = [
    "EDGE_BLADES",
    "SimulatedKey",
    "draw_bitting",
    "draw_standard",
    "make_key",
    "make_silhouette",
    "render_photo",
    "render_scan",
]
EDGE_BLADES = {one.id: one for one in list_demo_standards() if one.kind == "edge"}
