"""Blade standards to draw keys of, and bittings that their rules allow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby, pairwise

import numpy as np

from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.soundness import find_standard_faults
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.blades import read_blade

RUN_IN_MM = 2.0
"""The last of the blade at its tip that says nothing about the bitting."""
MOST_TRIES = 10_000


def list_demo_standards() -> list[BladeStandard]:
    """Return the edge blades of the demo pack, in order of id."""
    found = [read_blade(path) for path in sorted((PACK_DIR / "blades").glob("*.toml"))]
    return [one for one in found if one.kind == "edge"]


def draw_standard(rng: np.random.Generator, *, sides: str | None = None) -> BladeStandard:
    """Draw a sound edge standard, of the sizes that vehicle keys have; its spacing is even."""
    for _ in range(MOST_TRIES):
        found = _draw_candidate(rng, sides or str(rng.choice(["single", "mirror", "split"])))
        if found is not None and not find_standard_faults(found):
            return found
    raise RuntimeError("no sound standard was drawn")


def _draw_candidate(rng: np.random.Generator, sides: str) -> BladeStandard | None:
    count, depth_count = int(rng.integers(5, 11)), int(rng.integers(3, 6))
    spacing = round(float(rng.uniform(2.3, 3.6)), 1)
    flat = round(float(rng.uniform(0.5, 1.1)), 1)
    angle = float(rng.choice([84.0, 90.0, 96.0, 100.0]))
    single = sides == "single"
    step = round(float(rng.uniform(0.4, 0.65) if single else rng.uniform(0.35, 0.5)), 2)
    macs = min(depth_count - 1, math.floor((spacing - flat) / math.tan(math.radians(angle / 2)) / step))
    first = round(float(rng.uniform(3.0, 4.2)), 1)
    positions = tuple(round(first + place * spacing, 4) for place in range(count))
    datum = str(rng.choice(["shoulder", "tip"]))
    length = round(positions[-1] + float(rng.uniform(3.2, 4.2)), 1)
    width = round(float(rng.uniform(7.6, 9.2)), 1)
    top = round((width if single else width / 2) - float(rng.uniform(0.1, 0.4)), 2)
    if macs < 1 or length > 34.0 or first - flat / 2 < RUN_IN_MM + 0.4:
        return None
    return BladeStandard(
        id=f"drawn-{count}",
        title=f"Drawn {count}-cut",
        kind="edge",
        datum=datum,
        length_mm=length,
        width_mm=width,
        thickness_mm=round(float(rng.uniform(1.9, 2.6)), 1),
        positions_mm=positions,
        depths_mm=tuple(round(top - number * step, 4) for number in range(depth_count)),
        labels=tuple(str(number + 1) for number in range(depth_count)),
        flat_mm=flat,
        angle_deg=angle,
        tolerance_mm=round(float(rng.uniform(0.03, 0.05)), 2),
        macs=macs,
        sides=sides,
        max_run=3 if rng.random() < 0.5 else None,
        min_distinct=2 if rng.random() < 0.5 else None,
    )


def keeps_rules(standard: BladeStandard, cuts: Sequence[int]) -> bool:
    """Say whether the depth numbers of one edge keep the standard's rules."""
    if any(abs(after - before) > standard.macs for before, after in pairwise(cuts)):
        return False
    longest = max(len(list(group)) for _, group in groupby(cuts))
    if standard.max_run is not None and longest > standard.max_run:
        return False
    return standard.min_distinct is None or len(set(cuts)) >= standard.min_distinct


def draw_bitting(standard: BladeStandard, rng: np.random.Generator) -> Bitting:
    """Draw one of the bittings that the rules allow, all with equal chances."""
    edges = []
    for _ in range(2 if standard.sides == "split" else 1):
        for _ in range(MOST_TRIES):
            drawn = rng.integers(0, len(standard.depths_mm), len(standard.positions_mm))
            cuts = tuple(int(cut) for cut in drawn)
            if keeps_rules(standard, cuts):
                edges.append(cuts)
                break
        else:
            raise RuntimeError(f"no bitting of {standard.id} was drawn")
    return Bitting(tuple(edges))
