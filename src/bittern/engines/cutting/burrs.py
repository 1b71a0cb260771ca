"""What stands out of a finished key's edge over a short stretch: a burr, a chip, dirt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.core.phrases import join_words
from bittern.engines.blade.reporting import place_samples
from bittern.engines.blade.weighed import Weighed
from bittern.engines.cutting.blurring import Blurred
from bittern.engines.cutting.laying import list_roots
from bittern.engines.cutting.patterns import Pattern

Floats = NDArray[np.float64]

BURR_MM: Final = 0.05
"""What stands out of its surroundings by more is a burr or a chip (judgement),"""
SURE: Final = 5.0
"""if it does so by more than so many standard deviations of the picture's noise,"""
MOST_MM: Final = 0.5
"""over less than this;"""
AROUND_MM: Final = 1.0
"""its surroundings reach so far to either side."""


def find_burrs(laid: Weighed, blurs: Sequence[Blurred]) -> list[Pattern]:
    """Return where the outline stands out, as one finding."""
    datum = laid.standard.datum
    found: list[tuple[float, float]] = []
    likeliest = max(blurs, key=lambda one: one.p)
    for number, (block, left) in enumerate(zip(laid.evidence.blocks, likeliest.left_mm, strict=True)):
        if block.edge is not None and len(left):
            x = place_samples(laid, block)
            found += _search(x, np.where(_is_cut_wrong(laid, number, x), 0.0, left), block.sd_mm)
    if not found:
        return []
    where = join_words([f"{place:.1f} mm" for place, _ in sorted(found)[:4]])
    advice = f"something stands out {where} from the {datum}: a burr or a chip; brush the key and look again"
    return [Pattern("burr", max(high for _, high in found), advice)]


def _is_cut_wrong(laid: Weighed, block: int, x_mm: Floats) -> NDArray[np.bool_]:
    """Return the samples that belong to a cut of another depth: its flanks stand out too."""
    places = laid.family.places_mm
    reach = float(np.diff(places).min()) if len(places) > 1 else np.inf
    wrong = [
        places[root.place]
        for root in list_roots(laid)
        if root.block == block and abs(root.height_mm - root.target_mm) > BURR_MM
    ]
    return np.asarray((np.abs(x_mm[:, None] - np.array(wrong)) <= reach).any(axis=1))


def _search(x_mm: Floats, left_mm: Floats, sd_mm: Floats) -> list[tuple[float, float]]:
    """Return place and height of what stands out along one edge."""
    order = np.argsort(x_mm)
    x, left, sd = x_mm[order], left_mm[order], sd_mm[order]
    usual = np.array([np.median(left[np.abs(x - place) <= AROUND_MM]) for place in x])
    over = left - usual
    high = over > np.maximum(BURR_MM, SURE * sd)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], high, [False])).astype(np.int8)))
    return [
        (float(x[start:stop].mean()), float(over[start:stop].max()))
        for start, stop in zip(edges[::2], edges[1::2], strict=True)
        if x[stop - 1] - x[start] < MOST_MM
    ]
