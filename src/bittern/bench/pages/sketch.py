"""Small drawings of a pack's blades, to one scale: people compare shapes rather than read names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.utils.safestring import SafeString, mark_safe

from bittern.core.errors import BitternError
from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.outline import get_blade_polygon, get_outline
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.packs import Pack

BOW_MM, SHOULDER_MM, EDGE_MM = 5.0, 1.5, 0.4
# On the screen: so many CSS pixels a millimetre, the same for every blade.
PIXELS_A_MM = 4.5
Point = tuple[float, float]
# The latest pack's drawings: they depend on nothing else, and a pack is loaded once.
_LATEST: list[tuple[Pack, Mapping[str, SafeString]]] = []


def draw_blades(pack: Pack) -> Mapping[str, SafeString]:
    """Return an ``<svg>`` for each blade standard of ``pack``."""
    if not _LATEST or _LATEST[0][0] is not pack:
        _LATEST[:] = [(pack, {one.id: draw_blade(one) for one in pack.blades.values()})]
    return _LATEST[0][1]


def draw_blade(standard: BladeStandard) -> SafeString:
    """Return one blade with an invented bitting, its bow to the left; "" if it has no shape."""
    bitting = _make_middle(standard)
    try:
        blade = get_blade_polygon(standard, bitting)
        groove = get_outline(standard, bitting) if standard.kind == "track" else ()
    except BitternError:
        return SafeString("")
    length, width = standard.length_mm, standard.width_mm
    # From the back edge or from the centre line: the drawing's own zero is the uncut upper edge.
    top = width if standard.kind == "edge" and standard.sides == "single" else width / 2

    def place(points: Iterable[Point]) -> str:
        # Counted from the tip, the bow is at the far end: turned, so that all bows stand on one side.
        turned = ((length - x if standard.datum == "tip" else x, top - y) for x, y in points)
        return " ".join(f"{x:.2f},{y:.2f}" for x, y in turned)

    frame = (-BOW_MM - EDGE_MM, -SHOULDER_MM - EDGE_MM)
    size = (length + BOW_MM + 2 * EDGE_MM, width + 2 * SHOULDER_MM + 2 * EDGE_MM)
    parts = [
        f'<svg class="blade-sketch" width="{size[0] * PIXELS_A_MM:.0f}" height="{size[1] * PIXELS_A_MM:.0f}" '
        f'viewBox="{frame[0]:.2f} {frame[1]:.2f} {size[0]:.2f} {size[1]:.2f}" aria-hidden="true" '
        'focusable="false">',
        f'<rect class="blade-bow" x="{-BOW_MM}" y="{-SHOULDER_MM}" width="{BOW_MM}" '
        f'height="{width + 2 * SHOULDER_MM:.2f}"/>',
        f'<polygon class="blade-steel" points="{place(blade)}"/>',
    ]
    if groove:
        wide = standard.groove_width_mm or EDGE_MM
        parts.append(f'<polyline class="blade-groove" stroke-width="{wide:g}" points="{place(groove)}"/>')
    # Numbers only: nothing of a pack's words stands in it.
    return mark_safe("".join([*parts, "</svg>"]))  # noqa: S308


def _make_middle(standard: BladeStandard) -> Bitting:
    """Return a wave about the middle depth, whose steps are as large as the standard allows up to two."""
    last = len(standard.depths_mm) - 1
    low = last // 2
    step = max(0, min(2, standard.macs, last - low))
    wave = (low, low + step, low, low + step // 2)
    cuts = tuple(wave[place % len(wave)] for place in range(len(standard.positions_mm)))
    return Bitting((cuts, cuts) if standard.sides == "split" else (cuts,))
