"""Is a blade standard sound: can every bitting that its rules allow be cut without spoiling a neighbour?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from bittern.core.errors import Fault, shorten
from bittern.engines.blade.standard import BLADE_KINDS, DATUMS, SIDES, BladeStandard

# Lengths in packs carry at most a few decimals: this only absorbs the rounding of binary fractions.
ROUNDING_MM = 1e-9
# Beyond any key, and where plane geometry in double precision ends to be exact or quick: a hostile standard
# must neither stall the outline (quadratic in the cuts) nor overflow a drawing.
MOST_MM = 1000.0
MOST_VALUES = 100
MOST_LABEL = 24
ANGLES_DEG = (1.0, 179.0)


def find_standard_faults(standard: BladeStandard) -> list[Fault]:
    """Return everything that makes ``standard`` unusable, in the order of the keys of its file.

    Parameters
    ----------
    standard
        A blade standard whose values have the right types; anything else about it may be wrong.

    Returns
    -------
    list of Fault
        Empty when the standard is sound. ``where`` is the key as it is written in the standard's file.

    Notes
    -----
    The central condition for an edge blade is that a flank never eats into its neighbour's flat,
    ``difference <= (spacing - flat) / tan(angle / 2)``, where the difference is the largest between any two
    depths whose numbers are at most ``macs`` apart (:func:`get_largest_difference_mm`), and the condition is
    asked of every neighbouring pair of positions. Where the steps are equal this is ``macs * step``, the
    published limit (Pulford, High-Security Mechanical Locks, 2007, as cited at
    lockwiki.com/index.php/MACS). Cuts further apart than neighbours follow from it, because both sides add
    up along the blade.

    Examples
    --------
    >>> from dataclasses import replace
    >>> heron = BladeStandard(
    ...     id="heron", title="Heron", kind="edge", datum="shoulder", length_mm=12.0, width_mm=8.4,
    ...     thickness_mm=2.2, positions_mm=(3.0, 6.0, 9.0), depths_mm=(8.0, 7.4, 6.8, 6.2),
    ...     labels=("1", "2", "3", "4"), flat_mm=1.0, angle_deg=90.0, tolerance_mm=0.05, macs=3)
    >>> find_standard_faults(heron)
    []
    >>> [fault.where for fault in find_standard_faults(replace(heron, flat_mm=1.5))]
    ['rules.macs']
    """
    faults = [*_find_number_faults(standard), *_find_word_faults(standard)]
    if faults:
        # Geometry asked of numbers that are not numbers would only add noise.
        return faults
    return [
        *_find_position_faults(standard),
        *_find_depth_faults(standard),
        *_find_label_faults(standard),
        *_find_groove_faults(standard),
        *_find_rule_faults(standard),
        *_find_flank_faults(standard),
    ]


def _find_word_faults(standard: BladeStandard) -> Iterator[Fault]:
    for where, value, allowed in (
        ("kind", standard.kind, BLADE_KINDS),
        ("datum", standard.datum, DATUMS),
        ("cuts.sides", standard.sides, SIDES),
    ):
        if value not in allowed:
            yield Fault(where, shorten(value), " or ".join(allowed))
    if standard.kind == "track" and standard.sides == "split":
        yield Fault("cuts.sides", "split", "single or mirror on a track blade, which has one bitting")


def _find_number_faults(standard: BladeStandard) -> Iterator[Fault]:
    for where, value in (
        ("blank.length", standard.length_mm),
        ("blank.width", standard.width_mm),
        ("blank.thickness", standard.thickness_mm),
        ("cuts.tolerance", standard.tolerance_mm),
    ):
        if not 0 < value <= MOST_MM:
            yield Fault(where, f"{value:g}", f"a length above 0 and at most {MOST_MM:g} mm")
    if not 0 <= standard.flat_mm <= MOST_MM:
        yield Fault("cuts.flat", f"{standard.flat_mm:g}", "0 mm or more")
    low, high = ANGLES_DEG
    if standard.kind == "edge" and not low <= standard.angle_deg <= high:
        yield Fault("cuts.angle", f"{standard.angle_deg:g}", f"an angle from {low:g} to {high:g} degrees")
    for where, values in (("cuts.positions", standard.positions_mm), ("cuts.depths", standard.depths_mm)):
        if not values:
            yield Fault(where, "nothing", "at least one value")
        elif len(values) > MOST_VALUES:
            yield Fault(where, f"{len(values)} values", f"at most {MOST_VALUES}")
            continue
        for number, value in enumerate(values, 1):
            if not abs(value) <= MOST_MM:
                yield Fault(f"{where}[{number}]", f"{value:g}", "a length in mm")


def _find_position_faults(standard: BladeStandard) -> Iterator[Fault]:
    positions = standard.positions_mm
    if not _is_monotone(positions):
        yield Fault(
            "cuts.positions",
            _list(positions),
            "each further along the blade than the one before (or all back)",
        )
    half = standard.flat_mm / 2
    low, high = half, standard.length_mm - half
    for number, x in enumerate(positions, 1):
        if not low - ROUNDING_MM <= x <= high + ROUNDING_MM:
            yield Fault(
                f"cuts.positions[{number}]",
                f"{x:g}",
                f"{low:g} to {high:g} mm, so that its flat is on the blade",
            )


def _find_depth_faults(standard: BladeStandard) -> Iterator[Fault]:
    depths = standard.depths_mm
    if standard.kind == "track":
        half = standard.width_mm / 2
        if not _is_monotone(depths):
            yield Fault("cuts.depths", _list(depths), "offsets in order across the face, none twice")
        for number, depth in enumerate(depths, 1):
            if abs(depth) >= half:
                yield Fault(f"cuts.depths[{number}]", f"{depth:g}", f"between {-half:g} and {half:g} mm")
    else:
        top = get_edge_height_mm(standard)
        measured = "width" if standard.sides == "single" else "half the width"
        if any(after >= before for before, after in pairwise(depths)):
            yield Fault("cuts.depths", _list(depths), "shallowest first, each lower than the one before")
        for number, depth in enumerate(depths, 1):
            if not 0 < depth <= top + ROUNDING_MM:
                yield Fault(
                    f"cuts.depths[{number}]", f"{depth:g}", f"above 0 and at most {top:g} mm, {measured}"
                )
    smallest = min((abs(after - before) for before, after in pairwise(depths)), default=math.inf)
    if 0 < smallest <= 2 * standard.tolerance_mm:
        yield Fault(
            "cuts.tolerance",
            f"{standard.tolerance_mm:g}",
            f"below {smallest / 2:g} mm, half the smallest depth step",
        )


def _find_label_faults(standard: BladeStandard) -> Iterator[Fault]:
    labels = standard.labels
    if len(labels) != len(standard.depths_mm):
        yield Fault("cuts.labels", f"{len(labels)} labels", f"{len(standard.depths_mm)}, one for each depth")
    for number, label in enumerate(labels, 1):
        where = f"cuts.labels[{number}]"
        if not label or label.split() != [label]:
            yield Fault(where, shorten(label), "a word without spaces")
        elif len(label) > MOST_LABEL:
            yield Fault(where, shorten(label), f"at most {MOST_LABEL} characters")
        elif label in ("?", "/"):
            yield Fault(where, shorten(label), "any other sign: ? is an unknown cut, / parts two edges")
        elif label in labels[: number - 1]:
            yield Fault(where, shorten(label), "a label that stands for one depth only")


def _find_groove_faults(standard: BladeStandard) -> Iterator[Fault]:
    grooves = (
        ("cuts.groove_width", standard.groove_width_mm, standard.width_mm, "the blade's width"),
        ("cuts.groove_depth", standard.groove_depth_mm, standard.thickness_mm, "the blade's thickness"),
    )
    for where, value, limit, of_what in grooves:
        if standard.kind == "edge":
            if value is not None:
                yield Fault(where, f"{value:g}", "nothing: an edge blade has no groove")
        elif value is None or not (math.isfinite(value) and 0 < value < limit):
            found = "nothing" if value is None else f"{value:g}"
            yield Fault(where, found, f"above 0 and below {limit:g} mm, {of_what}")


def _find_rule_faults(standard: BladeStandard) -> Iterator[Fault]:
    if standard.macs < 1:
        yield Fault("rules.macs", f"{standard.macs}", "1 or more depth numbers")
    if standard.max_run is not None and standard.max_run < 1:
        yield Fault("rules.max_run", f"{standard.max_run}", "1 or more")
    elif len(standard.depths_mm) == 1 and (standard.max_run or math.inf) < len(standard.positions_mm):
        yield Fault("rules.max_run", f"{standard.max_run}", "no such rule: there is only one depth")
    if standard.min_distinct is not None:
        most = min(len(standard.depths_mm), len(standard.positions_mm))
        if not 1 <= standard.min_distinct <= most:
            yield Fault("rules.min_distinct", f"{standard.min_distinct}", f"1 to {most}")


def _find_flank_faults(standard: BladeStandard) -> Iterator[Fault]:
    spacings = [abs(after - before) for before, after in pairwise(standard.positions_mm)]
    if not spacings:
        return
    spacing = min(spacings)
    pair = spacings.index(spacing) + 1
    if standard.kind == "track":
        if spacing <= standard.flat_mm + ROUNDING_MM:
            yield Fault(
                "cuts.flat",
                f"{standard.flat_mm:g}",
                f"below {spacing:g} mm, the spacing of cuts {pair} and {pair + 1}",
            )
        return
    limit = get_step_limit_mm(standard, spacing)
    largest = get_largest_difference_mm(standard)
    if largest > limit + ROUNDING_MM:
        yield Fault(
            "rules.macs",
            f"{standard.macs}, a difference of up to {largest:.4g} mm",
            f"at most {max(limit, 0):.4g} mm between neighbours, (spacing {spacing:g} of cuts {pair} and"
            f" {pair + 1} - flat {standard.flat_mm:g}) / tan({standard.angle_deg:g}/2): else a flank eats"
            " into the next flat",
        )


def get_edge_height_mm(standard: BladeStandard) -> float:
    """Return the uncut edge's height in mm above the line that depths are measured from."""
    single = standard.kind == "edge" and standard.sides == "single"
    return standard.width_mm if single else standard.width_mm / 2


def get_step_limit_mm(standard: BladeStandard, spacing_mm: float) -> float:
    """Return the largest difference in mm between two cuts ``spacing_mm`` apart that spares both flats."""
    return (spacing_mm - standard.flat_mm) / math.tan(math.radians(standard.angle_deg) / 2)


def get_largest_difference_mm(standard: BladeStandard) -> float:
    """Return the largest difference in mm that the MACS allows side by side.

    A MACS beyond the number of steps goes on with the largest step: the rule as it is written must be sound,
    also where the depths do not use it up.
    """
    depths = standard.depths_mm
    reach = max(standard.macs, 0)
    largest = max(abs(a - b) for i, a in enumerate(depths) for b in depths[i : i + reach + 1])
    step = max((abs(after - before) for before, after in pairwise(depths)), default=0.0)
    return largest + max(0, reach - len(depths) + 1) * step


def _is_monotone(values: Sequence[float]) -> bool:
    steps = [after - before for before, after in pairwise(values)]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _list(values: Sequence[float]) -> str:
    return shorten(" ".join(f"{value:g}" for value in values))
