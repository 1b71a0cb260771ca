"""The path that cuts a blade: roughing, finishing, and ways in and out that keep clear of metal and clamp."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.outline import Point, get_outline
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.clearances import Clearances, Depths, list_levels
from bittern.engines.cutting.compensation import Profile, compensate_disc, compensate_form
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.errors import CutterError
from bittern.engines.cutting.fitting import fits_standard, list_remarks
from bittern.engines.cutting.grooves import mill_groove
from bittern.engines.cutting.steps import FINISH, PLUNGE, RAPID, ROUGH, Step, Way

ROUNDING_MM: Final = 1e-9
USUAL: Final = Clearances()


@dataclass(frozen=True, slots=True)
class Toolpath:
    """Steps of the cutter's point in the blade's frame, from the first position to the last.

    Attributes
    ----------
    steps
        The first is the first position itself; the way to it is the program's first retract.
    point
        What the steps are of: ``flat-middle`` or ``end-centre``.
    retract
        The blade's axis along which the cutter leaves the metal: ``h`` or ``n``.
    remarks
        What somebody should know who cuts with it.
    """

    steps: tuple[Step, ...]
    point: str
    retract: str
    remarks: tuple[str, ...] = ()


def plan_path(
    standard: BladeStandard,
    bitting: Bitting,
    cutter: Cutter,
    depths: Depths,
    *,
    edge: int = 0,
    climb: bool = True,
    clearances: Clearances = USUAL,
) -> Toolpath:
    """Return the path of ``cutter`` that cuts one edge, or one face, of a blade.

    Parameters
    ----------
    standard, bitting
        A sound standard and a complete bitting of it.
    cutter
        One that fits the standard.
    depths
        Of roughing passes.
    edge
        On a split blade 0 for A and 1 for B, which lies up once the key is turned over.
    climb
        A mill has the metal at the right of its way, else at the left (of a right-hand cutter, seen from
        above). A wheel goes toward the bow, which presses the key against its stop.
    clearances
        Distances to keep.

    Raises
    ------
    CutterError
        The cutter cannot make the blade; every reason is in it.
    UnknownCutError
        A cut of that edge is unknown.

    Notes
    -----
    The finishing pass is the exact parallel of the outline (:mod:`.compensation`), so what is left is the
    outline itself but for hollow corners that a mill's radius cannot reach. The bow (beyond the shoulder) is
    never entered within the blank's height; a mill stays out of it at any height. The path knows nothing of
    a wheel's body beside its form, nor of clamps narrower than the bow.
    """
    reasons = fits_standard(cutter, standard)
    if reasons:
        raise CutterError(cutter.id, reasons)
    outline = _look_from_bow(standard, get_outline(standard, bitting, edge=edge))
    mirrored = standard.datum == "tip"
    remarks = list_remarks(cutter, standard)
    way = Way()
    if standard.kind == "track":
        # Climbing, the metal is at the right: below the way along the lower wall toward the tip.
        mill_groove(way, outline, standard, cutter, depths, clearances, lower_first=climb != mirrored)
    elif cutter.kind == "wheel":
        top = get_edge_height_mm(standard)
        finish = _lay_wheel(outline, cutter, standard, clearances.clear_mm)
        _cut_with_wheel(way, finish, standard, depths, clearances)
        over = _get_overhang_mm(finish, cutter, top)
        if over > 0:
            remarks.append(
                f"1 mm above the edge the wheel's form stands {over:.1f} mm over the shoulder: see that it"
                " clears the bow"
            )
    else:
        _cut_with_mill(way, outline, cutter, standard, depths, clearances, backwards=climb == mirrored)
    steps = [step.mirror(standard.length_mm) for step in way.steps] if mirrored else way.steps
    point, retract = ("flat-middle", "h") if cutter.kind == "wheel" else ("end-centre", "n")
    return Toolpath(tuple(steps), point, retract, tuple(remarks))


def _look_from_bow(standard: BladeStandard, outline: tuple[Point, ...]) -> list[Point]:
    """Return the outline with x counted from the shoulder, whichever the datum is."""
    if standard.datum == "shoulder":
        return list(outline)
    return [(standard.length_mm - x, h) for x, h in reversed(outline)]


def _extend(outline: list[Point], more_mm: float) -> list[Point]:
    """Return the outline gone on with beyond the tip, in the direction in which it ends."""
    (x0, h0), (x1, h1) = outline[-2:]
    return [*outline, (x1 + more_mm, h1 + more_mm * max(0.0, (h1 - h0) / (x1 - x0)))]


def _lay_wheel(outline: list[Point], cutter: Cutter, standard: BladeStandard, clear_mm: float) -> Profile:
    """Return where the middle of the wheel's flat runs to leave the outline."""
    flat, run = cutter.flat_mm or 0.0, math.tan(math.radians(cutter.angle_deg or 0.0) / 2)
    top = get_edge_height_mm(standard)
    deepest = top - min(h for _, h in outline)
    beyond = flat / 2 + deepest * run + clear_mm
    return compensate_form(_extend(_stand_before_bow(outline, top, 1 / run), beyond), flat)


def _stand_before_bow(outline: list[Point], top: float, slope: float) -> list[Point]:
    """Return the outline that a wheel can cut which must not pass the shoulder below the edge's height."""
    if outline[0][1] >= top - ROUNDING_MM:
        return outline
    kept: list[Point] = [(0.0, top)]
    for (x0, h0), (x1, h1) in pairwise(outline):
        wall0, wall1 = top - slope * x0, top - slope * x1
        if wall1 >= h1:
            continue
        if wall0 > h0:
            x = x0 + (wall0 - h0) / ((wall0 - h0) + (h1 - wall1)) * (x1 - x0)
            kept.append((x, top - slope * x))
        if x1 > kept[-1][0] + ROUNDING_MM:
            kept.append((x1, h1))
    end = outline[-1][0]
    if kept[-1][0] < end - ROUNDING_MM:
        # The form leaves the whole blade from the bow on.
        kept.append((end, top - slope * end))
    return kept


def _get_overhang_mm(finish: Profile, cutter: Cutter, top: float) -> float:
    """Return how far the wheel's form stands beyond the shoulder's plane 1 mm above the edge."""
    flat, run = cutter.flat_mm or 0.0, math.tan(math.radians(cutter.angle_deg or 0.0) / 2)
    reach = [
        (top + 1.0 - h) * run + flat / 2 - x
        for start, end, _ in finish.list_stretches()
        for x, h in (start, end)
        if h < top - ROUNDING_MM
    ]
    return max(reach, default=0.0)


def _cut_with_wheel(
    way: Way, finish: Profile, standard: BladeStandard, depths: Depths, clearances: Clearances
) -> None:
    top = get_edge_height_mm(standard)
    rough = Profile(tuple(piece.lift(clearances.rest_mm) for piece in finish.pieces))
    way.go(
        RAPID, _find_entry(finish, top, backwards=True), top + clearances.safe_mm, -standard.thickness_mm / 2
    )
    _rough(way, rough, top, depths.pass_mm, clearances.clear_mm, backwards=True)
    _cut_level(way, FINISH, finish, top, top, clearances.clear_mm, backwards=True)
    way.go(RAPID, h_mm=top + clearances.safe_mm)


def _cut_with_mill(
    way: Way,
    outline: list[Point],
    cutter: Cutter,
    standard: BladeStandard,
    depths: Depths,
    clearances: Clearances,
    *,
    backwards: bool,
) -> None:
    radius, top = cutter.diameter_mm / 2, get_edge_height_mm(standard)
    zero, clear = top + radius, clearances.clear_mm
    finish = _lay_mill(outline, radius, radius, top, clearances)
    rough = _lay_mill(outline, radius + clearances.rest_mm, radius, top, clearances)
    way.go(RAPID, _find_entry(finish, zero, backwards=backwards), zero + clear, clearances.safe_mm)
    bottom = -standard.thickness_mm - clearances.through_mm
    for layer in list_levels(0.0, bottom, depths.pass_mm)[1:]:
        way.go(RAPID, n_mm=layer)
        _rough(way, rough, zero, depths.side_mm, clear, backwards=backwards)
    _cut_level(way, FINISH, finish, zero, zero, clear, backwards=backwards)
    way.go(RAPID, n_mm=clearances.safe_mm)


def _lay_mill(
    outline: list[Point], around: float, radius: float, top: float, clearances: Clearances
) -> Profile:
    """Return where the mill's middle runs to stay ``around`` from the outline, and its body off the bow."""
    beyond = around + clearances.clear_mm
    whole = compensate_disc(_extend(outline, 2 * beyond), around)
    # About the first corner the disc only rolls: begun behind it, the pass leaves the same metal. Where the
    # outline lies deep already at the shoulder, every bit of room is needed.
    first = next((piece for piece in whole.pieces if piece.radius_mm), None)
    ready = first.end_mm if first and first.centre[0] > outline[0][0] else math.inf
    room = clearances.shoulder_mm if outline[0][1] >= top - ROUNDING_MM else 0.0
    start = max(radius, min(radius + room, ready))
    return whole.clip(start, outline[-1][0] + beyond)


def _find_entry(finish: Profile, zero: float, *, backwards: bool) -> float:
    """Return the x above which the first pass begins."""
    groups = finish.list_below(zero)
    if not groups:
        return finish.end_mm if backwards else finish.start_mm
    return groups[-1].end_mm if backwards else groups[0].start_mm


def _rough(way: Way, rough: Profile, zero: float, pass_mm: float, clear: float, *, backwards: bool) -> None:
    lowest = min(h for start, end, _ in rough.list_stretches() for _, h in (start, end))
    if lowest >= zero:
        return
    levels = list_levels(zero, lowest, pass_mm)
    for above, level in pairwise(levels):
        _cut_level(way, ROUGH, rough.raise_to(level), above, zero, clear, backwards=backwards)


def _cut_level(
    way: Way, kind: str, profile: Profile, above: float, zero: float, clear: float, *, backwards: bool
) -> None:
    """Cut what lies below ``above``, each stretch from the air over it and back into the air."""
    groups = profile.list_below(above)
    for group in reversed(groups) if backwards else groups:
        stretches = group.list_stretches()
        x, h = stretches[-1][1] if backwards else stretches[0][0]
        way.go(RAPID, x_mm=x)
        way.go(RAPID, h_mm=min(zero, above) + clear)
        way.go(PLUNGE, h_mm=h)
        way.follow(kind, stretches, upper=True, backwards=backwards)
        if backwards and group.start_mm == profile.start_mm:
            # Stopped before the bow: beside the cutter there is metal on the way up.
            way.go(kind, h_mm=zero)
        way.go(RAPID, h_mm=zero + clear)
