"""Is every blade of the demo pack left right by every cutter that fits it? Programs read back and swept.

For each standard, cutter and random bitting a program is planned, read back from its text and swept. Targets:
root error at most a fifth of the tolerance, no more than 0.005 mm too deep, and the outline that the sweep
finds within 0.002 mm of the one that the planned form leaves. That one comes from an independent library: the
outline closed by a disc (shapely's buffer out and in) for an end mill, the ideal itself for a wheel and for a
track's centre line.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT / "bench") not in sys.path:
    sys.path.insert(0, str(ROOT / "bench"))

from simulated_keys.standards import draw_bitting  # noqa: E402

from bittern.demo import PACK_DIR  # noqa: E402
from bittern.engines.blade.bitting import Bitting  # noqa: E402
from bittern.engines.blade.outline import get_outline  # noqa: E402
from bittern.engines.blade.standard import BladeStandard  # noqa: E402
from bittern.engines.cutting.cutter import Cutter  # noqa: E402
from bittern.engines.cutting.fitting import fits_standard  # noqa: E402
from bittern.engines.cutting.machine import Machine  # noqa: E402
from bittern.engines.cutting.sweep import SweepResult  # noqa: E402
from bittern.formats.packs import read_pack  # noqa: E402
from bittern.work.cutting import Wish, plan_program, prove_program  # noqa: E402

BITTINGS = 50
SEED = 5005
ROOT_SHARE, GOUGE_MM, AGREE_MM = 0.2, 0.005, 0.002
FAR_MM = 50.0

Floats = NDArray[np.float64]


@dataclass(slots=True)
class Worst:
    """The largest of each error over all bittings, in mm, and how many programs were not good."""

    root: float = 0.0
    gouge: float = 0.0
    anywhere: float = 0.0
    apart: float = 0.0
    programs: int = 0
    bad: int = 0

    def add(self, swept: SweepResult, planned: Floats) -> None:
        """Count one program."""
        self.root = max(self.root, swept.root_error_mm)
        self.gouge = max(self.gouge, swept.gouge_mm)
        self.anywhere = max(self.anywhere, swept.worst_error_mm)
        self.apart = max(self.apart, float(np.nanmax(abs(swept.left_mm - planned))))
        self.programs += 1
        self.bad += not swept.good


def main() -> None:
    """Print a row a standard and cutter, and whether the targets are held."""
    pack, rng = read_pack(PACK_DIR), np.random.default_rng(SEED)
    print(f"{BITTINGS} random bittings each, mm")
    heads = ("root", "too deep", "anywhere", "apart")
    print(f"{'blade':<10} {'cutter':<11} {'programs':>8} {'bad':>4}", *(f"{head:>8}" for head in heads))
    held, count = True, 0
    for blade in pack.blades.values():
        bittings = [draw_bitting(blade, rng) for _ in range(BITTINGS)]
        for cutter in pack.tools.values():
            if fits_standard(cutter, blade):
                continue
            worst = _sweep_all(blade, cutter, bittings)
            count += worst.programs
            held &= worst.root <= ROOT_SHARE * blade.tolerance_mm and worst.gouge <= GOUGE_MM
            held &= worst.apart <= AGREE_MM and not worst.bad
            print(
                f"{blade.id:<10} {cutter.id:<11} {worst.programs:>8} {worst.bad:>4} {worst.root:>8.4f}"
                f" {worst.gouge:>8.4f} {worst.anywhere:>8.4f} {worst.apart:>8.4f}"
            )
    print(
        f"{count} programs; root error <= tolerance/5, too deep <= {GOUGE_MM} mm, sweep and plan within"
        f" {AGREE_MM} mm: {'held' if held else 'MISSED'}"
    )


def _sweep_all(blade: BladeStandard, cutter: Cutter, bittings: list[Bitting]) -> Worst:
    worst, machine = Worst(), Machine()
    for number, bitting in enumerate(bittings):
        for edge in range(len(bitting.edges)):
            wish = Wish(edge=edge, climb=number % 2 == 0)
            text = plan_program(blade, bitting, cutter, machine, wish).text
            swept = prove_program(text, blade, bitting, cutter, edge=edge)
            worst.add(swept, _get_planned(blade, bitting, cutter, edge, swept))
    return worst


def _get_planned(
    blade: BladeStandard, bitting: Bitting, cutter: Cutter, edge: int, swept: SweepResult
) -> Floats:
    """Return the height that the cutter's form leaves at each column of the sweep."""
    if cutter.kind == "wheel" or blade.kind == "track":
        return swept.ideal_mm
    outline = np.array(get_outline(blade, bitting, edge=edge))
    # Uncut edge on both sides, so that the ends are like any other place.
    left = [(-FAR_MM, outline[0, 1]), *outline, (blade.length_mm + FAR_MM, outline[-1, 1])]
    ring = Polygon([(-FAR_MM, -FAR_MM), *left, (blade.length_mm + FAR_MM, -FAR_MM)])
    radius = cutter.diameter_mm / 2
    closed = np.array(ring.buffer(radius, quad_segs=200).buffer(-radius, quad_segs=200).exterior.coords)
    upper = closed[closed[:, 1] > -FAR_MM / 2]
    upper = upper[np.argsort(upper[:, 0])]
    return np.interp(swept.x_mm, upper[:, 0], upper[:, 1])


if __name__ == "__main__":
    main()
