"""How long a cutting program takes to plan and to prove, and how a parallel's time grows with its outline.

The parallel is set beside shapely's plain buffer and pyclipper's offset of the same outline. Target: plan and
sweep of one key in under 200 ms. Times are the processor's: what else runs on the machine is not counted.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pyclipper
from numpy.typing import NDArray
from shapely import Polygon

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT / "bench") not in sys.path:
    sys.path.insert(0, str(ROOT / "bench"))

from simulated_keys.standards import draw_bitting  # noqa: E402

from bittern.demo import PACK_DIR  # noqa: E402
from bittern.engines.cutting.compensation import compensate_disc  # noqa: E402
from bittern.engines.cutting.fitting import fits_standard  # noqa: E402
from bittern.engines.cutting.machine import Machine  # noqa: E402
from bittern.formats.packs import read_pack  # noqa: E402
from bittern.work.cutting import Wish, plan_program, prove_program  # noqa: E402

REPEATS = 5
TARGET_MS = 200.0
VERTICES = (100, 200, 500, 1000, 2000, 5000, 10_000)
RADIUS_MM = 0.5
ARC_ERROR_MM = 0.001
SCALE = 1e6
"""Steps a mm of the integers in which pyclipper works."""

Outline = NDArray[np.float64]


def main() -> None:
    """Print both tables."""
    _print_keys()
    print()
    _print_parallels()


def _print_keys() -> None:
    pack, machine, rng = read_pack(PACK_DIR), Machine(), np.random.default_rng(52)
    print(f"{'blade':<10} {'cutter':<11} {'lines':>6} {'plan ms':>8} {'sweep ms':>8}")
    worst = 0.0
    for blade in pack.blades.values():
        bitting = draw_bitting(blade, rng)
        for cutter in pack.tools.values():
            if fits_standard(cutter, blade):
                continue
            text = plan_program(blade, bitting, cutter, machine, Wish()).text
            planned = _time(partial(plan_program, blade, bitting, cutter, machine, Wish()))
            swept = _time(partial(prove_program, text, blade, bitting, cutter))
            worst = max(worst, planned + swept)
            print(f"{blade.id:<10} {cutter.id:<11} {text.count(chr(10)):>6} {planned:>8.1f} {swept:>8.1f}")
    held = "held" if worst < TARGET_MS else "MISSED"
    print(f"Target below {TARGET_MS:g} ms together: {held} (slowest {worst:.0f} ms)")


def _print_parallels() -> None:
    print(
        f"Parallel at {RADIUS_MM} mm of a jagged outline, ms; the others' arcs are true to {ARC_ERROR_MM} mm"
    )
    print(f"{'vertices':>8} {'ours':>9} {'shapely':>9} {'pyclipper':>9}   others over ours")
    times = []
    for count in VERTICES:
        outline = _draw_outline(count)
        row = [
            _time(partial(compensate_disc, outline.tolist(), RADIUS_MM)),
            _time(partial(_buffer, outline)),
            _time(partial(_offset, outline)),
        ]
        times.append(row)
        shares = f"{row[1] / row[0]:.2f}, {row[2] / row[0]:.2f}"
        print(f"{count:>8}", *(f"{value:>9.2f}" for value in row), f"  {shares}")
    slopes = np.polyfit(np.log(VERTICES), np.log(times), 1)[0]
    print("Time grows as the vertices to the power of", ", ".join(f"{slope:.2f}" for slope in slopes))


def _draw_outline(count: int) -> Outline:
    """Return an outline of that many vertices over 30 mm, each stretch as steep as a blade's or less."""
    rng = np.random.default_rng(count)
    x = np.linspace(0.0, 30.0, count)
    steps = rng.uniform(-1, 1, count - 1) * (x[1] - x[0])
    return np.column_stack([x, 6.0 + np.concatenate([[0.0], np.cumsum(steps)])])


def _close(outline: Outline) -> Outline:
    return np.vstack([[outline[0, 0], -30.0], outline, [outline[-1, 0], -30.0]])


def _buffer(outline: Outline) -> None:
    # As many chords a quarter turn as keep the arc's error.
    segments = int(np.ceil(np.pi / 4 / np.arccos(1 - ARC_ERROR_MM / RADIUS_MM)))
    Polygon(_close(outline)).buffer(RADIUS_MM, quad_segs=segments)


def _offset(outline: Outline) -> None:
    offset = pyclipper.PyclipperOffset(2.0, ARC_ERROR_MM * SCALE)
    ring = np.rint(_close(outline) * SCALE).astype(int).tolist()
    offset.AddPath(ring, pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
    offset.Execute(RADIUS_MM * SCALE)


def _time(call: Callable[[], object]) -> float:
    """Return the least processor time of some calls in ms, after one to warm up; all work in one thread."""
    call()
    took = []
    for _ in range(REPEATS):
        before = time.process_time()
        call()
        took.append(time.process_time() - before)
    return 1000 * min(took)


if __name__ == "__main__":
    main()
