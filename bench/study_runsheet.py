"""Figures of run sheets against runs played by chance: 100,000 runs of every demo sheet and of drawn ones.

The player shares nothing with the analysis but the sheet. Each difference is shown in standard errors of the
played runs: over many figures they should look like draws of a normal distribution, two thirds within 1, none
far beyond 3. For quantiles the share of played runs up to the computed time is compared with its chance.
"""

from __future__ import annotations

import argparse

import numpy as np
from simulated_sheets.draw import draw_sheet
from simulated_sheets.play import play_runs

from bittern.demo import PACK_DIR
from bittern.engines.pairing.chain import analyse_sheet, find_time_quantiles
from bittern.engines.pairing.sheet import OUTCOMES, RunSheet
from bittern.formats.runsheets import read_runsheet

CHANCES = (0.1, 0.5, 0.9, 0.99)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    sheets = [read_runsheet(path) for path in sorted((PACK_DIR / "runsheets").glob("*.toml"))]
    drawn = ((10, 0.3, 4), (50, 0.3, 8), (150, 0.3, 20), (400, 0.15, 8))
    sheets += [draw_sheet(steps, 7, back=back, reach=reach) for steps, back, reach in drawn]
    print(f"{given.runs:,} runs of each sheet, seed {given.seed}; differences in standard errors.\n")
    columns = ["good", "unchanged", "stranded", "mean", *(f"p{100 * chance:.0f}" for chance in CHANCES)]
    print(f"{'sheet':<20}{'p_good':>8}{'mean s':>9}  " + "".join(f"{name:>10}" for name in columns))
    found: list[float] = []
    for number, sheet in enumerate(sheets):
        row = compare(sheet, given.runs, given.seed + number)
        figures = analyse_sheet(sheet)
        line = f"{sheet.id:<20}{figures.p_good:>8.4f}{figures.time_mean_s:>9.1f}  "
        print(line + "".join("         -" if value is None else f"{value:>10.2f}" for value in row))
        found += [value for value in row if value is not None]
    sizes = np.abs(found)
    print(
        f"\n{len(sizes)} figures: {np.mean(sizes <= 1):.0%} within 1 standard error (expected 68 %), "
        f"{np.mean(sizes <= 2):.0%} within 2 (95 %), the furthest {sizes.max():.2f}."
    )


def compare(sheet: RunSheet, runs: int, seed: int) -> list[float | None]:
    """Return every figure's difference in standard errors; None where nothing can differ."""
    figures = analyse_sheet(sheet)
    time_s, outcomes = play_runs(sheet, runs, seed)
    row: list[float | None] = []
    for place, _ in enumerate(OUTCOMES):
        chance = (figures.p_good, figures.p_unchanged, figures.p_stranded)[place]
        row.append(_differ(float(np.mean(outcomes == place)), chance, runs))
    row.append((float(time_s.mean()) - figures.time_mean_s) / (figures.time_sd_s / np.sqrt(runs)))
    for chance, quantile_s in zip(CHANCES, find_time_quantiles(sheet, CHANCES), strict=True):
        row.append(_differ(float(np.mean(time_s <= quantile_s)), chance, runs))
    return row


def _differ(share: float, chance: float, runs: int) -> float | None:
    if chance in (0.0, 1.0):
        return None if share == chance else float("inf")
    return (share - chance) / float(np.sqrt(chance * (1 - chance) / runs))


if __name__ == "__main__":
    main()
