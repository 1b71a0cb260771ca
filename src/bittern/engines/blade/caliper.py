"""From caliper readings, one or none a cut, to a bitting and how sure it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bittern.engines.blade.bitting import (
    UNKNOWN,
    Bitting,
    count_edges,
    find_violations,
    format_bitting,
    name_cut,
)
from bittern.engines.blade.errors import ReadingError
from bittern.engines.blade.heights import WeighedHeights, weigh_heights
from bittern.engines.blade.measurement import CutEstimate, Measurement
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard

# What a hand caliper does on a small part: resolution 0.01 mm and a user's touch. Common practice.
USUAL_SD_MM = 0.03


@dataclass(frozen=True, slots=True)
class Tolerances:
    """When a reading is believed."""

    # The shop's bar for acting: below it the tool asks (the design's "below 0.98, say which cut").
    bar: float = 0.98
    # Beyond three standard deviations a reading speaks against every depth: 1 good reading in 370.
    most_sd: float = 3.0
    # Nearer to the middle between two depths than to either, wear and touch decide, not the factory.
    most_share_of_gap: float = 0.25
    # A factory's root tolerance is taken as two standard deviations.
    sds_in_tolerance: float = 2.0
    # Below what a caliper shows, a reading is the depth itself.
    same_mm: float = 0.01


TOLERANCES = Tolerances()
RUNNERS_UP = 5


@dataclass(frozen=True, slots=True)
class Reading:
    """One height read with a caliper.

    ``cut`` counts from 0 along the bitting as it is written (on a split blade edge A, then edge B);
    ``height_mm`` is measured as the standard's depths are: above the back edge, above the centre line
    (``mirror``, ``split``) or across the face from it (track). ``sd_mm`` is the reading's own standard
    deviation.
    """

    cut: int
    height_mm: float
    sd_mm: float


def decode_readings(standard: BladeStandard, readings: Sequence[Reading]) -> Measurement:
    """Return the most probable bitting for ``readings`` and everything that speaks against it.

    Parameters
    ----------
    standard
        A sound standard.
    readings
        At most one a cut, in any order; finite heights in mm, standard deviations above 0 mm.

    Returns
    -------
    Measurement
        ``probability`` is that of the whole bitting; a cut without a usable reading counts with the chance
        of its likeliest depth, so that a bitting with a ``?`` never looks sure. ``allowed`` is False when a
        rule is broken for certain. ``problems`` names each cut to measure again and each broken rule; empty
        means: believe it.

    Raises
    ------
    ReadingError
        Two readings of one cut, a cut the standard does not have, or a number that is no length.

    Notes
    -----
    All readings are weighed together, see :mod:`.heights`: a key that is low everywhere is a worn one, and
    its shallow cuts have lost most. A reading of a root follows a Student law about the worn height, with
    the caliper's variance and that of half the factory's tolerance. Whatever the probability, a reading
    further from what the others let expect than three standard deviations, or than a quarter of the way to
    the next depth, is reported.
    """
    count = count_edges(standard) * len(standard.positions_mm)
    by_cut: dict[int, Reading] = {}
    for reading in readings:
        _check_reading(standard, reading, count)
        if reading.cut in by_cut:
            name = _name(standard, reading.cut)
            raise ReadingError("two readings", "one a cut", where=f"cut {name}", hint="give their mean")
        by_cut[reading.cut] = reading
    usable = [reading for reading in by_cut.values() if not _describe_outside(standard, reading)]
    weighed = weigh_heights(standard, usable) if usable else None
    cuts = tuple(_estimate(standard, cut, by_cut.get(cut), weighed) for cut in range(count))
    bitting = _to_bitting(standard, [cut.label for cut in cuts])
    violations = find_violations(standard, bitting)
    problems = [cut.doubt for cut in cuts if cut.doubt]
    problems += [f"the rules forbid this bitting: {violation}" for violation in violations]
    unread = math.prod(cut.probability for cut in cuts if cut.label == UNKNOWN)
    probability = (float(weighed.p_pattern[0]) if weighed else 1.0) * unread
    if probability < TOLERANCES.bar and not any(cut.doubt for cut in cuts):
        weakest = min(cuts, key=lambda cut: cut.probability)
        problems.append(
            f"the whole bitting is sure to {probability:.3f} only:"
            f" measure cut {weakest.name} again, the least sure"
        )
    worn = weighed is not None and standard.kind == "edge"
    return Measurement(
        standard.id,
        format_bitting(standard, bitting),
        probability,
        cuts,
        _list_runners_up(standard, weighed, unread),
        not violations,
        tuple(problems),
        wear_mm=weighed.wear_mm if weighed and worn else None,
    )


def _check_reading(standard: BladeStandard, reading: Reading, count: int) -> None:
    if not 0 <= reading.cut < count:
        raise ReadingError(f"cut {reading.cut + 1}", f"1 to {count}", hint=f"standard {standard.id}")
    where = f"cut {_name(standard, reading.cut)}"
    if not math.isfinite(reading.height_mm):
        raise ReadingError(f"a height of {reading.height_mm}", "a length in mm", where=where)
    if not 0 < reading.sd_mm < standard.width_mm:
        raise ReadingError(
            f"a standard deviation of {reading.sd_mm} mm",
            f"above 0 and below the blade's width, {standard.width_mm:g} mm",
            where=where,
        )


def _estimate(
    standard: BladeStandard, cut: int, reading: Reading | None, weighed: WeighedHeights | None
) -> CutEstimate:
    name = _name(standard, cut)
    p_depth = weighed.p_depth[cut] if weighed else np.full(len(standard.labels), 1 / len(standard.labels))
    by_label = {label: float(p) for label, p in zip(standard.labels, p_depth, strict=True)}
    if reading is None:
        doubt = f"cut {name} was not measured"
        return CutEstimate(name, UNKNOWN, max(by_label.values()), None, None, None, by_label, doubt)
    distances = [abs(reading.height_mm - depth) for depth in standard.depths_mm]
    outside = _describe_outside(standard, reading)
    if outside or weighed is None:
        doubt = f"cut {name} reads {reading.height_mm:.2f} mm, {outside}: measure it again"
        label, p = UNKNOWN, max(by_label.values())
    else:
        number = int(weighed.patterns[0, cut])
        label = standard.labels[number]
        p = by_label[label]
        expected = float(weighed.expected_mm[cut, number])
        doubt = _describe_doubt(standard, name, reading, p, expected, distances)
    return CutEstimate(name, label, p, reading.height_mm, reading.sd_mm, min(distances), by_label, doubt)


def _get_sd_mm(standard: BladeStandard, reading: Reading) -> float:
    return math.hypot(reading.sd_mm, standard.tolerance_mm / TOLERANCES.sds_in_tolerance)


def _describe_outside(standard: BladeStandard, reading: Reading) -> str:
    """Say why no cut of this blade can have such a height, or return an empty text."""
    margin = TOLERANCES.most_sd * _get_sd_mm(standard, reading)
    top = get_edge_height_mm(standard)
    if standard.kind == "track":
        return "off the blade's face" if abs(reading.height_mm) > top + margin else ""
    if reading.height_mm <= 0:
        return "which leaves no blade"
    if reading.height_mm > top + margin:
        if standard.sides == "single":
            return f"more than the uncut blade's {top:.2f} mm"
        return (
            f"more than the uncut edge's {top:.2f} mm above the centre line (across the blade a caliper"
            " reads the sum of both heights)"
        )
    return ""


def _describe_doubt(
    standard: BladeStandard,
    name: str,
    reading: Reading,
    probability: float,
    expected_mm: float,
    distances: Sequence[float],
) -> str:
    """Say why a reading is not to be believed, or return an empty text."""
    depths, labels = standard.depths_mm, standard.labels
    order = sorted(range(len(depths)), key=lambda number: distances[number])
    nearest = order[0]
    between = [
        number
        for number in order[1:]
        if (depths[number] - reading.height_mm) * (depths[nearest] - reading.height_mm) < 0
    ]
    other = between[0] if between else order[1] if len(order) > 1 else nearest
    gap = abs(depths[other] - depths[nearest])
    off = abs(reading.height_mm - expected_mm)
    far = off > TOLERANCES.most_sd * _get_sd_mm(standard, reading)
    if (
        not far
        and probability >= TOLERANCES.bar
        and not (between and off > TOLERANCES.most_share_of_gap * gap)
    ):
        return ""
    reads = f"cut {name} reads {reading.height_mm:.2f} mm, "
    if distances[nearest] < TOLERANCES.same_mm:
        return f"{reads}depth {labels[nearest]}, or depth {labels[other]} and worn: measure it again"
    if between:
        return (
            f"{reads}between depth {labels[nearest]} ({distances[nearest]:.2f} mm away) and depth"
            f" {labels[other]} ({distances[other]:.2f} mm away): measure it again"
        )
    return (
        f"{reads}{distances[nearest]:.2f} mm beyond depth {labels[nearest]}, the last on that side:"
        " measure it again"
    )


def _list_runners_up(
    standard: BladeStandard, weighed: WeighedHeights | None, unread: float
) -> tuple[tuple[str, float, bool], ...]:
    """Return the next best bittings, best first; cuts without a usable reading stay unknown."""
    if weighed is None:
        return ()
    found = []
    for row, p in zip(
        weighed.patterns[1 : RUNNERS_UP + 1], weighed.p_pattern[1 : RUNNERS_UP + 1], strict=True
    ):
        labels = [standard.labels[number] if number >= 0 else UNKNOWN for number in row]
        bitting = _to_bitting(standard, labels)
        found.append(
            (format_bitting(standard, bitting), float(p) * unread, not find_violations(standard, bitting))
        )
    return tuple(found)


def _to_bitting(standard: BladeStandard, labels: Sequence[str]) -> Bitting:
    numbers = {label: number for number, label in enumerate(standard.labels)}
    cuts = [numbers.get(label) for label in labels]
    count = len(standard.positions_mm)
    return Bitting(tuple(tuple(cuts[start : start + count]) for start in range(0, len(cuts), count)))


def _name(standard: BladeStandard, cut: int) -> str:
    edge, index = divmod(cut, len(standard.positions_mm))
    return name_cut(standard, edge, index)
