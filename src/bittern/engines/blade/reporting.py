"""What the decoder found, in the words and figures that a person can act on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.core.phrases import join_words
from bittern.engines.blade import worn
from bittern.engines.blade.bitting import find_violations, format_bitting, name_cut
from bittern.engines.blade.caliper import TOLERANCES
from bittern.engines.blade.evidence import Block
from bittern.engines.blade.fitting import look, predict
from bittern.engines.blade.measurement import CutEstimate, Fit, Measurement, Trace
from bittern.engines.blade.remaining import to_bitting
from bittern.engines.blade.silhouette import Silhouette
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.weighed import Weighed, find_wear_mm, weigh_none
from bittern.engines.blade.worn import NUISANCES

Floats = NDArray[np.float64]

NONE_PRIOR: Final = 0.02
"""Of keys put before the camera, those whose family is not among the standards asked about."""
SHOWN: Final = 5
EDGES_APART_STEPS: Final = 0.4
"""Edges of one cut that differ by more are bent or badly cut; wear differs less (judgement)."""
_ROOT_SHARE: Final = 0.8
"""The part of a flat that its height is taken from: its ends are rounded."""


def report(
    silhouette: Silhouette, standards: Sequence[BladeStandard], weighed: Sequence[Weighed]
) -> Measurement:
    """Return the best bitting of all standards with everything that is in doubt."""
    shares, p_none = share_out(weighed, len(standards))
    best = max(range(len(weighed)), key=lambda number: shares[number].sum())
    chosen, share = weighed[best], shares[best]
    standard = chosen.standard
    bitting = to_bitting(standard, chosen.rows[0])
    heights = measure_roots(chosen)
    cuts = _estimate_cuts(chosen, share / share.sum(), heights)
    violations = find_violations(standard, bitting)
    wear_mm, wear_sd_mm = find_wear_mm(chosen)
    problems = [cut.doubt for cut in cuts if cut.doubt]
    problems += [f"the rules forbid this bitting: {violation}" for violation in violations]
    problems += _compare_edges(chosen, heights)
    problems += _doubt_standard(weighed, shares, best, p_none)
    probability = float(share[0])
    if probability < TOLERANCES.bar and not problems:
        weakest = min(cuts, key=lambda cut: cut.probability)
        problems.append(
            f"the whole bitting is sure to {probability:.3f} only:"
            f" measure cut {weakest.name} again, the least sure"
        )
    return Measurement(
        standard=standard.id,
        bitting=format_bitting(standard, bitting),
        probability=probability,
        cuts=cuts,
        runners_up=_list_runners_up(weighed, shares, best),
        allowed=not violations,
        problems=tuple(problems),
        p_none=p_none,
        by_standard={one.standard.id: float(part.sum()) for one, part in zip(weighed, shares, strict=True)},
        wear_mm=wear_mm,
        wear_sd_mm=wear_sd_mm,
        assumed=_list_assumed(silhouette, chosen),
        fit=draw_fit(silhouette, chosen),
    )


def share_out(weighed: Sequence[Weighed], asked: int) -> tuple[list[Floats], float]:
    """Return the probability of every candidate of every standard, and of none of them.

    Standards are equally probable beforehand; those that took no part keep their share of doubt out of it.
    """
    none = weigh_none(weighed[0].evidence) + math.log(NONE_PRIOR)
    logs = [one.log_evidence + math.log((1 - NONE_PRIOR) / max(asked, 1)) for one in weighed]
    most = max([none, *(float(log.max()) for log in logs)])
    parts = [np.exp(log - most) for log in logs]
    total = math.fsum([math.exp(none - most), *(float(part.sum()) for part in parts)])
    return [part / total for part in parts], math.exp(none - most) / total


def measure_roots(chosen: Weighed) -> dict[int, list[tuple[float, float]]]:
    """Return, for each cut as written, its root's height now and standard deviation, a pair an edge.

    The reference line, scale and place are those of the best fit; what they may be off by is in the
    deviations.
    """
    covariance = chosen.fits.covariance[0]
    count = len(chosen.family.places_mm)
    found: dict[int, list[tuple[float, float]]] = {}
    middle = chosen.evidence.shoulder_mm / 2
    for block in chosen.evidence.blocks:
        if block.edge is None:
            continue
        x = place_samples(chosen, block)
        plain = _get_plain_heights(chosen, block)
        for number, place in enumerate(chosen.family.places_mm):
            near = np.abs(x - place) <= max(_ROOT_SHARE * chosen.family.half_flat_mm, 0.15)
            if not near.any():
                continue
            gradient = np.zeros(NUISANCES)
            gradient[worn.OFFSET] = block.sign
            gradient[worn.TILT] = block.sign * float((block.s_mm[near] - middle).mean())
            gradient[worn.BIAS] = 1.0
            gradient[worn.SCALE] = float(plain[near].mean())
            own = float(np.mean(np.square(block.sd_mm[near]))) / near.sum()
            sd = math.sqrt(max(float(gradient @ covariance @ gradient), 0.0) + own)
            cut = block.edge * count + int(chosen.family.order[number])
            found.setdefault(cut, []).append((float(np.mean(plain[near])), sd))
    return found


def place_samples(chosen: Weighed, block: Block) -> Floats:
    """Return where on the blade a block's samples lie, from the datum, by the best fit."""
    theta = chosen.fits.theta[:1]
    s, _, _, tip, shoulder = look(chosen.standard, chosen.evidence, theta, block, 0.0)
    along = (shoulder - s) if chosen.standard.datum == "shoulder" else (s - tip)
    return np.asarray((theta[:, worn.SHIFT] + (1 + theta[:, worn.SCALE]) * along)[0], dtype=np.float64)


def _get_plain_heights(chosen: Weighed, block: Block) -> Floats:
    """Return the heights of a block as the standard counts them: reference line and bias taken off.

    A thick blade seen by a camera shows the nearer face where that stands out. What this adds is the
    difference between the prediction and the same blade without thickness.
    """
    theta = chosen.fits.theta[0]
    middle = chosen.evidence.shoulder_mm / 2
    line = block.sign * (theta[worn.OFFSET] + theta[worn.TILT] * (block.s_mm - middle))
    heights = block.outward_mm - line - theta[worn.BIAS]
    if chosen.evidence.camera is not None:
        heights = heights - _find_parallax(chosen, block)
    return np.asarray(heights * (1 + theta[worn.SCALE]), dtype=np.float64)


def _find_parallax(chosen: Weighed, block: Block) -> Floats:
    """Return by how much the blade's thickness lifts a block's samples."""
    from dataclasses import replace

    number = next(n for n, one in enumerate(chosen.evidence.blocks) if one is block)
    theta, depths = chosen.fits.theta[:1], chosen.depths_mm[:1]
    thick = predict(chosen.standard, chosen.family, chosen.evidence, theta, depths)[number].value[0]
    thin_blade = replace(chosen.standard, thickness_mm=1e-6)
    thin = predict(thin_blade, chosen.family, chosen.evidence, theta, depths)[number].value[0]
    return np.asarray(thick - thin, dtype=np.float64)


def _estimate_cuts(
    chosen: Weighed, share: Floats, heights: dict[int, list[tuple[float, float]]]
) -> tuple[CutEstimate, ...]:
    standard = chosen.standard
    each = len(standard.positions_mm)
    cuts = []
    for cut, best in enumerate(chosen.rows[0]):
        by_number = np.bincount(chosen.rows[:, cut], weights=share, minlength=len(standard.depths_mm))
        by_label = {label: float(p) for label, p in zip(standard.labels, by_number, strict=True)}
        label = standard.labels[best]
        depth_mm = sd_mm = distance_mm = None
        # A caliper is put where the picture was in doubt: what it reads stands.
        seen = [(one.height_mm, one.sd_mm) for one in chosen.evidence.readings if one.cut == cut]
        seen = seen or heights.get(cut, [])
        if seen:
            values, sds = zip(*seen, strict=True)
            depth_mm = float(np.mean(values))
            sd_mm = float(np.sqrt(np.mean(np.square(sds)) / len(sds)))
            distance_mm = float(np.abs(np.asarray(standard.depths_mm) - depth_mm).min())
        edge, index = divmod(cut, each)
        name = name_cut(standard, edge, index)
        doubt = _describe_doubt(standard, name, index, by_label, depth_mm)
        cuts.append(CutEstimate(name, label, by_label[label], depth_mm, sd_mm, distance_mm, by_label, doubt))
    return tuple(cuts)


def _describe_doubt(
    standard: BladeStandard, name: str, index: int, by_label: dict[str, float], depth_mm: float | None
) -> str:
    where = f"{standard.positions_mm[index]:.1f} mm from the {standard.datum}"
    ranked = sorted(by_label.items(), key=lambda item: -item[1])
    if ranked[0][1] < TOLERANCES.bar:
        likely = join_words([f"{label} ({p:.0%})" for label, p in ranked[:3] if p >= 0.01], "or")
        return f"cut {name} is {likely}: measure it again, {where}"
    if depth_mm is None:
        return f"cut {name} was not seen: measure it, {where}"
    return ""


def _compare_edges(chosen: Weighed, heights: dict[int, list[tuple[float, float]]]) -> list[str]:
    """Return a sentence where the two edges of a ``mirror`` blade do not agree."""
    if chosen.standard.sides != "mirror":
        return []
    apart = {
        cut: pair[0][0] - pair[1][0]
        for cut, pair in heights.items()
        if len(pair) == 2
        and abs(pair[0][0] - pair[1][0])
        > EDGES_APART_STEPS * chosen.family.step_mm + 3 * math.hypot(pair[0][1], pair[1][1])
    }
    if not apart:
        return []
    worst = max(apart, key=lambda cut: abs(apart[cut]))
    names = join_words([name_cut(chosen.standard, 0, cut) for cut in sorted(apart)])
    return [
        f"the two edges disagree at cut{'s' if len(apart) > 1 else ''} {names}, by up to"
        f" {abs(apart[worst]):.2f} mm: the key is bent or was badly cut"
    ]


def _doubt_standard(
    weighed: Sequence[Weighed], shares: Sequence[Floats], best: int, p_none: float
) -> list[str]:
    doubts = []
    chosen = weighed[best]
    if p_none > 1 - TOLERANCES.bar:
        doubts.append(
            f"the outline does not look like {chosen.standard.title} ({p_none:.0%} that it is none of the"
            " standards asked about): check the standard, the scale and the picture"
        )
    totals = [float(part.sum()) for part in shares]
    others = [
        f"{one.standard.title} ({total:.0%})"
        for number, (one, total) in enumerate(zip(weighed, totals, strict=True))
        if number != best and total > 1 - TOLERANCES.bar
    ]
    if others:
        doubts.append(f"it may be {join_words(others, 'or')} instead: compare the blade with the standard")
    return doubts


def _list_runners_up(
    weighed: Sequence[Weighed], shares: Sequence[Floats], best: int
) -> tuple[tuple[str, float, bool], ...]:
    entries = [
        (float(p), number, row)
        for number, part in enumerate(shares)
        for row, p in enumerate(part)
        if (number, row) != (best, 0)
    ]
    entries.sort(key=lambda entry: -entry[0])
    found = []
    for p, number, row in entries[:SHOWN]:
        standard = weighed[number].standard
        bitting = to_bitting(standard, weighed[number].rows[row])
        before = "" if number == best else f"{standard.id}: "
        allowed = not find_violations(standard, bitting)
        found.append((before + format_bitting(standard, bitting), p, allowed))
    return tuple(found)


def _list_assumed(silhouette: Silhouette, chosen: Weighed) -> tuple[str, ...]:
    said = list(silhouette.notes)
    if not chosen.evidence.shoulder_seen:
        said.append(f"no shoulder was seen: the blade is taken to be {chosen.standard.length_mm:g} mm long")
    if chosen.standard.sides == "split":
        side = "right" if chosen.standard.datum == "shoulder" else "left"
        said.append(
            f"edge A is the one that is up when the tip points to the {side}; the key lies with its marked"
            " face up, else A and B change places"
        )
    return tuple(said)


def draw_fit(silhouette: Silhouette, chosen: Weighed) -> Fit:
    """Return measured and ideal outline in the blade's frame, and the way from it to the picture."""
    theta = chosen.fits.theta[0]
    standard, family, evidence = chosen.standard, chosen.family, chosen.evidence
    predicted = predict(standard, family, evidence, chosen.fits.theta[:1], chosen.depths_mm[:1])
    traces, squares, seen = [], 0.0, 0
    bare = np.zeros((1, NUISANCES))
    for block, found in zip(evidence.blocks, predicted, strict=True):
        missing = block.outward_mm - found.value[0]
        squares += float(np.square(missing).sum())
        seen += len(missing)
        if block.edge is None:
            continue
        x = place_samples(chosen, block)
        order = np.argsort(x)
        ideal = worn.wear_surface(family, bare, chosen.depths_mm[:1, block.edge], x[None, order])
        traces.append(
            Trace(
                edge=0 if standard.sides == "single" or block.sign == _first_sign(chosen) else 1,
                x_mm=x[order],
                measured_mm=_get_plain_heights(chosen, block)[order],
                sd_mm=block.sd_mm[order],
                ideal_mm=ideal.height_mm[0],
            )
        )
    traces.sort(key=lambda trace: trace.edge)
    residual = math.sqrt(squares / seen) if seen else math.nan
    return Fit(_to_picture(silhouette, chosen, theta), tuple(traces), residual)


def _first_sign(chosen: Weighed) -> int:
    """Return the side of the edge drawn as the upper one."""
    if chosen.standard.sides == "single":
        return next(block.sign for block in chosen.evidence.blocks if block.edge is not None)
    return 1 if chosen.standard.datum == "shoulder" else -1


def _to_picture(silhouette: Silhouette, chosen: Weighed, theta: Floats) -> Floats:
    """Return the affine map from (x_mm, height_mm) of the blade to pixels of the flat picture."""
    stretch = 1 + theta[worn.SCALE]
    _, _, _, tips, shoulders = look(
        chosen.standard, chosen.evidence, chosen.fits.theta[:1], chosen.evidence.blocks[0], 0.0
    )
    middle = chosen.evidence.shoulder_mm / 2
    # s = start + along * x, h = base + lean * s + side * height / stretch.
    from_shoulder = chosen.standard.datum == "shoulder"
    along = (-1 if from_shoulder else 1) / stretch
    start = float((shoulders if from_shoulder else tips)[0, 0]) - along * theta[worn.SHIFT]
    side = _first_sign(chosen)
    lean = theta[worn.TILT]
    base = theta[worn.OFFSET] - lean * middle
    to_silhouette = np.array(
        [[along, 0.0, start], [lean * along, side / stretch, base + lean * start], [0.0, 0.0, 1.0]]
    )
    return np.asarray(silhouette.to_picture @ to_silhouette, dtype=np.float64)
