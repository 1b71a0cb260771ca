"""A small part of the study of faults: one sheet, one run under each; nothing lost, doubled or misplaced."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults import ALL, BENCH, find_node

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(find_node() is None, reason="needs node, which runs the runner's scripts"),
]
# In a process of its own: the study works on a data folder of its own, and a process has one.
PART = """
import json, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from study_faults import study_faults
tally = study_faults(Path(sys.argv[2]), sheets=(sys.argv[3],), most_runs=1)
names = ("events", "lost", "doubled", "disordered", "strangers", "misplaced", "refused")
counts = {name: getattr(tally, name) for name in names}
print(json.dumps({"faults": tally.faults, "notes": tally.notes, **counts}))
"""


def test_nothing_is_lost_or_doubled_under_any_fault(tmp_path: Path) -> None:
    words = [sys.executable, "-c", PART, str(BENCH), str(tmp_path), "marsh-remote-sync"]
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stderr

    said = json.loads(done.stdout.splitlines()[-1])
    print(f"{sum(said['faults'].values())} faults, {said['events']} events")
    harm = {
        name: said[name] for name in ("lost", "doubled", "disordered", "strangers", "misplaced", "refused")
    }
    assert harm == dict.fromkeys(harm, 0), said["notes"]
    # Every fault has happened, and often enough to mean something.
    assert all(said["faults"].get(fault, 0) for fault in ALL)
    assert sum(said["faults"].values()) >= 30
    assert said["events"] >= 40
