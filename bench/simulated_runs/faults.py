"""A run carried to its end with a fault at every event; afterwards the log is compared with what was kept."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bittern.engines.pairing.event import RunEvent, RunState
from bittern.engines.pairing.runner import fold_events
from bittern.engines.pairing.sheet import RunSheet
from simulated_runs.scripts import copy_scripts, find_node

HERE = Path(__file__).parent
NONE = "none"
SERVER = (
    "server killed before",
    "server killed inside",
    "server killed after the commit",
    "server killed in the answer",
)
NETWORK = ("request lost", "answer lost", "sent twice", "later ones first", "an old one again")
DEVICE = (
    "killed before keeping",
    "killed after keeping",
    "killed while sending",
    "killed before the answer is kept",
)
ALL = (*SERVER, *NETWORK, *DEVICE)
MOST_EVENTS = 80


@dataclass(slots=True)
class Tally:
    """What was done to the runs, and what came of it."""

    faults: Counter[str] = field(default_factory=Counter)
    events: int = 0
    lost: int = 0
    doubled: int = 0
    disordered: int = 0
    strangers: int = 0
    misplaced: int = 0
    refused: int = 0
    steps: set[tuple[str, str]] = field(default_factory=set)
    notes: list[str] = field(default_factory=list)

    @property
    def harm(self) -> int:
        """Whatever should be nought."""
        return self.lost + self.doubled + self.disordered + self.strangers + self.misplaced + self.refused


class DeviceKilledError(RuntimeError):
    """The device died, as it was told to."""


class Shop:
    """The server's process and where to reach it."""

    def __init__(self, folder: Path, *, static: bool = False) -> None:
        words = [sys.executable, str(HERE / "server.py"), str(folder), *(["--static"] if static else [])]
        self.folder = folder
        self.log = (folder.parent / "server.log").open("a", encoding="utf-8")
        self.process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=self.log, text=True)
        assert self.process.stdout
        line = self.process.stdout.readline()
        if not line:
            raise RuntimeError((folder.parent / "server.log").read_text(encoding="utf-8"))
        told: dict[str, Any] = json.loads(line)
        self.address, self.cookie, self.runs = told["address"], told["cookie"], told["runs"]

    def count_deaths(self) -> int:
        """Return how often a serving process has died."""
        return (self.folder.parent / "server.log").read_text(encoding="utf-8").count('"died"')

    def stop(self) -> None:
        """End the server."""
        self.process.terminate()
        self.process.wait(20)
        if self.process.stdout:
            self.process.stdout.close()
        self.log.close()


@contextmanager
def open_shop(folder: Path, *, static: bool = False) -> Iterator[Shop]:
    """Serve a shop with a run of every demo sheet begun."""
    folder.mkdir(parents=True, exist_ok=True)
    shop = Shop(folder, static=static)
    try:
        yield shop
    finally:
        shop.stop()


class Device:
    """One life after the other of the same device: a process each, and one file that outlives them."""

    def __init__(self, shop: Shop, number: int, folder: Path) -> None:
        self.folder = folder
        self.file = folder / f"device-{number}.json"
        node = find_node()
        if node is None:
            raise RuntimeError("needs node")
        scripts = copy_scripts(folder / "scripts")
        self.words = [node, str(HERE / "device.mjs"), str(scripts), shop.address, shop.cookie]
        self.words += [str(self.file), f"/jobs/{number}/pairing/"]
        self.process: subprocess.Popen[str] | None = None
        self.lives = 0

    def wake(self) -> dict[str, Any]:
        """Start a life and return where it stands."""
        self.process = subprocess.Popen(
            self.words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, stderr=None
        )
        self.lives += 1
        said: dict[str, Any] = self._listen()["opened"]
        return said

    def do(self, **command: Any) -> dict[str, Any]:
        """Give a command and return the answer; raises DeviceKilledError."""
        assert self.process
        assert self.process.stdin
        self.process.stdin.write(json.dumps(command) + "\n")
        self.process.stdin.flush()
        return self._listen()

    def _listen(self) -> dict[str, Any]:
        assert self.process
        assert self.process.stdout
        line = self.process.stdout.readline()
        if not line:
            code = self.process.wait(10)
            self._close()
            if code != -9:
                raise RuntimeError(f"the device ended with {code}")
            raise DeviceKilledError
        said: dict[str, Any] = json.loads(line)
        return said

    def sleep(self) -> None:
        """End this life."""
        if self.process and self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)
            self._close()

    def _close(self) -> None:
        assert self.process
        assert self.process.stdin
        assert self.process.stdout
        self.process.stdin.close()
        self.process.stdout.close()

    def read_kept(self) -> list[dict[str, Any]]:
        """Return the events that the device's file holds, sent or not."""
        if not self.file.exists():
            return []
        records = json.loads(self.file.read_text(encoding="utf-8"))["runs"].values()
        return [event for record in records for event in (*record["events"], *record["unsent"])]


def choose_act(
    sheet: RunSheet, said: dict[str, Any], seen: Counter[tuple[str, str]], draw: random.Random
) -> tuple[str, dict[str, Any]]:
    """Return an act that fits, one that was done least often so far before the others."""
    step = sheet.steps[said["step"]]
    here = {"step": step.id, "visit": said["visit"]}
    if said["phase"] == "confirm":
        return "confirmed", {**here, "present": ["Tobin"], "sure": True}
    if said["phase"] == "supply":
        return "supply", {"volts": 12.6, "source": "typed"}
    acts: list[tuple[str, dict[str, Any]]] = [
        ("failed", {**here, "to": failure.to}) for failure in step.fails
    ]
    acts += [("chosen", {**here, "choice": option.label}) for option in step.options]
    if step.kind != "choose":
        acts.append(("done", here))
    least = min(seen[step.id, _name(act)] for act in acts)
    kind, fields = draw.choice([act for act in acts if seen[step.id, _name(act)] == least])
    seen[step.id, _name((kind, fields))] += 1
    return kind, fields


def _name(act: tuple[str, dict[str, Any]]) -> str:
    kind, fields = act
    return f"{kind} {fields.get('to') or fields.get('choice') or ''}"


def carry_to_end(
    device: Device, sheet: RunSheet, fault: str, tally: Tally, draw: random.Random, seen: Counter[Any]
) -> list[str]:
    """Carry a run to its end with ``fault`` at every event; return the ids of what was kept, in order."""
    kept: list[str] = []
    said = device.wake()
    while not said["ended"] and len(kept) < MOST_EVENTS:
        tally.steps.add((sheet.id, said["step"]))
        kind, fields = choose_act(sheet, said, seen, draw)
        said = _add(device, kind, fields, fault, tally, kept)
        # Some events wait for the next: so a batch is sent, and the later ones can come first.
        if said["ended"] or draw.random() < 0.6:
            said = _send(device, fault, tally, said)
    said = _send(device, NONE, tally, said)
    device.sleep()
    tally.events += len(kept)
    return kept


def _add(
    device: Device, kind: str, fields: dict[str, Any], fault: str, tally: Tally, kept: list[str]
) -> dict[str, Any]:
    early = fault in ("killed before keeping", "killed after keeping")
    try:
        said = device.do(add=kind, fields=fields, fault=fault if early else "")
        kept.append(said["kept"])
        return said
    except DeviceKilledError:
        tally.faults[fault] += 1
    ids = [event["event_id"] for event in device.read_kept()]
    said = device.wake()
    if fault == "killed after keeping":
        # It was on the disk before the page could say so.
        kept.append(next(one for one in reversed(ids) if one not in kept))
        return said
    said = device.do(add=kind, fields=fields)
    kept.append(said["kept"])
    return said


def _send(device: Device, fault: str, tally: Tally, before: dict[str, Any]) -> dict[str, Any]:
    early = fault in ("killed before keeping", "killed after keeping")
    counted = not early and fault != NONE
    try:
        said = device.do(send=True, fault=fault if counted else "")
    except DeviceKilledError:
        place = device.wake()
        said = device.do(send=True)
        if (place["step"], place["visit"], place["phase"]) != _place(before):
            tally.misplaced += 1
            tally.notes.append(f"{fault}: woke at {place}, had been at {before}")
    tally.faults[fault] += counted
    if _place(said) != _place(before):
        tally.misplaced += 1
        tally.notes.append(f"{fault}: at {said}, had been at {before}")
    if said["refused"] or not said["sent"]:
        tally.refused += 1
        tally.notes.append(f"{fault}: {said}")
    return said


def _place(said: dict[str, Any]) -> tuple[Any, ...]:
    return said["step"], said["visit"], said["phase"]


def compare(sheet: RunSheet, kept: list[str], logged: list[RunEvent], tally: Tally) -> RunState:
    """Hold the server's log against what the device kept; return where the log's events lead."""
    of_device = [event for event in logged if event.device]
    ids = [event.event_id for event in of_device]
    tally.lost += len(set(kept) - set(ids))
    tally.doubled += len(ids) - len(set(ids))
    tally.strangers += len(set(ids) - set(kept))
    tally.disordered += [event.sequence for event in of_device] != list(range(1, len(of_device) + 1))
    tally.disordered += [event.at for event in logged] != sorted(event.at for event in logged)
    return fold_events(sheet, logged)
