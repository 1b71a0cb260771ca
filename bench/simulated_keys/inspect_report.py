"""The tables of the study of inspection, as lines that Markdown shows as tables too."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from simulated_shop.accounting import Interval, wilson

from bittern.engines.cutting.roots import PARTS
from simulated_keys.finished import AMOUNTS_MM, KINDS
from simulated_keys.inspecting import RISK, Height, InspectionOutcome, Judged
from simulated_keys.report import Target, say_percent

LEAST_Z, MOST_Z = 0.8, 1.2
"""Root mean square of errors in stated standard deviations, for heights to count as honest."""

Outcomes = Sequence[InspectionOutcome]


@dataclass(frozen=True, slots=True)
class Wrong:
    """Verdicts of one sort that were wrong, beside the share that was stated for them."""

    given: int
    wrong: int
    stated: float

    @property
    def observed(self) -> Interval:
        """Share that was wrong, with its 95 % interval."""
        return wilson(self.wrong, self.given)

    @property
    def held(self) -> bool:
        """Whether no more were wrong than was stated, as far as the numbers tell."""
        return self.given == 0 or self.observed.low <= self.stated


def list_shown(outcomes: Outcomes) -> list[str]:
    """Return the ways of showing a key, coarse scans first, photos last."""
    ways = {one.trial.dpi: one.trial.shown for one in outcomes}
    return [ways[dpi] for dpi in sorted(ways, key=lambda dpi: dpi or 1e9)]


def pick(outcomes: Outcomes, shown: str) -> list[InspectionOutcome]:
    """Return the measured keys that were shown in one way, or in any where it is empty."""
    return [one for one in outcomes if not one.refused and shown in ("", one.trial.shown)]


def list_judged(outcomes: Outcomes, *, whole: bool) -> list[Judged]:
    """Return what was said of cuts, or of whole keys."""
    if whole:
        return [one.key for one in outcomes if one.key is not None]
    return [cut for one in outcomes for cut in one.cuts]


def count_accepted(judged: Sequence[Judged]) -> Wrong:
    """Return the passes that do not conform."""
    passed = [one for one in judged if one.verdict == "pass"]
    stated = float(np.mean([1 - one.p_conform for one in passed])) if passed else 0.0
    return Wrong(len(passed), sum(not one.conforms for one in passed), stated)


def count_rejected(judged: Sequence[Judged]) -> Wrong:
    """Return the fails that conform."""
    failed = [one for one in judged if one.verdict == "fail"]
    stated = float(np.mean([one.p_conform for one in failed])) if failed else 0.0
    return Wrong(len(failed), sum(one.conforms for one in failed), stated)


def list_risks(outcomes: Outcomes) -> Iterator[str]:
    """Yield wrong verdicts by way shown, for cuts and for keys."""
    yield (
        "| shown | judged | conform | pass | of them wrong, % (95 %) | stated, % | fail | of them wrong, %"
        " (95 %) | stated, % | undecided |"
    )
    yield "|---|" + "---:|" * 9
    for whole, name in ((False, "cuts"), (True, "keys")):
        for shown in [*list_shown(outcomes), ""]:
            judged = list_judged(pick(outcomes, shown), whole=whole)
            accepted, rejected = count_accepted(judged), count_rejected(judged)
            left = len(judged) - accepted.given - rejected.given
            yield (
                f"| {name}, {shown or 'all'} | {len(judged)} | {sum(one.conforms for one in judged)}"
                f" | {_say_wrong(accepted)} | {_say_wrong(rejected)} | {left} |"
            )


def _say_wrong(one: Wrong) -> str:
    if not one.given:
        return "0 | – | –"
    found = one.observed
    return (
        f"{one.given} | {say_percent(found.value)} ({say_percent(found.low)} to {say_percent(found.high)})"
        f" | {say_percent(one.stated)}"
    )


def get_z(heights: Sequence[Height]) -> np.ndarray:
    """Return errors in stated standard deviations."""
    return np.array([one.error_mm / one.sd_mm for one in heights])


def list_heights(outcomes: Outcomes) -> Iterator[str]:
    """Yield errors of heights beside what was stated."""
    yield (
        "| shown, blade | roots | error, mm (rms) | mean error, mm | stated, mm | within 1 | within 2"
        " | error in stated deviations (rms) |"
    )
    yield "|---|" + "---:|" * 7
    for shown in list_shown(outcomes):
        held = pick(outcomes, shown)
        for sides in [*sorted({one.sides for one in held}), ""]:
            heights = [root for one in held if sides in ("", one.sides) for root in one.heights]
            if heights:
                yield _say_heights(f"{shown}, {sides or '**all**'}", heights)


def _say_heights(name: str, heights: Sequence[Height]) -> str:
    error, z = np.array([one.error_mm for one in heights]), get_z(heights)
    return (
        f"| {name} | {len(heights)} | {_pool(error):.4f} | {error.mean():+.4f}"
        f" | {_pool([one.sd_mm for one in heights]):.4f} | {say_percent(float((abs(z) < 1).mean()))} %"
        f" | {say_percent(float((abs(z) < 2).mean()))} % | {_pool(z):.2f} |"
    )


def _pool(values: Sequence[float] | np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(np.asarray(values)))))


def list_budget(outcomes: Outcomes) -> Iterator[str]:
    """Yield the parts of the stated standard deviation."""
    yield f"| shown, blade | {' | '.join(f'{part}, mm' for part in PARTS)} |"
    yield "|---|" + "---:|" * len(PARTS)
    for shown in list_shown(outcomes):
        held = pick(outcomes, shown)
        for sides in sorted({one.sides for one in held}):
            parts = [root.parts_mm for one in held if one.sides == sides for root in one.heights]
            means = np.sqrt(np.mean(np.square(np.array(parts)), axis=0))
            yield f"| {shown}, {sides} | {' | '.join(f'{part:.4f}' for part in means)} |"


def list_named(outcomes: Outcomes) -> Iterator[str]:
    """Yield how often each error is named, by its size, and how often on keys that do not have it."""
    yield "| error | size, mm | keys | named (95 %), % | amount off by, mm | keys without | named there, % |"
    yield "|---|---|" + "---:|" * 5
    for kind, (least, most) in AMOUNTS_MM.items():
        middle = (least + most) / 2
        mine = [one for one in pick(outcomes, "") if one.trial.kind == kind]
        others = [one for one in pick(outcomes, "") if one.trial.kind not in (kind, "loose")]
        false = wilson(sum(_is_named(one, kind) for one in others), len(others))
        for low, high in ((least, middle), (middle, most)):
            held = [one for one in mine if low <= abs(one.error.amount_mm) < high]
            found = wilson(sum(one.right for one in held), len(held))
            off = [abs(one.amount_mm) - abs(one.error.amount_mm) for one in held if one.amount_mm is not None]
            yield (
                f"| {kind} | {low:.2f} to {high:.2f} | {len(held)} | {say_percent(found.value)}"
                f" ({say_percent(found.low)} to {say_percent(found.high)}) | {_pool(off) if off else 0:.3f}"
                f" | {len(others)} | {say_percent(false.value)} |"
            )


def _is_named(outcome: InspectionOutcome, kind: str) -> bool:
    names = {"level": ("shallow", "deep")}.get(kind, (kind,))
    return any(name in outcome.named for name in names)


def list_good(outcomes: Outcomes) -> Iterator[str]:
    """Yield what is named on good keys, by way shown."""
    kinds = list(AMOUNTS_MM)
    yield f"| good keys shown | keys | {' | '.join(kinds)} | nothing named |"
    yield "|---|" + "---:|" * (len(kinds) + 2)
    for shown in list_shown(outcomes):
        held = [one for one in pick(outcomes, shown) if one.trial.kind == "good"]
        counts = [sum(_is_named(one, kind) for one in held) for kind in kinds]
        quiet = sum(not one.named for one in held)
        yield f"| {shown} | {len(held)} | {' | '.join(map(str, counts))} | {quiet} |"


def find_targets(outcomes: Outcomes) -> list[Target]:
    """Return the targets as measured."""
    found = []
    for whole, name in ((False, "cuts"), (True, "keys")):
        judged = list_judged(pick(outcomes, ""), whole=whole)
        accepted = count_accepted(judged)
        share = accepted.observed
        found.append(
            Target(
                f"{name} passed wrongly: no more than stated",
                f"{say_percent(share.value)} % ({say_percent(share.low)} to {say_percent(share.high)}) of"
                f" {accepted.given}, stated {say_percent(accepted.stated)} %, risk {say_percent(RISK)} %",
                accepted.held,
            )
        )
    for shown in list_shown(outcomes):
        z = get_z([root for one in pick(outcomes, shown) for root in one.heights])
        rms = _pool(z) if len(z) else float("nan")
        found.append(
            Target(
                f"errors of heights {LEAST_Z} to {MOST_Z} stated deviations (rms), {shown}",
                f"{rms:.2f} ({len(z)} roots)",
                LEAST_Z <= rms <= MOST_Z,
            )
        )
    return found


def list_targets(outcomes: Outcomes) -> Iterator[str]:
    """Yield the targets as a table."""
    yield "| target | measured | |"
    yield "|---|---|---|"
    for one in find_targets(outcomes):
        yield f"| {one.name} | {one.found} | {'held' if one.held else 'missed'} |"
    refused = sum(bool(one.refused) for one in outcomes)
    yield f"| (keys of {len(KINDS)} kinds that could not be measured) | {refused} of {len(outcomes)} | |"
