"""What is to be said about a program that was swept: what spoils a key, a cutter or a machine, and more."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from bittern.engines.cutting.clamp import CLEAR_MM, ROUNDING_MM, find_bow_moves, get_distance_mm
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.fitting import fits_standard
from bittern.engines.cutting.measuring import GOUGE_LIMIT_MM, ROOT_SHARE, Errors
from bittern.engines.cutting.metal import MARGIN_MM, Island, Metal
from bittern.engines.cutting.motion import Motion
from bittern.engines.cutting.reach import REACH_ERROR_MM, get_reachable_mm
from bittern.engines.cutting.target import Target


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing seen in a sweep.

    Attributes
    ----------
    kind
        ``root``, ``gouge``, ``uncut``, ``deep``, ``rapid``, ``clamp``, ``spindle``, ``feed``, ``start``,
        ``end``, ``point``, ``cutter``, ``loose`` or ``corner``.
    text
        One sentence.
    spoils
        Whether it spoils the key, the cutter or the machine, or puts a hand in danger.
    line
        Of the program; None when no single line is to blame.
    """

    kind: str
    text: str
    spoils: bool
    line: int | None = None

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape ``kind, line, spoils, text``."""
        return {"kind": self.kind, "line": self.line, "spoils": self.spoils, "text": self.text}


def judge(
    motion: Motion,
    cutter: Cutter,
    target: Target,
    metal: Metal,
    errors: Errors,
    islands: Sequence[Island],
) -> tuple[float, tuple[Finding, ...]]:
    """Return how much metal the cutter cannot reach, in mm, and the findings, those that spoil first."""
    unreachable, shape = _judge_shape(cutter, target, metal, errors)
    findings = [
        *shape,
        *_judge_metal(motion, metal, islands),
        *_judge_bow(motion, target, metal),
        *_judge_motion(motion),
        *_judge_ends(motion, cutter, target),
        *_judge_cutter(motion, cutter, target),
    ]
    return unreachable, tuple(sorted(findings, key=lambda finding: not finding.spoils))


def _judge_shape(cutter: Cutter, target: Target, metal: Metal, errors: Errors) -> tuple[float, list[Finding]]:
    limit = target.standard.tolerance_mm * ROOT_SHARE
    findings, unreachable = [], 0.0
    if errors.root_error_mm > limit:
        findings.append(
            Finding(
                "root", f"a root is {errors.root_error_mm:.3f} mm off, at most {limit:g} mm is allowed", True
            )
        )
    if errors.gouge_mm > GOUGE_LIMIT_MM:
        findings.append(
            Finding(
                "gouge",
                f"{errors.gouge_mm:.3f} mm too much metal is taken at x = {errors.gouge_x_mm:.2f} mm",
                True,
            )
        )
    if target.standard.kind == "track":
        return 0.0, [*findings, *_judge_groove(target, errors, limit)]
    if errors.uncut_mm > limit or cutter.kind == "endmill":
        reach = np.maximum(get_reachable_mm(metal.form, target, errors.x_mm), errors.ideal_mm)
        unreachable = max(0.0, float((reach - errors.ideal_mm).max()) - REACH_ERROR_MM)
        rest = errors.left_mm - reach
        worst = int(np.argmax(rest))
        if rest[worst] > limit + REACH_ERROR_MM:
            where = f"x = {errors.x_mm[worst]:.2f} mm"
            text = f"{rest[worst]:.3f} mm of metal that the cutter can reach is left at {where}"
            findings.append(Finding("uncut", text, True))
        elif unreachable > REACH_ERROR_MM:
            text = f"the cutter cannot reach {unreachable:.3f} mm of metal in the hollow corners"
            findings.append(Finding("corner", text, False))
    return unreachable, findings


def _judge_groove(target: Target, errors: Errors, limit: float) -> Iterator[Finding]:
    standard = target.standard
    if errors.uncut_mm > limit:
        text = f"{errors.uncut_mm:.3f} mm of the groove's width is left at x = {errors.uncut_x_mm:.2f} mm"
        yield Finding("uncut", text, True)
    over = (errors.depth_mm or 0.0) - (standard.groove_depth_mm or 0.0)
    if over > standard.tolerance_mm + ROUNDING_MM:
        text = f"the groove is {errors.depth_mm:.3f} mm deep, not {standard.groove_depth_mm:g} mm"
        yield Finding("deep", text, True)


def _judge_metal(motion: Motion, metal: Metal, islands: Sequence[Island]) -> Iterator[Finding]:
    for struck in metal.struck:
        move = motion.moves[struck.move]
        if move.rapid:
            text = f"a rapid move meets {struck.depth_mm:.2f} mm of metal"
            if not struck.depth_mm:
                text = f"a rapid move comes within {MARGIN_MM:g} mm of metal"
            yield Finding("rapid", text, True, move.line)
        else:
            text = f"the cutter meets {struck.depth_mm:.2f} mm of metal while the spindle stands still"
            yield Finding("spindle", text, True, move.line)
    for island in islands:
        if not island.attached:
            place = f"{metal.columns_mm[island.columns][0]:.1f} mm"
            yield Finding(
                "loose", f"a piece of metal comes loose at x = {place}: take it away in time", False
            )


def _judge_bow(motion: Motion, target: Target, metal: Metal) -> Iterator[Finding]:
    for struck in find_bow_moves(metal, target):
        text = "the cutter enters the bow behind the shoulder, where the clamp holds it"
        yield Finding("clamp", text, True, motion.moves[struck.move].line)


def _judge_motion(motion: Motion) -> Iterator[Finding]:
    if not motion.spindle:
        yield Finding("spindle", "the program starts no spindle: switch it on before the first move", False)
    for move in motion.moves:
        if not move.rapid and not (move.feed_mm_min or 0) > 0:
            yield Finding("feed", "a feed move without a feed", True, move.line)
    if not motion.ended:
        yield Finding("end", "the program does not end with M30 or M2: is it whole?", False)


def _judge_ends(motion: Motion, cutter: Cutter, target: Target) -> Iterator[Finding]:
    lifts = [motion.frame.axes[1]] if cutter.kind == "wheel" else list(motion.frame.axes[1:])
    lines = sorted((line, axis not in lifts) for axis, line in enumerate(motion.known_from) if line)
    if lines and lines[0][1]:
        text = "a move along the blade before the cutter is lifted: nobody knows how high it stands"
        yield Finding("start", text, True, lines[0][0])
    first, last = motion.moves[0], motion.moves[-1]
    for kind, name, place, line in (
        ("start", "first", first.start, first.line),
        ("end", "last", last.end, last.line),
    ):
        distance = get_distance_mm(cutter, motion.frame.to_blade(place), target)
        if distance < CLEAR_MM - ROUNDING_MM:
            text = (
                f"the {name} position is {distance:.2f} mm from the blank, at least {CLEAR_MM:g} mm is asked"
            )
            yield Finding(kind, text, True, line)


def _judge_cutter(motion: Motion, cutter: Cutter, target: Target) -> Iterator[Finding]:
    point = "flat-middle" if cutter.kind == "wheel" else "end-centre"
    if motion.frame.point != point:
        text = (
            f"the program guides the {motion.frame.point} of another kind of cutter, this one has its {point}"
        )
        yield Finding("point", text, True)
    for reason in fits_standard(cutter, target.standard):
        yield Finding("cutter", f"the cutter does not fit the standard: {reason}", False)
