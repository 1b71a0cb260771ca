"""The exact outline of a cut blade: every vertex computed, nothing sampled unless asked for."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise, product

from bittern.core.phrases import join_words
from bittern.engines.blade.bitting import Bitting, Cuts, name_cut
from bittern.engines.blade.errors import StepError, UnknownCutError
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard

Point = tuple[float, float]

SMALLEST_STEP_MM = 0.001
MOST_POINTS = 1_000_000
# Vertices closer than this are one vertex, and a vertex nearer than this to the chord of its neighbours is
# none: far below any cutter, far above the rounding of a double at blade size.
SAME_MM = 1e-9


def get_height_mm(standard: BladeStandard, bitting: Bitting, x_mm: float, *, edge: int = 0) -> float:
    """Return the height of the cut edge, or the groove's offset, at ``x_mm``.

    Parameters
    ----------
    standard, bitting
        A sound standard and a complete bitting of it.
    x_mm
        Distance from the datum along the blade, in mm; meaningful from 0 to ``length_mm``.
    edge
        On a split blade 0 for A (upper) and 1 for B (lower).

    Returns
    -------
    float
        mm above the back edge (``single``) or above the centre line (``mirror``, ``split`` and track).
        Heights of edge B are counted away from the centre line and so are positive too.

    Raises
    ------
    UnknownCutError
        A cut of that edge is unknown: measure it, or plan a ladder.

    Notes
    -----
    Edge blade: ``h(x) = min(width, min_i(depth_i + max(0, |x - x_i| - flat/2) / tan(angle/2)))``, with half
    the width for ``mirror`` and ``split``. Track: the centre line keeps each offset for ``flat`` about its
    position and runs straight between; before the first and after the last cut it keeps theirs.

    The formula knows nothing of the run-in at the tip, of rounded cutters, or of wear.
    """
    depths = _get_depths_mm(standard, bitting, edge)
    if standard.kind == "track":
        return _interpolate(_get_centre_line(standard, depths), x_mm)
    half, slope = standard.flat_mm / 2, _get_slope(standard)
    roots = (
        depth + max(0.0, abs(x_mm - x) - half) * slope
        for x, depth in zip(standard.positions_mm, depths, strict=True)
    )
    return min(get_edge_height_mm(standard), *roots)


def get_outline(standard: BladeStandard, bitting: Bitting, *, edge: int = 0) -> tuple[Point, ...]:
    """Return the exact polyline ``(x_mm, h_mm)`` of a cut edge, or of a track's centre line.

    Parameters
    ----------
    standard, bitting, edge
        As for :func:`get_height_mm`.

    Returns
    -------
    tuple of (float, float)
        From x = 0 to x = ``length_mm``, x strictly growing, both ends included, no vertex that does not bend.

    Raises
    ------
    UnknownCutError
        A cut of that edge is unknown.

    Notes
    -----
    A vertex of the lower envelope is the end of a flat, or a place where a flank meets the uncut edge,
    another flank or (only where a rule is broken) another cut's flat. All of these are computed in closed
    form; those that lie above the envelope drop out when the envelope itself is evaluated there.

    Examples
    --------
    >>> from bittern.engines.blade.bitting import parse_bitting
    >>> wren = BladeStandard(
    ...     id="wren", title="Wren", kind="edge", datum="shoulder", length_mm=10.0, width_mm=8.0,
    ...     thickness_mm=2.0, positions_mm=(5.0,), depths_mm=(7.0, 6.0), labels=("1", "2"), flat_mm=1.0,
    ...     angle_deg=90.0, tolerance_mm=0.05, macs=1)
    >>> [(round(x, 6), round(h, 6)) for x, h in get_outline(wren, parse_bitting(wren, "2"))]
    [(0.0, 8.0), (2.5, 8.0), (4.5, 6.0), (5.5, 6.0), (7.5, 8.0), (10.0, 8.0)]
    """
    depths = _get_depths_mm(standard, bitting, edge)
    if standard.kind == "track":
        line = _get_centre_line(standard, depths)
        xs = [x for x, _ in line]
        return _drop_straight([(x, _interpolate(line, x)) for x in _sort_inside(standard, xs)])
    xs = _sort_inside(standard, _find_breaks(standard, depths))
    return _drop_straight([(x, get_height_mm(standard, bitting, x, edge=edge)) for x in xs])


def sample_contour(
    standard: BladeStandard, bitting: Bitting, step_mm: float, *, edge: int = 0
) -> tuple[Point, ...]:
    """Return ``(x_mm, h_mm)`` at every ``step_mm`` from the datum, and at the far end of the blade.

    Raises
    ------
    StepError
        ``step_mm`` is below 0.001 mm or not a length, or the blade would have over a million points.
    UnknownCutError
        A cut of that edge is unknown.
    """
    check_step(standard, step_mm)
    # Multiples, not a running sum: a sum of a thousand steps of 0.01 has drifted.
    count = math.floor(standard.length_mm / step_mm + SAME_MM)
    xs = [min(number * step_mm, standard.length_mm) for number in range(count + 1)]
    if standard.length_mm - xs[-1] > SAME_MM:
        xs.append(standard.length_mm)
    outline = get_outline(standard, bitting, edge=edge)
    return tuple(_walk(outline, xs))


def check_step(standard: BladeStandard, step_mm: float) -> None:
    """Refuse a sampling step.

    Raises
    ------
    StepError
        As for :func:`sample_contour`.
    """
    if not (math.isfinite(step_mm) and step_mm >= SMALLEST_STEP_MM):
        raise StepError(f"a step of {step_mm:g} mm", f"at least {SMALLEST_STEP_MM:g} mm")
    if standard.length_mm / step_mm > MOST_POINTS:
        raise StepError(
            f"a step of {step_mm:g} mm on {standard.length_mm:g} mm", f"at most {MOST_POINTS} points"
        )


def get_blade_polygon(standard: BladeStandard, bitting: Bitting) -> tuple[Point, ...]:
    """Return the closed outline of the whole blade from the datum to its far end, without its bow.

    Returns
    -------
    tuple of (float, float)
        Counter-clockwise, first point not repeated. Heights as in :func:`get_height_mm`: from the back edge
        for ``single``, else from the centre line. A track blade is its uncut rectangle: the groove does not
        show in the outline.

    Raises
    ------
    UnknownCutError
        Any cut is unknown.
    """
    length, half = standard.length_mm, standard.width_mm / 2
    if standard.kind == "track":
        _get_depths_mm(standard, bitting, 0)
        return ((0.0, -half), (length, -half), (length, half), (0.0, half))
    upper = get_outline(standard, bitting)
    if standard.sides == "single":
        lower: Sequence[Point] = ((0.0, 0.0), (length, 0.0))
    elif standard.sides == "mirror":
        lower = [(x, -h) for x, h in upper]
    else:
        lower = [(x, -h) for x, h in get_outline(standard, bitting, edge=1)]
    return (*lower, *reversed(upper))


def get_mouth_width_mm(standard: BladeStandard, depth_mm: float) -> float:
    """Return how wide in mm a single cut of ``depth_mm`` is at the uncut edge.

    Notes
    -----
    ``flat + 2 (H - h) tan(angle/2)``, plane geometry of a V with a flat.
    """
    return standard.flat_mm + 2 * (get_edge_height_mm(standard) - depth_mm) / _get_slope(standard)


def get_ridge_height_mm(
    standard: BladeStandard, depth_a_mm: float, depth_b_mm: float, spacing_mm: float
) -> float:
    """Return the height in mm of the ridge left between two cuts ``spacing_mm`` apart.

    Notes
    -----
    ``(h1 + h2)/2 + (spacing - flat) / (2 tan(angle/2))``, at most the uncut edge. It is the top of the ridge
    only while it is not below the shallower root: below that, a flank has eaten into the other cut's flat.
    """
    ridge = (depth_a_mm + depth_b_mm) / 2 + (spacing_mm - standard.flat_mm) * _get_slope(standard) / 2
    return min(get_edge_height_mm(standard), ridge)


def _get_slope(standard: BladeStandard) -> float:
    """Rise of a flank in mm per mm along the blade."""
    return 1 / math.tan(math.radians(standard.angle_deg) / 2)


def _get_depths_mm(standard: BladeStandard, bitting: Bitting, edge: int) -> list[float]:
    cuts: Cuts = bitting.edges[edge]
    unknown = [name_cut(standard, edge, index) for index, cut in enumerate(cuts) if cut is None]
    if unknown:
        raise UnknownCutError(
            f"unknown cut{'s' if len(unknown) > 1 else ''} {join_words(unknown)}",
            "every cut known",
            where="bitting",
            hint="a blade with an unknown cut has no outline: measure it first",
        )
    return [standard.depths_mm[cut] for cut in cuts if cut is not None]


def _find_breaks(standard: BladeStandard, depths: Sequence[float]) -> Iterator[float]:
    half, run = standard.flat_mm / 2, 1 / _get_slope(standard)
    top = get_edge_height_mm(standard)
    cuts = list(zip(standard.positions_mm, depths, strict=True))
    for x, depth in cuts:
        reach = half + (top - depth) * run
        yield from (x - reach, x - half, x + half, x + reach)
    for (x, depth), (other_x, other) in product(cuts, cuts):
        if x < other_x:
            yield (x + other_x) / 2 + (other - depth) * run / 2
        if other > depth:
            reach = half + (other - depth) * run
            yield from (x - reach, x + reach)


def _get_centre_line(standard: BladeStandard, depths: Sequence[float]) -> list[Point]:
    half = standard.flat_mm / 2
    line: list[Point] = []
    for x, depth in sorted(zip(standard.positions_mm, depths, strict=True)):
        line += [(x - half, depth), (x + half, depth)]
    return [(min(0.0, line[0][0]), line[0][1]), *line, (max(standard.length_mm, line[-1][0]), line[-1][1])]


def _sort_inside(standard: BladeStandard, xs: Iterable[float]) -> list[float]:
    inside = sorted(x for x in xs if SAME_MM < x < standard.length_mm - SAME_MM)
    kept = [0.0]
    for x in inside:
        if x - kept[-1] > SAME_MM:
            kept.append(x)
    return [*kept, standard.length_mm]


def _drop_straight(points: Sequence[Point]) -> tuple[Point, ...]:
    kept = [points[0]]
    for point, after in pairwise(points[1:]):
        (x0, h0), (x, h), (x1, h1) = kept[-1], point, after
        if abs(h0 + (h1 - h0) * (x - x0) / (x1 - x0) - h) > SAME_MM:
            kept.append(point)
    return (*kept, points[-1])


def _interpolate(line: Sequence[Point], x: float) -> float:
    return next(_walk(line, [x]))[1]


def _walk(line: Sequence[Point], xs: Iterable[float]) -> Iterator[Point]:
    """Yield the height of a polyline at each of ``xs``, which grow."""
    at = 0
    for x in xs:
        while at < len(line) - 2 and line[at + 1][0] < x:
            at += 1
        (x0, h0), (x1, h1) = line[at], line[at + 1]
        share = (x - x0) / (x1 - x0) if x1 > x0 else 1.0
        yield x, h0 + (h1 - h0) * share
