"""The runs under faults of the studies, for tests that carry a few of them."""

from __future__ import annotations

import sys
from pathlib import Path

BENCH = Path(__file__).resolve().parent.parent / "bench"
if str(BENCH) not in sys.path:
    sys.path.insert(0, str(BENCH))

from simulated_runs.faults import ALL, Tally  # noqa: E402
from simulated_runs.scripts import copy_scripts, find_node  # noqa: E402

__all__ = ["ALL", "BENCH", "Tally", "copy_scripts", "find_node"]
