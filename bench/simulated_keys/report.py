"""The study's tables in words, as lines that Markdown shows as tables too."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from simulated_shop.accounting import Decile, find_worst, sort_deciles, wilson

from simulated_keys.trial import MEDIAN_TO_SD, Outcome

OF_ORACLE = 0.98
OF_BOUND = 2.0
DEVIATION = 0.03
PHOTOS_EXACT = 0.95
BOUND_DPI = 600.0

Outcomes = Sequence[Outcome]


@dataclass(frozen=True, slots=True)
class Target:
    """One target, what was measured, and whether it is held."""

    name: str
    found: str
    held: bool


@dataclass(frozen=True, slots=True)
class Rates:
    """Keys of one row read exactly, by each way of reading."""

    cases: int
    engine: int
    rounding: int
    oracle: int
    refused: int

    @property
    def of_oracle(self) -> float:
        """The engine's exact keys over the oracle's."""
        return self.engine / self.oracle if self.oracle else float("nan")


def count(outcomes: Iterable[Outcome]) -> Rates:
    """Return the exact readings of some outcomes."""
    held = list(outcomes)
    return Rates(
        cases=len(held),
        engine=sum(one.engine for one in held),
        rounding=sum(one.rounding for one in held),
        oracle=sum(one.oracle for one in held),
        refused=sum(bool(one.refused) for one in held),
    )


def name_band(band: tuple[float, float]) -> str:
    """Return a band of wear as eighths of a step."""
    names = {0.0: "0", 0.125: "1/8", 0.25: "1/4", 0.375: "3/8", 0.5: "1/2"}
    return f"{names[band[0]]} to {names[band[1]]} step"


def list_bands(outcomes: Outcomes) -> list[tuple[float, float]]:
    """Return the bands of wear, least first."""
    return sorted({one.trial.band for one in outcomes})


def list_rates(outcomes: Outcomes) -> Iterator[str]:
    """Yield exact readings by band of wear and by resolution."""
    yield "| wear, resolution | keys | engine (95 %) | refused | nearest depth | oracle | engine / oracle |"
    yield "|---|" + "---:|" * 6
    for band in list_bands(outcomes):
        held = [one for one in outcomes if one.trial.band == band]
        for dpi in sorted({one.trial.dpi or 0.0 for one in held}):
            yield _say_rates(
                f"{name_band(band)}, {dpi:g} dpi", count(one for one in held if one.trial.dpi == dpi)
            )
        yield _say_rates(f"**{name_band(band)}, all**", count(held))


def _say_rates(name: str, one: Rates) -> str:
    engine = wilson(one.engine, one.cases)
    return (
        f"| {name} | {one.cases} | {say_percent(engine.value)} ({say_percent(engine.low)} to"
        f" {say_percent(engine.high)}) | {one.refused} | {say_percent(one.rounding / one.cases)}"
        f" | {say_percent(one.oracle / one.cases)} | {one.of_oracle:.3f} |"
    )


def say_percent(share: float) -> str:
    """Return a share in per cent, to a tenth."""
    return f"{100 * share:.1f}"


def list_groups(
    outcomes: Outcomes, head: str, group: Callable[[Outcome], str], names: Sequence[str]
) -> Iterator[str]:
    """Yield exact readings and the mean stated probability by some group."""
    yield f"| {head} | keys | engine (95 %) | refused | nearest depth | oracle | stated, mean |"
    yield "|---|" + "---:|" * 6
    for name in names:
        held = [one for one in outcomes if group(one) == name]
        if not held:
            continue
        rates = count(held)
        engine = wilson(rates.engine, rates.cases)
        read = [one.probability for one in held if not one.refused]
        stated = say_percent(float(np.mean(read))) if read else "–"
        yield (
            f"| {name} | {rates.cases} | {say_percent(engine.value)} ({say_percent(engine.low)} to"
            f" {say_percent(engine.high)}) | {rates.refused} | {say_percent(rates.rounding / rates.cases)}"
            f" | {say_percent(rates.oracle / rates.cases)} | {stated} |"
        )


@dataclass(frozen=True, slots=True)
class Heights:
    """Errors of heights of many scans of one resolution, in pixels and as ratios to the bound."""

    scans: int
    rms_px: float
    typical_px: float
    bound_px: float
    root_ratio: float
    root_mm: float
    depth_sd_mm: float
    depth_z: float

    @property
    def ratio(self) -> float:
        """Typical error over the bound."""
        return self.typical_px / self.bound_px

    @property
    def rms_ratio(self) -> float:
        """Error of all columns, outliers included, over the bound."""
        return self.rms_px / self.bound_px


def take_heights(outcomes: Outcomes) -> Heights:
    """Return the errors of heights, pooled over scans as root mean squares."""
    held = [one.heights for one in outcomes if one.heights]
    ratios = np.abs(np.concatenate([np.array(one.root_ratios) for one in held]))
    root_mm = np.abs(np.concatenate([np.array(one.root_mm) for one in held]))
    depths = np.array([pair for one in outcomes for pair in one.depth_errors]).reshape(-1, 2)
    return Heights(
        scans=len(held),
        rms_px=_pool([one.rms_px for one in held]),
        typical_px=_pool([one.typical_px for one in held]),
        bound_px=_pool([one.bound_px for one in held]),
        root_ratio=float(np.median(ratios) * MEDIAN_TO_SD),
        root_mm=float(np.median(root_mm) * MEDIAN_TO_SD),
        depth_sd_mm=_pool(depths[:, 1]),
        depth_z=_pool(depths[:, 0] / depths[:, 1]),
    )


def _pool(values: Iterable[float]) -> float:
    return float(np.sqrt(np.mean(np.square(list(values)))))


def list_heights(outcomes: Outcomes) -> Iterator[str]:
    """Yield errors of heights by resolution."""
    yield (
        "| resolution | scans | bound, px | typical error, px | over the bound | of all columns, px |"
        " root, mm | root, over its bound | `sd_mm` of a cut | error of `depth_mm` in `sd_mm` |"
    )
    yield "|---|" + "---:|" * 9
    for dpi in sorted({one.trial.dpi for one in outcomes if one.trial.dpi}):
        held = take_heights([one for one in outcomes if one.trial.dpi == dpi])
        yield (
            f"| {dpi:g} dpi | {held.scans} | {held.bound_px:.3f} | {held.typical_px:.3f} | {held.ratio:.2f}"
            f" | {held.rms_px:.3f} | {held.root_mm:.4f} | {held.root_ratio:.2f} | {held.depth_sd_mm:.3f}"
            f" | {held.depth_z:.2f} |"
        )


def sort_stated(outcomes: Outcomes) -> tuple[Decile | None, ...]:
    """Return the reliability table of whole bittings; refusals state nothing."""
    return sort_deciles([(one.probability, one.engine) for one in outcomes if not one.refused])


def list_stated(groups: Mapping[str, Outcomes]) -> Iterator[str]:
    """Yield stated against observed, by tenths and by group."""
    heads = " | ".join(f"{name}: keys | stated | observed (95 %)" for name in groups)
    yield f"| stated | {heads} |"
    yield "|---|" + "---:|" * 3 * len(groups)
    tables = [sort_stated(held) for held in groups.values()]
    for place in range(10):
        cells = [_say_decile(table[place]) for table in tables]
        yield f"| {10 * place} to {10 * place + 10} % | {' | '.join(cells)} |"
    cells = []
    for held in groups.values():
        read = [one for one in held if not one.refused]
        found = wilson(sum(one.engine for one in read), len(read))
        stated = float(np.mean([one.probability for one in read])) if read else 0.0
        cells.append(_say_decile(Decile(len(read), stated, found.value, found.low, found.high)))
    yield f"| all | {' | '.join(cells)} |"


def _say_decile(one: Decile | None) -> str:
    if one is None:
        return "0 | – | –"
    return (
        f"{one.cases} | {say_percent(one.stated)} | {say_percent(one.observed)}"
        f" ({say_percent(one.low)} to {say_percent(one.high)})"
    )


def find_targets(scans: Outcomes, photos: Outcomes) -> list[Target]:
    """Return the targets as measured."""
    worst = min(list_bands(scans), key=lambda band: _rate(scans, band).of_oracle)
    least = _rate(scans, worst)
    heights = take_heights([one for one in scans if one.trial.dpi == BOUND_DPI])
    found = [
        Target(
            f"exact in at least {OF_ORACLE:.2f} of the oracle's keys in every band of wear",
            f"{least.of_oracle:.3f} at worst, in {name_band(worst)} ({least.cases} keys)",
            least.of_oracle >= OF_ORACLE,
        ),
        Target(
            f"heights within {OF_BOUND:g} times the bound at {BOUND_DPI:g} dpi",
            f"{heights.ratio:.2f} (all columns, unnoticed dust too: {heights.rms_ratio:.2f})",
            heights.ratio <= OF_BOUND,
        ),
        _judge_stated([*scans, *photos]),
    ]
    if photos:
        read = wilson(sum(one.engine for one in photos), len(photos))
        found.append(
            Target(
                f"photos at least {PHOTOS_EXACT:.2f} exact, to a quarter step of wear",
                f"{read.value:.3f} ({read.low:.3f} to {read.high:.3f}) of {len(photos)}",
                read.value >= PHOTOS_EXACT,
            )
        )
    return found


def _rate(outcomes: Outcomes, band: tuple[float, float]) -> Rates:
    return count(one for one in outcomes if one.trial.band == band)


def _judge_stated(outcomes: Outcomes) -> Target:
    name = "stated within 3 points of observed, every tenth with 50 keys"
    worst = find_worst(sort_stated(outcomes))
    if worst is None:
        return Target(name, "no tenth holds 50 keys", False)
    return Target(
        name,
        f"{100 * worst.deviation:+.1f} points where {100 * worst.stated:.1f} % is stated"
        f" ({worst.cases} keys)",
        abs(worst.deviation) <= DEVIATION,
    )


def list_targets(scans: Outcomes, photos: Outcomes) -> Iterator[str]:
    """Yield the targets as a table."""
    yield "| target | measured | |"
    yield "|---|---|---|"
    for one in find_targets(scans, photos):
        yield f"| {one.name} | {one.found} | {'held' if one.held else 'missed'} |"


def list_wrong(outcomes: Outcomes, most: int = 12) -> Iterator[str]:
    """Yield keys that were misread or refused, the surest first."""
    wrong = sorted((one for one in outcomes if not one.engine), key=lambda one: -one.probability)
    if not wrong:
        yield "None."
        return
    yield "| key | wear | shown | cut as | read as | stated |"
    yield "|---|---|---|---|---|---:|"
    for one in wrong[:most]:
        shown = f"{one.trial.dpi:g} dpi" if one.trial.dpi else "photo"
        said = one.refused or one.found
        yield (
            f"| {one.standard}, {one.sides} | {one.wear_steps:.2f} step, {one.law} | {shown} | {one.truth}"
            f" | {said} | {'–' if one.refused else say_percent(one.probability)} |"
        )
    if len(wrong) > most:
        yield ""
        yield f"And {len(wrong) - most} more."
