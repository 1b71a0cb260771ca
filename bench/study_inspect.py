"""How often a finished key is judged wrongly from a scan or a photo, beside the risk that was stated.

Run as ``python bench/study_inspect.py --keys 4`` or by ``make study``. ``--docs`` also writes the pictures
and the tables into the documentation.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from itertools import product
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT / "bench") not in sys.path:
    sys.path.insert(0, str(ROOT / "bench"))

from simulated_keys.finished import KINDS  # noqa: E402
from simulated_keys.inspect_picture import draw_heights, draw_risks  # noqa: E402
from simulated_keys.inspect_report import (  # noqa: E402
    list_budget,
    list_good,
    list_heights,
    list_named,
    list_risks,
    list_targets,
)
from simulated_keys.inspecting import InspectionOutcome, InspectionTrial, run_inspection  # noqa: E402
from simulated_keys.page import put_tables  # noqa: E402
from simulated_keys.trial import run_each  # noqa: E402

PAGE = ROOT / "docs" / "explanation" / "inspection-study.md"
PICTURES = ROOT / "docs" / "pictures"
SEED = 8817
"""Keys of seeds 1 to 8 were looked at while the inspection was built."""
SHOWN: tuple[float | None, ...] = (300.0, 600.0, 1200.0, None)


def plan(keys: int, seed: int = SEED) -> list[InspectionTrial]:
    """Return the trials: so many keys of every kind of error, shown in every way."""
    return [
        InspectionTrial(seed, number, kind, dpi)
        for number, (kind, dpi, _) in enumerate(product(KINDS, SHOWN, range(keys)))
    ]


def run(keys: int, *, processes: int, seed: int = SEED, loud: bool = False) -> list[InspectionOutcome]:
    """Return the outcomes of all trials."""
    trials = plan(keys, seed)
    found = []
    for number, outcome in enumerate(run_each(run_inspection, trials, processes=processes), 1):
        found.append(outcome)
        if loud and number % 50 == 0:
            print(f"{number} of {len(trials)} keys", file=sys.stderr, flush=True)
    return found


def write_lines(outcomes: list[InspectionOutcome]) -> Iterator[str]:
    """Yield the study's tables under their headings."""
    for heading, lines in (
        ("Targets", list_targets(outcomes)),
        ("Wrong verdicts", list_risks(outcomes)),
        ("Heights", list_heights(outcomes)),
        ("Where the doubt comes from", list_budget(outcomes)),
        ("Patterns", list_named(outcomes)),
        ("Patterns named on good keys", list_good(outcomes)),
    ):
        yield f"### {heading}"
        yield ""
        yield from lines
        yield ""


def main(arguments: list[str] | None = None) -> int:
    """Run the study, print its tables, and write them into the documentation where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--keys", type=int, default=24, help="keys of each kind of error and each way shown")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--docs", action="store_true", help="write page and pictures")
    # Without arguments of its own (``make study`` calls it within another program) all is as by default.
    asked = parser.parse_args([] if arguments is None else arguments)
    outcomes = run(asked.keys, processes=asked.processes, seed=asked.seed, loud=True)
    lines = list(write_lines(outcomes))[:-1]
    print("\n".join(lines))
    if asked.docs:
        put_tables(PAGE, lines)
        (PICTURES / "inspect-risks.svg").write_text(draw_risks(outcomes), encoding="utf-8")
        (PICTURES / "inspect-heights.svg").write_text(draw_heights(outcomes), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
