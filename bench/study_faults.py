"""Runs at the vehicle under faults: is an event lost, doubled or out of order, is the place kept?

For every demo run sheet and every fault a run is carried from its first step to an end by the bench's
own scripts (in node, the store a file that is flushed at every change) against the real server, with the
fault at every event: the server killed by SIGKILL before, in the middle of and after its transaction and
with half of its answer sent; the request lost, the answer lost, the same body sent three times, later
events before earlier ones, old bodies again; the device killed before and after keeping, while sending,
and before an answer is kept. Runs are repeated until every step of the sheet was passed under every
fault. Then the same in Chromium, which is killed at every step, with the network there and gone.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT / "bench") not in sys.path:
    sys.path.insert(0, str(ROOT / "bench"))

from simulated_runs.faults import ALL, Device, Shop, Tally, carry_to_end, compare, open_shop  # noqa: E402
from simulated_runs.scripts import find_node  # noqa: E402

SEED = 6006
MOST_RUNS = 12


def main() -> int:
    """Print the tables; 1 where anything that should be nought is not."""
    if find_node() is None:
        print("study: needs node, which runs the runner's scripts outside a browser")
        return 1
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="bittern-faults-") as folder:
        tally = study_faults(Path(folder) / "node")
        print_tally(tally, time.monotonic() - began)
    # The settings of a process know one data folder: the browser's part has a process of its own.
    browser = subprocess.run([sys.executable, __file__, "--browser"], check=False)
    return 1 if tally.harm or browser.returncode else 0


def kill_browsers(sheets: tuple[str, ...] = ()) -> int:
    """Carry every sheet in Chromium, killed at every step, and print the counts; 1 where there is harm."""
    from simulated_runs.browser import CHROMIUM, Kills, carry_under_kills

    if not Path(CHROMIUM).exists():
        print(f"\nno {CHROMIUM}: the part in a real browser is left out")
        return 0
    began, kills, tally = time.monotonic(), Kills(), Tally()
    with (
        tempfile.TemporaryDirectory(prefix="bittern-faults-") as folder,
        open_shop(Path(folder) / "data", static=True) as shop,
    ):
        reader = Reader(shop)
        for sheet in reader.list_sheets(sheets):
            number = reader.begin(sheet)
            before = kills.walked
            carry_under_kills(shop, number, Path(folder), kills)
            logged = reader.list_events(number)
            compare(sheet, [event.event_id for event in logged if event.device], logged, tally)
            tally.lost += kills.walked - before - sum(1 for event in logged if event.device)
        reader.verify(tally)
    print(f"\nChromium killed          {kills.online} times online, {kills.offline} offline")
    print(f"events walked            {kills.walked}")
    print(f"lost {tally.lost}, doubled {tally.doubled}, disordered {tally.disordered}, ", end="")
    print(f"misplaced {kills.misplaced}")
    for note in (*kills.notes, *tally.notes):
        print(f"  {note}")
    print(f"took {time.monotonic() - began:.0f} s")
    return 1 if tally.harm or kills.misplaced else 0


def study_faults(
    folder: Path, *, sheets: tuple[str, ...] = (), faults: tuple[str, ...] = ALL, most_runs: int = MOST_RUNS
) -> Tally:
    """Carry every sheet under every fault until each of its steps was passed, and return the tally."""
    tally, draw = Tally(), random.Random(SEED)
    with open_shop(folder / "data") as shop:
        reader = Reader(shop)
        for sheet in reader.list_sheets(sheets):
            steps = {step.id for step in sheet.steps.values() if step.kind != "end"}
            for fault in faults:
                seen: Counter[Any] = Counter()
                own = Tally(faults=tally.faults)
                for _ in range(most_runs):
                    _carry(shop, reader, sheet, fault, own, draw, seen)
                    if steps <= {step for _, step in own.steps}:
                        break
                _add_up(tally, own)
        reader.verify(tally)
    return tally


def _carry(
    shop: Shop, reader: Reader, sheet: Any, fault: str, tally: Tally, draw: random.Random, seen: Counter[Any]
) -> None:
    number = reader.begin(sheet)
    device = Device(shop, number, shop.folder.parent)
    kept = carry_to_end(device, sheet, fault, tally, draw, seen)
    compare(sheet, kept, reader.list_events(number), tally)


def _add_up(tally: Tally, own: Tally) -> None:
    for name in ("events", "lost", "doubled", "disordered", "strangers", "misplaced", "refused"):
        setattr(tally, name, getattr(tally, name) + getattr(own, name))
    tally.steps |= own.steps
    tally.notes += own.notes


class Reader:
    """Looks at the shop's database beside the server."""

    def __init__(self, shop: Shop) -> None:
        from bittern.bench import entry

        entry.configure(shop.folder)
        from bittern.bench.desk import open_desk

        self.desk = open_desk()

    def list_sheets(self, names: tuple[str, ...]) -> list[Any]:
        """Return the demo's run sheets, or those named."""
        return [sheet for sheet in self.desk.pack.runsheets.values() if not names or sheet.id in names]

    def begin(self, sheet: Any) -> int:
        """Open a job with a run of ``sheet`` begun."""
        from simulated_runs.server import begin_run

        return begin_run(sheet)

    def list_events(self, number: int) -> list[Any]:
        """Return the events on record."""
        from bittern.work.pairing import load_events

        return load_events(self.desk, self.desk.store.load(number))

    def verify(self, tally: Tally) -> None:
        """Verify the chains of all logs."""
        tally.notes += [str(fault) for fault in self.desk.store.verify_logs()]
        tally.disordered += sum(1 for _ in self.desk.store.verify_logs())


def print_tally(tally: Tally, took_s: float) -> None:
    """Print what was done and what came of it."""
    print(f"{'fault':<34}{'times':>7}")
    for fault in ALL:
        print(f"{fault:<34}{tally.faults[fault]:>7}")
    print(f"{'all':<34}{sum(tally.faults.values()):>7}")
    print(f"\nsteps of sheets passed   {len(tally.steps)}")
    print(f"events kept              {tally.events}")
    for name in ("lost", "doubled", "disordered", "strangers", "misplaced", "refused"):
        print(f"{name:<25}{getattr(tally, name)}")
    for note in tally.notes[:10]:
        print(f"  {note}")
    print(f"took {took_s:.0f} s")


if __name__ == "__main__":
    raise SystemExit(kill_browsers() if "--browser" in sys.argv else main())
