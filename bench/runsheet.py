"""How long the analysis of a run sheet takes, as a ratio to a dense solve of the same chain.

Analysis: faults, cautions, chances of the ends, mean, spread, median and ninth decile of the time. Beside it,
in the same process: ``numpy.linalg.solve`` of the dense chain for the chances and the mean alone, and the
reachability of networkx from the start and back from the ends, which is what the faults need at least. The
target is 100 ms for 1,000 steps.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median

import networkx
import numpy as np
from simulated_sheets.draw import draw_sheet

from bittern.engines.pairing.cautions import find_sheet_cautions
from bittern.engines.pairing.chain import analyse_sheet
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.graph import map_ways
from bittern.engines.pairing.sheet import OUTCOMES, RunSheet
from bittern.engines.pairing.value import find_gains

TARGET_MS = 100.0
REPEATS = 9
# Steps, share of steps that lead back, how far back.
SHEETS = (
    ("20 steps, as a shop's", 20, 0.15, 8),
    ("200 steps, a file's most", 200, 0.15, 8),
    ("1,000 steps in a row", 1_000, 0.0, 1),
    ("1,000 steps", 1_000, 0.15, 8),
    ("1,000 steps, loops of 30", 1_000, 0.4, 30),
)


def main() -> None:
    """Print the table."""
    print("Analysis of a run sheet; medians of processor time, ratios within one process.\n")
    head = f"{'sheet':<28}{'analysis':>10}{'faults':>9}{'figures':>9}{'gains':>9}"
    print(head + f"{'dense solve':>13}{'reachability':>14}{'analysis / both':>17}")
    for name, steps, back, reach in SHEETS:
        sheet = draw_sheet(steps, 1, back=back, reach=reach)
        if find_sheet_faults(sheet):
            raise SystemExit(f"the drawn sheet has faults: {find_sheet_faults(sheet)[0]}")
        faults_ms = measure_ms(lambda sheet=sheet: (find_sheet_faults(sheet), find_sheet_cautions(sheet)))  # type: ignore[misc]
        figures_ms = measure_ms(lambda sheet=sheet: analyse_sheet(sheet))  # type: ignore[misc]
        gains_ms = measure_ms(lambda sheet=sheet: find_gains(sheet))  # type: ignore[misc]
        dense_ms = measure_ms(lambda sheet=sheet: solve_densely(sheet))  # type: ignore[misc]
        reach_ms = measure_ms(lambda sheet=sheet: reach_with_networkx(sheet))  # type: ignore[misc]
        check(sheet)
        whole_ms = faults_ms + figures_ms
        row = f"{name:<28}{whole_ms:>7.1f} ms{faults_ms:>6.1f} ms{figures_ms:>6.1f} ms{gains_ms:>6.1f} ms"
        print(row + f"{dense_ms:>10.1f} ms{reach_ms:>11.1f} ms{whole_ms / (dense_ms + reach_ms):>17.2f}")
    print(f"\nTarget: {TARGET_MS:.0f} ms for 1,000 steps.")


def measure_ms(work: Callable[[], object]) -> float:
    """Return the median time of ``work`` in milliseconds, the processor's for this thread.

    What others do on the machine meanwhile does not count; neither does what BLAS does in threads of its own.
    """
    work()
    found = []
    for _ in range(REPEATS):
        begun = time.thread_time()
        work()
        found.append(1e3 * (time.thread_time() - begun))
    return median(found)


def solve_densely(sheet: RunSheet) -> np.ndarray:
    """Return the chances of the ends and the mean time from the start, by one dense solve."""
    names = [step.id for step in sheet.steps.values() if step.kind != "end"]
    place = {name: number for number, name in enumerate(names)}
    chain, right = np.eye(len(names)), np.zeros((len(names), len(OUTCOMES) + 1))
    for name, ways in map_ways(sheet).items():
        if name not in place:
            continue
        step = sheet.steps[name]
        right[place[name], -1] = (2 * step.typical_s + step.slowest_s) / 3
        for way in ways:
            if way.to in place:
                chain[place[name], place[way.to]] -= way.chance
            else:
                right[place[name], OUTCOMES.index(sheet.steps[way.to].outcome)] += way.chance
    return np.linalg.solve(chain, right)[place[sheet.start]]


def reach_with_networkx(sheet: RunSheet) -> tuple[set[str], set[str]]:
    """Return what the start reaches, and what reaches an end."""
    graph = networkx.DiGraph()
    graph.add_nodes_from(sheet.steps)
    graph.add_edges_from((way.source, way.to) for ways in map_ways(sheet).values() for way in ways)
    ahead = {sheet.start, *networkx.descendants(graph, sheet.start)}
    ends = [step.id for step in sheet.steps.values() if step.kind == "end"]
    graph.add_edges_from((end, "") for end in ends)
    return ahead, networkx.ancestors(graph, "")


def check(sheet: RunSheet) -> None:
    """Stop where the two ways do not agree: a quick wrong answer is none."""
    figures = analyse_sheet(sheet)
    ours = [figures.p_good, figures.p_unchanged, figures.p_stranded, figures.time_mean_s]
    if not np.allclose(ours, solve_densely(sheet), rtol=1e-9, atol=1e-12):
        raise SystemExit("the chain and the dense solve do not agree")
    ahead, back = reach_with_networkx(sheet)
    if not set(sheet.steps) - ahead == set(sheet.steps) - back == set():
        raise SystemExit("networkx finds a step that is not reached or does not end")


if __name__ == "__main__":
    main()
