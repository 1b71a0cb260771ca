"""Write src/bittern/demo/jobs.json: the demo shop's 40 past jobs and 6 open ones, seeded."""

from __future__ import annotations

import json
import random
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "scripts"))

from demo_jobs.carry import Plan, carry_job  # noqa: E402
from demo_jobs.recorder import Recorder  # noqa: E402

from bittern.demo import PACK_DIR  # noqa: E402
from bittern.engines.pairing.sheet import Step  # noqa: E402
from bittern.formats.packs import Pack, read_pack  # noqa: E402

SEED = 20260301
PAST, DAYS = 40, 150
OPEN_AT = ("request", "vehicle", "key", "promise", "pairing", "proof")
OUT = ROOT / "src" / "bittern" / "demo" / "jobs.json"
DAY_MIN = 24 * 60


def make_jobs(seed: int = SEED) -> list[dict[str, object]]:
    """Return every job as the list of its acts, oldest first."""
    rng = random.Random(seed)  # noqa: S311 - invented data, nothing secret
    pack = read_pack(PACK_DIR)
    jobs: list[dict[str, object]] = []
    for place in range(PAST):
        start = -DAYS * DAY_MIN + place * (DAYS - 3) * DAY_MIN / PAST + rng.uniform(0, 300)
        record = Recorder(pack, round(start))
        if place % 13 == 7:
            carry_job(record, _choose_plan(pack, rng, stop="promise"), rng)
            record.do("counter", "withdraw", {"because": "The customer found the lost key."}, after_min=300)
        else:
            carry_job(record, _choose_plan(pack, rng, setbacks=place % 6 == 4), rng)
        jobs.append({"acts": record.acts})
    for place, stop in enumerate(OPEN_AT):
        record = Recorder(pack, -600 + 80 * place)
        carry_job(record, _choose_plan(pack, rng, stop=stop), rng)
        jobs.append({"acts": record.acts})
    return jobs


def _choose_plan(pack: Pack, rng: random.Random, *, stop: str = "", setbacks: bool = False) -> Plan:
    """Return a plan for a vehicle of the last twenty years, more often for an article with a larger share."""
    rows = [
        row
        for row in pack.fitments
        if row.year_to >= 2006
        and row.year_from <= 2026
        and (pack.articles[row.article].kind == "mechanical" or row.runsheet)
        and (not stop or pack.articles[row.article].kind == "proximity")
        # What waits at the vehicle shows what a point of no return is.
        and (stop != "pairing" or any(one.no_return for one in _list_steps(pack, row.runsheet)))
    ]
    row = rng.choices(rows, weights=[row.share for row in rows])[0]
    return Plan(row, pack.articles[row.article], stop, setbacks=setbacks)


def _list_steps(pack: Pack, runsheet: str) -> list[Step]:
    return list(pack.runsheets[runsheet].steps.values()) if runsheet else []


def render_jobs(jobs: list[dict[str, object]]) -> str:
    """Return the jobs as text, one act a line."""
    lines = []
    for job in jobs:
        acts = ",\n".join("   " + json.dumps(one, ensure_ascii=False) for one in job["acts"])  # type: ignore[attr-defined]
        lines.append(' {"acts": [\n' + acts + "\n ]}")
    return "[\n" + ",\n".join(lines) + "\n]\n"


if __name__ == "__main__":
    OUT.write_text(render_jobs(make_jobs()), encoding="utf-8")
    sys.stdout.write(f"{OUT.relative_to(ROOT)}: {PAST} past jobs, {len(OPEN_AT)} open ones\n")
