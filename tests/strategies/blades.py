"""Random sound blade standards and bittings of them; and three invented families to hold in the hand."""

from __future__ import annotations

import math
from dataclasses import replace

from hypothesis import strategies as st

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.standard import BladeStandard

HERON = BladeStandard(
    id="heron-8",
    title="Heron 8-cut",
    kind="edge",
    datum="shoulder",
    length_mm=28.0,
    width_mm=8.4,
    thickness_mm=2.2,
    positions_mm=(3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0),
    depths_mm=(8.0, 7.4, 6.8, 6.2),
    labels=("1", "2", "3", "4"),
    flat_mm=1.0,
    angle_deg=90.0,
    tolerance_mm=0.05,
    macs=2,
    max_run=3,
    min_distinct=2,
)
RAIL = replace(
    HERON,
    id="rail-10",
    title="Rail 10-cut",
    sides="mirror",
    datum="tip",
    width_mm=9.0,
    length_mm=26.0,
    positions_mm=tuple(round(3 + 2.1 * place, 4) for place in range(10)),
    depths_mm=(4.2, 3.9, 3.6, 3.3),
    flat_mm=0.8,
)
TEAL = replace(RAIL, id="teal-10", title="Teal 10-cut", sides="split", datum="shoulder")
SNIPE = replace(
    RAIL,
    id="snipe-10",
    title="Snipe 10-cut track",
    kind="track",
    sides="single",
    datum="shoulder",
    depths_mm=(-1.5, -0.5, 0.5, 1.5),
    groove_width_mm=2.0,
    groove_depth_mm=0.8,
)


def _millimetres(low: float, high: float) -> st.SearchStrategy[float]:
    return st.integers(math.ceil(low * 100), math.floor(high * 100)).map(lambda value: value / 100)


@st.composite
def standards(draw: st.DrawFn, kind: str | None = None) -> BladeStandard:
    """Draw a sound standard without optional rules; its steps and spacings are uneven."""
    kind = kind or draw(st.sampled_from(["edge", "track"]))
    sides = draw(st.sampled_from(["single", "mirror", "split"] if kind == "edge" else ["single", "mirror"]))
    flat, angle = draw(_millimetres(0, 1.5)), draw(st.integers(50, 130))
    count = draw(st.integers(1, 8))
    spacings = draw(st.lists(_millimetres(flat + 0.8, flat + 4), min_size=count - 1, max_size=count - 1))
    positions = [draw(_millimetres(1, 5))]
    for spacing in spacings:
        positions.append(positions[-1] + spacing)
    depth_count = draw(st.integers(1, 6))
    macs = draw(st.integers(1, 5))
    room = (min(spacings, default=3.0) - flat) / math.tan(math.radians(angle) / 2)
    # The sum of any `macs` steps stays within the room, however uneven the steps are.
    largest = room / macs
    steps = [largest * draw(st.floats(0.4, 0.99)) for _ in range(depth_count - 1)]
    lowest = draw(_millimetres(0.5, 4))
    depths = [lowest + sum(steps)]
    for step in steps:
        depths.append(depths[-1] - step)
    half = depths[0] + draw(_millimetres(0, 1))
    if kind == "track":
        middle = sum(depths) / len(depths)
        depths, half = [depth - middle for depth in depths], half + 1
    return BladeStandard(
        id="drawn",
        title="Drawn",
        kind=kind,
        datum=draw(st.sampled_from(["shoulder", "tip"])),
        length_mm=positions[-1] + draw(_millimetres(1, 5)),
        width_mm=half if (kind, sides) == ("edge", "single") else 2 * half,
        thickness_mm=2.0,
        positions_mm=tuple(positions),
        depths_mm=tuple(depths),
        labels=tuple("123456"[:depth_count]),
        flat_mm=flat,
        angle_deg=float(angle),
        tolerance_mm=min([0.05, *(step / 4 for step in steps)]),
        macs=macs,
        sides=sides,
        groove_width_mm=0.5 if kind == "track" else None,
        groove_depth_mm=0.5 if kind == "track" else None,
    )


@st.composite
def bittings(draw: st.DrawFn, standard: BladeStandard, *, keeps_macs: bool = True) -> Bitting:
    """Draw a complete bitting of a standard that has no optional rules."""
    most = len(standard.depths_mm) - 1
    edges = []
    for _ in range(2 if standard.sides == "split" else 1):
        cuts = [draw(st.integers(0, most))]
        for _ in standard.positions_mm[1:]:
            low = max(0, cuts[-1] - standard.macs) if keeps_macs else 0
            high = min(most, cuts[-1] + standard.macs) if keeps_macs else most
            cuts.append(draw(st.integers(low, high)))
        edges.append(tuple(cuts))
    return Bitting(tuple(edges))


@st.composite
def cut_blades(
    draw: st.DrawFn, kind: str | None = None, *, keeps_macs: bool = True
) -> tuple[BladeStandard, Bitting]:
    """Draw a sound standard and a complete bitting of it."""
    standard = draw(standards(kind))
    return standard, draw(bittings(standard, keeps_macs=keeps_macs))
