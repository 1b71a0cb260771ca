"""From caliper readings, one or none a cut, to a bitting and how sure it is."""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass

from bittern.engines.blade.bitting import (
    UNKNOWN,
    Bitting,
    count_edges,
    find_violations,
    format_bitting,
    name_cut,
)
from bittern.engines.blade.errors import ReadingError
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
    # One reading in a thousand is off by wear or a slip, of the order of half a depth step.
    slip_share: float = 0.001
    # A factory's root tolerance is taken as two standard deviations.
    sds_in_tolerance: float = 2.0


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
        ``probability`` is the product over all cuts; a cut without a usable reading counts as equal chances,
        so that a bitting with a ``?`` never looks sure. ``allowed`` is False when a rule is broken for
        certain. ``problems`` names each cut to measure again and each broken rule; empty means: believe it.

    Raises
    ------
    ReadingError
        Two readings of one cut, a cut the standard does not have, or a number that is no length.

    Notes
    -----
    Cuts are independent and every depth is equally probable beforehand. A reading of the cut with depth ``d``
    is normal about ``d`` with variance ``sd**2 + (tolerance / 2)**2``; a share of one in a thousand has half
    the mean depth step in quadrature with it, so that a reading in the middle between two depths is as unsure
    as a coin and never certain, however fine the caliper.

    It sees neither wear, which lowers the whole key and makes a worn cut look like the next depth, nor what
    neighbours say about each other by the rules. A reading further than a quarter of the way to the next
    depth is therefore reported whatever its probability.
    """
    count = count_edges(standard) * len(standard.positions_mm)
    by_cut: dict[int, Reading] = {}
    for reading in readings:
        _check_reading(standard, reading, count)
        if reading.cut in by_cut:
            name = _name(standard, reading.cut)
            raise ReadingError("two readings", "one a cut", where=f"cut {name}", hint="give their mean")
        by_cut[reading.cut] = reading
    cuts = tuple(_estimate(standard, cut, by_cut.get(cut)) for cut in range(count))
    bitting = _to_bitting(standard, [cut.label for cut in cuts])
    violations = find_violations(standard, bitting)
    problems = [cut.doubt for cut in cuts if cut.doubt]
    problems += [f"the rules forbid this bitting: {violation}" for violation in violations]
    probability = math.prod(cut.probability for cut in cuts)
    if probability < TOLERANCES.bar and not any(cut.doubt for cut in cuts):
        weakest = min(cuts, key=lambda cut: cut.probability)
        problems.append(
            f"the whole bitting is sure to {probability:.3f} only:"
            f" measure cut {weakest.name} again, the least sure"
        )
    return Measurement(
        standard.id,
        format_bitting(standard, bitting),
        probability,
        cuts,
        tuple(_find_runners_up(standard, cuts)),
        not violations,
        tuple(problems),
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


def _estimate(standard: BladeStandard, cut: int, reading: Reading | None) -> CutEstimate:
    name = _name(standard, cut)
    even = dict.fromkeys(standard.labels, 1 / len(standard.labels))
    if reading is None:
        return CutEstimate(
            name, UNKNOWN, 1 / len(even), None, None, None, even, f"cut {name} was not measured"
        )
    distances = [abs(reading.height_mm - depth) for depth in standard.depths_mm]
    nearest = distances.index(min(distances))
    outside = _describe_outside(standard, reading)
    if outside:
        return CutEstimate(
            name,
            UNKNOWN,
            1 / len(even),
            reading.height_mm,
            reading.sd_mm,
            distances[nearest],
            even,
            f"cut {name} reads {reading.height_mm:.2f} mm, {outside}: measure it again",
        )
    by_label = _weigh(standard, reading)
    label = standard.labels[nearest]
    return CutEstimate(
        name,
        label,
        by_label[label],
        reading.height_mm,
        reading.sd_mm,
        distances[nearest],
        by_label,
        _describe_doubt(standard, name, reading, by_label[label], distances),
    )


def _weigh(standard: BladeStandard, reading: Reading) -> dict[str, float]:
    sd = _get_sd_mm(standard, reading)
    slip = TOLERANCES.slip_share
    parts = ((1 - slip, sd), (slip, math.hypot(sd, _get_half_step_mm(standard))))
    logs = [
        [math.log(share / wide) - ((reading.height_mm - depth) / wide) ** 2 / 2 for share, wide in parts]
        for depth in standard.depths_mm
    ]
    # Far from every depth the densities underflow; their ratios do not.
    highest = max(max(pair) for pair in logs)
    weights = [math.fsum(math.exp(log - highest) for log in pair) for pair in logs]
    total = math.fsum(weights)
    return {label: weight / total for label, weight in zip(standard.labels, weights, strict=True)}


def _get_half_step_mm(standard: BladeStandard) -> float:
    depths = standard.depths_mm
    return abs(depths[-1] - depths[0]) / max(len(depths) - 1, 1) / 2


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
    standard: BladeStandard, name: str, reading: Reading, p_nearest: float, distances: Sequence[float]
) -> str:
    """Say why the nearest depth is not to be believed, or return an empty text."""
    depths, labels = standard.depths_mm, standard.labels
    order = sorted(range(len(depths)), key=lambda number: distances[number])
    nearest = order[0]
    between = [
        number
        for number in order[1:]
        if (depths[number] - reading.height_mm) * (depths[nearest] - reading.height_mm) < 0
    ]
    far = distances[nearest] > TOLERANCES.most_sd * _get_sd_mm(standard, reading)
    reads = f"cut {name} reads {reading.height_mm:.2f} mm, "
    if between:
        other = between[0]
        gap = abs(depths[other] - depths[nearest])
        if far or p_nearest < TOLERANCES.bar or distances[nearest] > TOLERANCES.most_share_of_gap * gap:
            return (
                f"{reads}between depth {labels[nearest]} ({distances[nearest]:.2f} mm away) and depth"
                f" {labels[other]} ({distances[other]:.2f} mm away): measure it again"
            )
    elif far or p_nearest < TOLERANCES.bar:
        return (
            f"{reads}{distances[nearest]:.2f} mm beyond depth {labels[nearest]}, the last on that side:"
            " measure it again"
        )
    return ""


def _find_runners_up(standard: BladeStandard, cuts: Sequence[CutEstimate]) -> list[tuple[str, float, bool]]:
    """Return the next best bittings by product, best first; cuts without a usable reading stay unknown."""
    options = [
        sorted(cut.by_label.items(), key=lambda item: (-item[1], item[0] != cut.label))
        if cut.label != UNKNOWN
        else [(UNKNOWN, cut.probability)]
        for cut in cuts
    ]

    def weigh(ranks: tuple[int, ...]) -> float:
        return math.prod(option[rank][1] for option, rank in zip(options, ranks, strict=True))

    start = (0,) * len(options)
    heap, seen = [(-weigh(start), start)], {start}
    found: list[tuple[str, float, bool]] = []
    # One at a time from the best on: every state but the first is reached from a better one.
    while heap and len(found) <= RUNNERS_UP:
        negative, ranks = heapq.heappop(heap)
        labels = [option[rank][0] for option, rank in zip(options, ranks, strict=True)]
        bitting = _to_bitting(standard, labels)
        found.append((format_bitting(standard, bitting), -negative, not find_violations(standard, bitting)))
        for index, rank in enumerate(ranks):
            after = (*ranks[:index], rank + 1, *ranks[index + 1 :])
            if rank + 1 < len(options[index]) and after not in seen:
                seen.add(after)
                heapq.heappush(heap, (-weigh(after), after))
    return found[1:]


def _to_bitting(standard: BladeStandard, labels: Sequence[str]) -> Bitting:
    numbers = {label: number for number, label in enumerate(standard.labels)}
    cuts = [numbers.get(label) for label in labels]
    count = len(standard.positions_mm)
    return Bitting(tuple(tuple(cuts[start : start + count]) for start in range(0, len(cuts), count)))


def _name(standard: BladeStandard, cut: int) -> str:
    edge, index = divmod(cut, len(standard.positions_mm))
    return name_cut(standard, edge, index)
