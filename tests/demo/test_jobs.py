"""The demo shop's jobs go through the real use cases, all of them, and leave logs that verify."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from bittern.demo import PACK_DIR
from bittern.demo.jobs import ROLES, read_demo_jobs, replay_jobs
from bittern.formats.packs import read_pack
from bittern.work.legs import OPEN, draw_traveller
from bittern.work.memory import MemoryStore
from bittern.work.people import Person

ROOT = Path(__file__).parents[2]
PEOPLE = {
    key: Person(key, key.title(), role)
    for key, role in zip(ROLES, ("owner", "technician", "technician", "counter"), strict=True)
}


@pytest.fixture(scope="module")
def shop() -> MemoryStore:
    store = MemoryStore()
    replay_jobs(store, read_pack(PACK_DIR), PEOPLE, datetime(2031, 5, 5, 10, 0, tzinfo=UTC))
    return store


def test_there_are_40_past_jobs_and_6_open_ones_in_different_legs(shop: MemoryStore) -> None:
    states = [job.state for job in shop.jobs.values()]
    assert len(states) == 46
    assert states.count("open") == 6
    assert states.count("closed") >= 30
    waits = [shop.waits[job.number] for job in shop.jobs.values() if job.state == "open"]
    assert len(set(waits)) == 6


def test_every_job_draws_its_traveller_with_one_open_leg_at_most(shop: MemoryStore) -> None:
    for job in shop.jobs.values():
        traveller = draw_traveller(job)
        opened = [leg.name for leg in traveller.legs if leg.state == OPEN]
        assert len(opened) == (1 if job.state == "open" else 0)
        assert (traveller.next is None) == (job.state != "open")


def test_every_log_verifies_and_none_carries_a_bitting(shop: MemoryStore) -> None:
    assert list(shop.verify_logs()) == []
    secrets = [secret for (_, name), secret in shop.seals.items() if name == "bitting"]
    assert len(secrets) >= 20
    written = json.dumps([[entry.payload for entry in log] for log in shop.logs.values()], default=str)
    facts = "".join(job.model_dump_json() for job in shop.jobs.values())
    for secret in secrets:
        assert secret not in written
        assert secret not in facts


def test_setbacks_are_part_of_the_demo(shop: MemoryStore) -> None:
    kinds = [(entry.kind, entry.payload) for log in shop.logs.values() for entry in log]
    assert any(kind == "blade.inspected" and payload["result"] == "wasted" for kind, payload in kinds)
    assert any(kind == "proof.answered" and not payload["passed"] for kind, payload in kinds)
    assert any(kind == "job.withdrawn" for kind, _ in kinds)
    assert any(
        kind == "pairing.event" and payload["event"]["kind"] == "failed"  # type: ignore[index]
        for kind, payload in kinds
    )


@pytest.mark.slow
def test_the_script_writes_the_committed_file_again(tmp_path: Path) -> None:
    code = (
        "import sys; sys.path.insert(0, 'scripts'); import make_demo_jobs as m;"
        "sys.stdout.write(m.render_jobs(m.make_jobs()))"
    )
    made = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert json.loads(made.stdout) == list(read_demo_jobs())
