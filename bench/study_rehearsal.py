"""Whether the census that a run forecasts is the one that a simulated vehicle hides: ten thousand actions.

Runner and vehicle are driven together by random actions of somebody who tells the truth; after each the
forecast of every key is compared with what the vehicle knows. Then two people rehearse every demo sheet with
every fault: one who looks, and one who hopes. Run as ``python bench/study_rehearsal.py`` or by
``make study``. The same machine runs shorter in the tests.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from tests.engines.pairing.rehearsal_machine import COUNTS, DEMO_SHEETS, Rehearsal  # noqa: E402
from tests.engines.pairing.students import Hopeful, Student  # noqa: E402

from bittern.engines.pairing.course import KEYS  # noqa: E402
from bittern.engines.pairing.vehicle import make_vehicle  # noqa: E402
from bittern.engines.pairing.vehicle_faults import FAULTS  # noqa: E402

ACTIONS = 10_000
ENDS = ("good", "unchanged", "stranded", "abandoned")


def drive(actions: int, first_seed: int) -> None:
    """Drive rehearsals until so many actions are done.

    Raises
    ------
    AssertionError
        A forecast and its vehicle disagree.
    """
    number = first_seed
    while COUNTS["actions"] < actions:
        held = settings(
            max_examples=40,
            stateful_step_count=50,
            deadline=None,
            database=None,
            suppress_health_check=list(HealthCheck),
            phases=(Phase.generate, Phase.shrink),
        )
        run_state_machine_as_test(seed(number)(Rehearsal), settings=held)
        number += 1


def list_lines() -> list[str]:
    """Return the table."""
    compared, untold = COUNTS["keys compared"], COUNTS["to be tried"]
    lines = [
        f"{COUNTS['actions']} actions in {COUNTS['rehearsals']} rehearsals; no forecast disagreed.",
        f"{compared} forecasts of a key compared: {compared - untold} said yes or no, "
        f"{untold} said that only a trial can tell.",
        "",
        f"{'end':<12}{'before':>10}{'past a point of no return':>28}",
    ]
    for end in ENDS:
        lines.append(f"{end:<12}{COUNTS[end]:>10}{COUNTS[end + ' past a point of no return']:>28}")
    deeds = ", ".join(f"{way} {COUNTS[way]}" for way in ("worked", "failed", "late", "nothing"))
    return [*lines, "", f"deeds: {deeds}"]


def list_people(seeds: int) -> list[str]:
    """Return the table of points by fault, for somebody who looks and somebody who hopes."""
    lines = [
        f"{'fault':<16}{'who looks':>22}{'who hopes':>22}",
        f"{'':<16}" + f"{'points':>12}{'success':>10}" * 2,
    ]
    for fault in ("", *FAULTS):
        line = f"{fault or 'none':<16}"
        for person in (Student, Hopeful):
            scores = [
                person(sheet, make_vehicle(sheet, KEYS, [fault] if fault else [], seed)).run()
                for sheet in DEMO_SHEETS
                for seed in range(seeds)
            ]
            points = sum(score.points for score in scores) / len(scores)
            line += f"{points:>12.1f}{sum(score.success for score in scores) / len(scores):>10.0%}"
        lines.append(line)
    return [*lines, f"{len(DEMO_SHEETS)} sheets, {seeds} vehicles each"]


def main(arguments: list[str] | None = None) -> int:
    """Drive and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--actions", type=int, default=ACTIONS)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--vehicles", type=int, default=10, help="vehicles of each sheet and fault")
    # Without arguments of its own (``make study`` calls it within another program) all is as by default.
    asked = parser.parse_args([] if arguments is None else arguments)
    drive(asked.actions, asked.seed)
    print("\n".join([*list_lines(), "", *list_people(asked.vehicles)]))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
